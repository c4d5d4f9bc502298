/// What the driver does with an instrument that is well, refuses, is turned at its panel, or is exchanged; and the search for an unknown one.
#include <gtest/gtest.h>

#include <atomic>
#include <chrono>
#include <memory>
#include <string>
#include <thread>
#include <vector>

#include "drivers/scpi/find.hpp"
#include "drivers/scpi/instrument_toml.hpp"
#include "drivers/scpi/scpi_bus.hpp"
#include "external/scpi/peer.hpp"
#include "support/house_instruments.hpp"

namespace steadyglow::drivers::scpi {
namespace {

using namespace std::chrono_literals;
using tests::json;
using tests::ScpiPeer;

constexpr auto timeout = 200ms;
const std::string identity = "Example Instruments,EX-1,0001,1.0";

Instrument file(const std::string& name) {
  Errors errors;
  auto instrument = parse_instrument(tests::house_instrument(name).text, name, errors);
  for (const Error& error : errors) ADD_FAILURE() << error.text();
  return instrument.value_or(Instrument{});
}

std::unique_ptr<ScpiBus> bus_to(const ScpiPeer& peer, Instrument instrument, const std::string& bound = identity) {
  return std::make_unique<ScpiBus>(peer.wire_place(), ScpiSetup{"m", std::move(instrument), bound}, timeout);
}

json volts(const json& value) { return {{"values", {{"volts", value}, {"ohms", value}, {"amps", 0.125}, {"scan", json::array()}}}}; }

class Both : public testing::TestWithParam<bool> {};
INSTANTIATE_TEST_SUITE_P(Over, Both, testing::Bool(), [](const auto& which) { return which.param ? "serial" : "tcp"; });

TEST_P(Both, AMultimeterIsReadAndLeftUsableAtItsPanel) {
  ScpiPeer peer(GetParam());
  peer.tell(volts(6.31));
  auto bus = bus_to(peer, file("scpi-multimeter-volts"));
  for (int i = 0; i < 3; ++i) {
    const MeterReply reply = bus->read(0);
    EXPECT_EQ(reply.trouble, "");
    EXPECT_EQ(reply.identity, identity);
    ASSERT_EQ(reply.channels[0].quality, Quality::good);
    EXPECT_DOUBLE_EQ(reply.channels[0].value, 6.31);
  }
  EXPECT_EQ(peer.report().at("resets"), 0);
  EXPECT_EQ(peer.report().at("errors"), 0);
  bus.reset();
  for (int i = 0; i < 40 && peer.report().at("locals") == 0; ++i) std::this_thread::sleep_for(50ms);
  EXPECT_EQ(peer.report().at("locals"), 1);
}

TEST_P(Both, SpecialNumbersAndWordsAreQualitiesAndNotValues) {
  ScpiPeer peer(GetParam());
  const auto bus = bus_to(peer, file("scpi-multimeter-volts"));
  const std::pair<const char*, Quality> rows[] = {{"+9.90000000E+37", Quality::over_range}, {"-9.9E37", Quality::over_range}, {"OL", Quality::over_range},
                                                  {"+9.91000000E+37", Quality::implausible}, {"NAN", Quality::implausible}, {"1.234 V", Quality::implausible},
                                                  {"+2.0E+03", Quality::implausible}};
  for (const auto& [text, quality] : rows) {
    peer.tell(volts(text));
    const MeterReply reply = bus->read(0);
    EXPECT_TRUE(reply.is_answered);
    EXPECT_EQ(reply.channels[0].quality, quality) << text << ": " << reply.trouble;
  }
  peer.tell(volts(1.5));
  EXPECT_EQ(bus->read(0).channels[0].value, 1.5);
}

TEST_P(Both, AnOpenCircuitInOhmsIsAnOpenSensor) {
  ScpiPeer peer(GetParam());
  peer.tell(volts("+9.90000000E+37"));
  const auto bus = bus_to(peer, file("scpi-multimeter-ohms"));
  EXPECT_EQ(bus->read(0).channels[0].quality, Quality::open_sensor);
  EXPECT_EQ(peer.report().at("function"), "RES");
}

TEST_P(Both, AScanGivesEachChannelItsField) {
  ScpiPeer peer(GetParam(), {"--values", "10*c + 0.5"});
  const auto bus = bus_to(peer, file("scpi-scanner-10ch"));
  const MeterReply reply = bus->read(0);
  ASSERT_EQ(reply.channels.size(), 10u);
  for (std::size_t i = 0; i < 10; ++i) {
    EXPECT_EQ(reply.channels[i].quality, Quality::good) << reply.trouble;
    EXPECT_EQ(reply.channels[i].value, 10.0 * static_cast<double>(i + 1) + 0.5);
  }
}

TEST(Scpi, AScanWithAnotherNumberOfFieldsIsNoReading) {
  ScpiPeer peer(false);
  Instrument instrument = file("scpi-scanner-10ch");
  instrument.setup = {"CONF:VOLT:DC AUTO", "ROUT:SCAN (@101:109)"};
  const MeterReply reply = bus_to(peer, instrument)->read(0);
  for (const ChannelValue& channel : reply.channels) EXPECT_EQ(channel.quality, Quality::implausible);
  EXPECT_NE(reply.trouble.find("9 fields, not 10"), std::string::npos) << reply.trouble;
}

TEST_P(Both, AMultimeterThatIsTurnedToOhmsIsNotReadAsVolts) {
  ScpiPeer peer(GetParam());
  peer.tell(volts(6.31));
  const auto bus = bus_to(peer, file("scpi-multimeter-volts"));
  ASSERT_EQ(bus->read(0).channels[0].quality, Quality::good);
  peer.tell({{"knob", "RES"}});
  const MeterReply reply = bus->read(0);
  EXPECT_EQ(reply.channels[0].quality, Quality::implausible);
  EXPECT_NE(reply.trouble.find("was it set at the panel?"), std::string::npos) << reply.trouble;
  EXPECT_EQ(bus->read(0).channels[0].quality, Quality::good);
  EXPECT_EQ(peer.report().at("function"), "VOLT");
}

TEST_P(Both, AfterAPowerCutItIsSetUpAgain) {
  ScpiPeer peer(GetParam());
  peer.tell(volts(100.0));
  const auto bus = bus_to(peer, file("scpi-multimeter-ohms"));
  ASSERT_EQ(bus->read(0).channels[0].quality, Quality::good);
  peer.tell({{"power_cycle", true}, {"silent", true}});
  EXPECT_NE(bus->read(0).channels[0].quality, Quality::good);
  peer.tell({{"well", true}});
  std::this_thread::sleep_for(2 * timeout);
  EXPECT_EQ(bus->read(0).channels[0].quality, Quality::good);
  EXPECT_EQ(peer.report().at("function"), "RES");
}

TEST(Scpi, ARefusedSetupIsToldInTheInstrumentsWordsAndNothingIsBelieved) {
  ScpiPeer peer(false);
  Instrument instrument = file("scpi-multimeter-volts");
  instrument.setup = {"CONF:VOLT:DC AUTO", "SENS:NPLC:BAR 10"};
  const auto bus = bus_to(peer, instrument);
  for (int i = 0; i < 2; ++i) {
    const MeterReply reply = bus->read(0);
    EXPECT_TRUE(reply.is_answered);
    EXPECT_EQ(reply.channels[0].quality, Quality::refused);
    EXPECT_NE(reply.trouble.find("-113,\"Undefined header;SENS:NPLC:BAR\""), std::string::npos) << reply.trouble;
  }
}

TEST_P(Both, AQueryThatItDoesNotKnowIsRefusedAndTheOthersGoOn) {
  ScpiPeer peer(GetParam());
  peer.tell(volts(5.0));
  Instrument instrument = file("scpi-supply-output");
  instrument.queries.push_back({"MEAS:FLUX?", 1});
  Channel channel;
  channel.name = "flux";
  channel.uom = "V";
  channel.query = 2;
  instrument.channels.push_back(channel);
  const auto bus = bus_to(peer, instrument);
  for (int i = 0; i < 8; ++i) {
    const MeterReply reply = bus->read(0);
    ASSERT_EQ(reply.channels.size(), 3u);
    EXPECT_EQ(reply.channels[0].quality, Quality::good) << reply.trouble;
    EXPECT_EQ(reply.channels[1].value, 0.125);
    EXPECT_EQ(reply.channels[2].quality, Quality::refused) << reply.trouble;
  }
  // It rests after three silences: the wire is not waited for at each poll.
  int asked = 0;
  const json report = peer.report();
  for (const json& message : report.at("last_messages")) asked += message == "MEAS:FLUX?" ? 1 : 0;
  EXPECT_EQ(asked, 3);
}

TEST(Scpi, AnInstrumentWithoutAnErrorQueueIsRead) {
  ScpiPeer peer(false, {"--no-error-queue"});
  peer.tell(volts(5.0));
  const auto bus = bus_to(peer, file("scpi-multimeter-volts"));
  int polls = 0;
  while (bus->read(0).channels[0].quality != Quality::good) ASSERT_LT(++polls, 4);
  for (int i = 0; i < 3; ++i) EXPECT_EQ(bus->read(0).channels[0].quality, Quality::good);
}

TEST_P(Both, AStrangerIsNamedBesideTheBoundOne) {
  ScpiPeer peer(GetParam());
  peer.tell(volts(5.0));
  const auto bus = bus_to(peer, file("scpi-multimeter-volts"), "Example Instruments,EX-1,0001");
  ASSERT_EQ(bus->read(0).channels[0].quality, Quality::good);
  peer.tell({{"idn", "Example Instruments,EX-1,0777,1.0"}});
  for (int i = 0; i < 3; ++i) {
    const MeterReply reply = bus->read(0);
    EXPECT_TRUE(reply.is_stranger);
    EXPECT_TRUE(reply.is_answered);
    EXPECT_EQ(reply.channels[0].quality, Quality::other_meter);
    EXPECT_EQ(reply.channels[0].value, 0.0);
    EXPECT_NE(reply.trouble.find("`Example Instruments,EX-1,0777,1.0` answers where `Example Instruments,EX-1,0001` is bound"), std::string::npos) << reply.trouble;
    EXPECT_EQ(reply.identity, "Example Instruments,EX-1,0777,1.0");
  }
  // A stranger is not set up: it may be somebody's supply.
  int setups = 0;
  const json report = peer.report();
  for (const json& message : report.at("last_messages")) setups += message == "CONF:VOLT:DC AUTO" ? 1 : 0;
  EXPECT_EQ(setups, 1);
  peer.tell({{"idn", identity}});
  EXPECT_EQ(bus->read(0).channels[0].quality, Quality::good);
}

TEST(Scpi, AnUnboundInstrumentThatIsExchangedIsSetUpBeforeItIsRead) {
  ScpiPeer peer(true);
  peer.tell(volts(5.0));
  const auto bus = bus_to(peer, file("scpi-multimeter-volts"), "");
  ASSERT_EQ(bus->read(0).channels[0].quality, Quality::good);
  peer.tell({{"idn", "Example Instruments,EX-9,0001,1.0"}});
  const MeterReply reply = bus->read(0);
  EXPECT_NE(reply.channels[0].quality, Quality::good);
  EXPECT_NE(reply.trouble.find("and was `" + identity + "`"), std::string::npos) << reply.trouble;
  EXPECT_EQ(bus->read(0).channels[0].quality, Quality::good);
}

TEST_P(Both, AnOutputFollowsAndIsReadBack) {
  ScpiPeer peer(GetParam());
  const auto bus = bus_to(peer, file("scpi-supply-output"));
  for (const bool on : {true, false, true}) {
    const auto written = bus->write_output(0, 0, on);
    ASSERT_TRUE(written) << written.error().text();
    EXPECT_EQ(bus->read_output(0, 0), on);
    EXPECT_EQ(peer.report().at("output"), on);
  }
}

TEST_P(Both, AStrangersOutputIsNeverSwitchedOnAndAlwaysOff) {
  ScpiPeer peer(GetParam());
  const auto bus = bus_to(peer, file("scpi-supply-output"));
  ASSERT_TRUE(bus->write_output(0, 0, true));
  peer.tell({{"idn", "Example Instruments,EX-1,0777,1.0"}});
  const auto off = bus->write_output(0, 0, false);
  EXPECT_FALSE(off);
  EXPECT_EQ(peer.report().at("output"), false);
  EXPECT_NE(off.error().message.find("off was sent to it all the same"), std::string::npos) << off.error().text();
  EXPECT_FALSE(bus->write_output(0, 0, true));
  EXPECT_EQ(peer.report().at("output"), false);
  EXPECT_FALSE(bus->read_output(0, 0));
}

TEST_P(Both, OneThatWasExchangedSinceTheLastPollIsNotSwitchedOn) {
  ScpiPeer peer(GetParam());
  const auto bus = bus_to(peer, file("scpi-supply-output"));
  ASSERT_TRUE(bus->read(0).is_answered);
  peer.tell({{"idn", "Example Instruments,EX-1,0777,1.0"}});
  EXPECT_FALSE(bus->write_output(0, 0, true));
  const json report = peer.report();
  for (const json& message : report.at("last_messages")) EXPECT_NE(message, "OUTP ON");
}

TEST_P(Both, OffReachesAnInstrumentThatAnswersLateOrNotAtAll) {
  for (const json& fault : {json{{"silent", true}}, json{{"late_s", 0.3}}, json{{"half", "never"}}, json{{"noise", "x\n"}}}) {
    ScpiPeer peer(GetParam());
    const auto bus = bus_to(peer, file("scpi-supply-output"));
    ASSERT_TRUE(bus->write_output(0, 0, true));
    peer.tell(fault);
    const auto began = Clock::now();
    const auto off = bus->write_output(0, 0, false);
    EXPECT_LT(Clock::now() - began, bus->call_deadline() + 100ms);
    EXPECT_FALSE(off) << "nothing was proven: " << fault;
    // On a TCP connection that is made anew, what waited in the old one may be lost; the second try went over the new.
    for (int i = 0; i < 40 && peer.report().at("output") == true; ++i) std::this_thread::sleep_for(50ms);
    EXPECT_EQ(peer.report().at("output"), false) << fault;
  }
}

TEST(Scpi, AnInstrumentThatIsAwayHoldsNobody) {
  ScpiPeer peer(false);
  const auto bus = bus_to(peer, file("scpi-multimeter-volts"));
  ASSERT_TRUE(bus->read(0).is_answered);
  peer.tell({{"unplug", true}});
  const auto began = Clock::now();
  for (int i = 0; i < 5; ++i) EXPECT_FALSE(bus->read(0).is_answered);
  EXPECT_LT(Clock::now() - began, bus->call_deadline());
  peer.tell({{"plug", true}});
  std::this_thread::sleep_for(wire::open_pause_max);
  EXPECT_TRUE(bus->read(0).is_answered);
}

TEST(Scpi, ADeviceFileWithoutUsbRequestsIsReadToo) {
  ScpiPeer peer(true);
  peer.tell(volts(3.25));
  ScpiBus bus(wire::UsbTmc{peer.place()}, {"m", file("scpi-multimeter-volts"), identity}, timeout);
  EXPECT_EQ(bus.read(0).channels[0].value, 3.25);
  peer.tell({{"late_s", 0.25}, {"times", 1}});
  EXPECT_NE(bus.read(0).channels[0].quality, Quality::good);
  peer.tell(volts(4.25));
  std::this_thread::sleep_for(300ms);
  EXPECT_EQ(bus.read(0).channels[0].value, 4.25);
}

const std::atomic<bool> goes_on{false};

TEST(ScpiSearch, FindsTheTerminatorAtAnAddress) {
  for (const char* end : {"lf", "crlf", "cr"}) {
    ScpiPeer peer(false, {"--input-end", end});
    SearchOptions options;
    options.answer_within = 200ms;
    const auto found = find_instrument(peer.wire_place(), options, {}, goes_on);
    ASSERT_TRUE(found) << end << ": " << found.error().text();
    EXPECT_EQ(found->identity, identity);
    EXPECT_EQ(found->terminator == "\n", std::string(end) == "lf") << end;
    EXPECT_EQ(found->first.query, "READ?");
    EXPECT_EQ(found->first.answer, "+5.00000000E+00");
    EXPECT_EQ(peer.report().at("resets"), 0);
    EXPECT_EQ(peer.report().at("queue"), 0) << "errors of the search are left behind";
  }
}

TEST(ScpiSearch, FindsTheBaudRateAndSaysHowFarItIs) {
  ScpiPeer peer(true, {"--baud", "19200", "--input-end", "crlf"});
  SearchOptions options;
  options.answer_within = 150ms;
  std::vector<std::string> steps;
  const auto found = find_instrument(peer.wire_place(), options, [&](const SearchStep& step) { steps.push_back(step.trying); }, goes_on);
  ASSERT_TRUE(found) << found.error().text();
  EXPECT_EQ(std::get<wire::SerialEnd>(found->place).line.baud, 19200);
  EXPECT_EQ(found->terminator, "\r\n");
  EXPECT_EQ(steps.size(), 8u);
  EXPECT_EQ(steps.back(), "19200 baud, lines that end with CR LF");
  EXPECT_NE(found->config_lines.find("baud = 19200"), std::string::npos) << found->config_lines;
  EXPECT_NE(found->config_lines.find("terminator = \"\\r\\n\""), std::string::npos) << found->config_lines;
  EXPECT_NE(found->config_lines.find("identity = \"" + identity + "\""), std::string::npos) << found->config_lines;
}

TEST(ScpiSearch, SaysHowFarItGotWhereNobodyAnswers) {
  SearchOptions options;
  options.answer_within = 60ms;
  {
    ScpiPeer peer(false);
    peer.tell({{"silent", true}});
    EXPECT_NE(find_instrument(peer.wire_place(), options, {}, goes_on).error().message.find("nothing answers *IDN?"), std::string::npos);
  }
  const auto nothing = find_instrument(wire::UsbTmc{"/nonexistent"}, options, {}, goes_on);
  ASSERT_FALSE(nothing);
  EXPECT_NE(nothing.error().message.find("No such file"), std::string::npos) << nothing.error().text();
  ScpiPeer talker(true);
  talker.tell({{"idn", "+1.234"}});
  EXPECT_NE(find_instrument(talker.wire_place(), options, {}, goes_on).error().message.find("no answer to *IDN?"), std::string::npos);
}

TEST(ScpiSearch, EndsSoonWhenItIsStopped) {
  ScpiPeer peer(true);
  peer.tell({{"silent", true}});
  SearchOptions options;
  options.answer_within = 100ms;
  std::atomic<bool> is_stopped{false};
  int steps = 0;
  const auto found = find_instrument(peer.wire_place(), options, [&](const SearchStep&) { is_stopped = ++steps == 2; }, is_stopped);
  ASSERT_FALSE(found);
  EXPECT_EQ(found.error().fault, Fault::usage);
  EXPECT_EQ(steps, 2);
}

}  // namespace
}  // namespace steadyglow::drivers::scpi
