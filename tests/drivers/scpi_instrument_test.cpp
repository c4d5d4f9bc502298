/// SCPI instrument files and [[bus]] tables: what is read, and each mistake explained at its place.
#include <gtest/gtest.h>

#include <string>

#include "drivers/scpi/bus_toml.hpp"
#include "drivers/scpi/instrument_toml.hpp"
#include "support/house_instruments.hpp"

namespace steadyglow::drivers::scpi {
namespace {

const std::string head = "[instrument]\nprotocol = \"scpi\"\n";
const std::string volts = "[[channel]]\nname = \"volts\"\nquery = \"READ?\"\nquantity = \"voltage\"\nuom = \"V\"\n";
const std::string output = "[[output]]\nname = \"o1\"\non = \"OUTP ON\"\noff = \"OUTP OFF\"\nask = \"OUTP?\"\n";

std::string mistakes(const std::string& text) {
  Errors errors;
  const auto instrument = parse_instrument(text, "i.toml", errors);
  EXPECT_NE(instrument.has_value(), !errors.empty());
  std::string all;
  for (const Error& error : errors) all += error.text() + "\n";
  return all;
}

void expect_mistake(const std::string& text, const std::string& part) {
  const std::string found = mistakes(text);
  EXPECT_NE(found.find(part), std::string::npos) << "wanted: " << part << "\ngot: " << found;
}

TEST(ScpiInstrument, ASharedQueryIsAskedOnce) {
  Errors errors;
  const auto instrument = parse_instrument(head + "[[channel]]\nname = \"a\"\nquery = \"READ?\"\nfield = 1\nquantity = \"voltage\"\nuom = \"V\"\n"
                                                  "[[channel]]\nname = \"b\"\nquery = \"read?\"\nfield = 3\nquantity = \"voltage\"\nuom = \"mV\"\n",
                                           "i.toml", errors);
  ASSERT_TRUE(instrument);
  ASSERT_EQ(instrument->queries.size(), 1u);
  EXPECT_EQ(instrument->queries[0].fields, 3u);
  EXPECT_EQ(instrument->channels[1].field, 2u);
  EXPECT_EQ(instrument->terminator, "\n");
}

TEST(ScpiInstrument, AConfirmationThatWouldPassForANameIsRefused) {
  const auto with = [](const std::string& answer) { return "[instrument]\nprotocol = \"scpi\"\nconfirm = [ { query = \"CONF?\", answers = [\"" + answer + "\"] } ]\n" + volts; };
  expect_mistake(with("VOLT,10,0.001"), "would never be met");
  EXPECT_EQ(mistakes(with("VOLT 10,0.001")), "");
}

TEST(ScpiInstrument, AResetIsRefusedWhereverItStands) {
  expect_mistake("[instrument]\nprotocol = \"scpi\"\nsetup = [\"*RST\"]\n" + volts, "*RST is not sent");
  expect_mistake("[instrument]\nprotocol = \"scpi\"\nsetup = [\"CONF:VOLT;*rst\"]\n" + volts, "*RST is not sent");
  expect_mistake("[instrument]\nprotocol = \"scpi\"\nlocal = \"*RST\"\n" + volts, "*RST is not sent");
  expect_mistake(head + "[[channel]]\nname = \"volts\"\nquery = \"*RST;READ?\"\nquantity = \"voltage\"\nuom = \"V\"\n", "*RST is not sent");
}

TEST(ScpiInstrument, AQuestionAmongCommandsIsRefused) {
  expect_mistake("[instrument]\nprotocol = \"scpi\"\nsetup = [\"FUNC?\"]\n" + volts, "is a question");
  expect_mistake(head + "[[output]]\nname = \"o\"\non = \"OUTP?\"\noff = \"OUTP OFF\"\nask = \"OUTP?\"\n", "is a question");
}

TEST(ScpiInstrument, ACommandAmongQueriesIsRefused) {
  expect_mistake(head + "[[channel]]\nname = \"volts\"\nquery = \"READ\"\nquantity = \"voltage\"\nuom = \"V\"\n", "is no question");
}

TEST(ScpiInstrument, TwoChannelsOnOneFieldAreRefused) { expect_mistake(head + volts + "[[channel]]\nname = \"amps\"\nquery = \"READ?\"\nquantity = \"current\"\nuom = \"A\"\n", "reads the same field"); }

TEST(ScpiInstrument, AFieldBeyondTheAnswerIsRefused) {
  expect_mistake(head + "[[channel]]\nname = \"volts\"\nquery = \"READ?\"\nfield = 3\nfields = 2\nquantity = \"voltage\"\nuom = \"V\"\n", "field 3 of an answer with 2");
}

TEST(ScpiInstrument, AnOutputThatIsOnAndOffAlikeIsRefused) {
  expect_mistake(head + "[[output]]\nname = \"o\"\non = \"OUTP 1\"\noff = \"outp 1\"\nask = \"OUTP?\"\n", "the same as `on`");
}

TEST(ScpiInstrument, ASetupThatSwitchesOnIsRefused) { expect_mistake("[instrument]\nprotocol = \"scpi\"\nsetup = [\"VOLT 5;OUTP ON\"]\n" + output, "switches it on as well"); }

TEST(ScpiInstrument, AnotherTerminatorIsRefused) { expect_mistake("[instrument]\nprotocol = \"scpi\"\nterminator = \"\\t\"\n" + volts, "not a terminator"); }

TEST(ScpiInstrument, AWrongUnitOfMeasureIsRefused) { expect_mistake(head + "[[channel]]\nname = \"v\"\nquery = \"READ?\"\nquantity = \"voltage\"\nuom = \"A\"\n", "no unit of measure for voltage"); }

TEST(ScpiInstrument, AMessageOfTwoLinesIsRefused) { expect_mistake("[instrument]\nprotocol = \"scpi\"\nsetup = [\"CONF\\nOUTP ON\"]\n" + volts, "one line"); }

TEST(ScpiInstrument, AFileForAnotherProtocolIsToldAsThat) { expect_mistake("[instrument]\nprotocol = \"modbus\"\n", "speaks modbus"); }

TEST(ScpiInstrument, EveryFileOfTheHouseIsRead) {
  for (const char* name : {"scpi-multimeter-volts", "scpi-multimeter-ohms", "scpi-scanner-10ch", "scpi-supply-output"}) EXPECT_EQ(mistakes(tests::house_instrument(name).text), "") << name;
}

std::string bus_mistakes(const std::string& driver_keys, const std::string& meter_keys, int meters = 1) {
  const std::string text = "[[bus]]\n" + driver_keys;
  Errors errors;
  std::string whole = text;
  for (int i = 0; i < meters; ++i) whole += "[[bus.meter]]\nname = \"m" + std::to_string(i) + "\"\n" + meter_keys;
  const document::Node root = document::parse(whole, "bench.toml", errors);
  document::Table top(root, "bench.toml", errors);
  auto buses = top.tables("bus");
  auto& bus = buses.at(0);
  const auto reader = driver_keys.find("device") == std::string::npos ? begin_tcp(bus) : begin_serial(bus);
  auto tables = bus.tables("meter");
  bus.done();
  const InstrumentText instrument{"i.toml", head + volts};
  for (document::Table& table : tables) {
    MeterInfo info;
    info.name = table.text("name");
    info.identity = table.maybe_text("identity").value_or("");
    reader->read_meter(table, &instrument, info, errors);
    table.done();
  }
  std::string all;
  for (const Error& error : errors) all += error.text() + "\n";
  return all;
}

TEST(ScpiBusToml, ReadsAnInstrumentAtAnAddress) { EXPECT_EQ(bus_mistakes("host = \"192.168.40.30\"\n", "identity = \"Maker,Model,0001\"\nterminator = \"\\r\\n\"\n"), ""); }

TEST(ScpiBusToml, ReadsALineWithItsControlLines) { EXPECT_EQ(bus_mistakes("device = \"/dev/serial/by-id/x\"\nbaud = 19200\ndtr = \"low\"\ndata_bits = 7\nparity = \"even\"\n", ""), ""); }

TEST(ScpiBusToml, ASecondMeterOnOneConnectionIsRefused) { EXPECT_NE(bus_mistakes("host = \"192.168.40.30\"\n", "", 2).find("SCPI has no addresses"), std::string::npos); }

TEST(ScpiBusToml, AnIdentityThatNoInstrumentCouldSayIsRefused) {
  EXPECT_NE(bus_mistakes("host = \"192.168.40.30\"\n", "identity = \"my multimeter\"\n").find("no answer to *IDN?"), std::string::npos);
}

TEST(ScpiBusToml, ANameThatMovesIsRefused) { EXPECT_NE(bus_mistakes("device = \"/dev/ttyUSB0\"\n", "").find("another device after the next restart"), std::string::npos); }

}  // namespace
}  // namespace steadyglow::drivers::scpi
