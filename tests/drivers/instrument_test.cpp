#include <gtest/gtest.h>

#include <algorithm>
#include <string>

#include "drivers/modbus/instrument_toml.hpp"

namespace steadyglow::drivers::modbus {
namespace {

constexpr std::string_view good_map = R"([instrument]
title = "Eight-channel analogue input module"
protocol = "modbus"
word_order = "CDAB"
gap_registers_max = 2
registers_per_request_max = 60
[[channel]]
name = "ch1"
table = "input"
address = 0
type = "int16"
scale = 0.001
quantity = "voltage"
uom = "V"
plausible = { low = -10.5, high = 10.5 }
sentinel = [ { raw = 32767, quality = "over_range" }, { raw = -32768, quality = "open_sensor" } ]
[[channel]]
name = "power"
table = "holding"
address = 40
type = "float32"
word_order = "DCBA"
quantity = "power"
uom = "W"
[[channel]]
name = "lid"
table = "discrete"
address = 3
quantity = "state"
uom = "1"
[[output]]
name = "outlet_1"
coil = 0
)";

/// One mistake in a small map: the first error's text.
std::string mistake_in(std::string_view channel, std::string_view head = "protocol = \"modbus\"") {
  const std::string text = "[instrument]\n" + std::string(head) + "\n[[channel]]\n" + std::string(channel);
  Errors errors;
  EXPECT_FALSE(parse_instrument(text, "module.toml", errors));
  std::string all;
  for (const Error& error : errors) all += error.text() + "\n";
  return all;
}

bool holds(const std::string& text, std::string_view part) { return text.find(part) != std::string::npos; }

TEST(InstrumentFile, IsReadToTheLastKey) {
  Errors errors;
  const auto instrument = parse_instrument(good_map, "module.toml", errors);
  ASSERT_TRUE(instrument) << errors.front().text();
  EXPECT_EQ(instrument->gap_registers_max, 2);
  EXPECT_EQ(instrument->registers_per_request_max, 60);
  ASSERT_EQ(instrument->channels.size(), 3u);
  EXPECT_EQ(instrument->channels[0].sentinels[1].quality, Quality::open_sensor);
  EXPECT_EQ(instrument->channels[0].plausible_low, -10.5);
  EXPECT_EQ(instrument->channels[1].order, WordOrder::dcba);
  EXPECT_EQ(instrument->channels[2].type, Type::bit);
  ASSERT_EQ(instrument->outputs.size(), 1u);
  EXPECT_EQ(instrument->outputs[0].coil, 0);
}

TEST(InstrumentFile, TheDefaultWordOrderIsTheFiles) {
  Errors errors;
  const auto instrument = parse_instrument(good_map, "module.toml", errors);
  ASSERT_TRUE(instrument);
  EXPECT_EQ(instrument->channels[0].order, WordOrder::cdab);
}

TEST(InstrumentFile, ReportsAllMistakesAtTheirPlaces) {
  Errors errors;
  EXPECT_FALSE(parse_instrument(R"([instrument]
protocol = "modbus"
word_ordr = "ABCD"
[[channel]]
name = "ch1"
table = "inputs"
address = 70000
type = "int16"
quantity = "voltage"
uom = "mA"
)", "module.toml", errors));
  std::string all;
  for (const Error& error : errors) all += error.text() + "\n";
  EXPECT_EQ(errors.size(), 4u) << all;
  EXPECT_TRUE(holds(all, "module.toml:3:1: error: unknown key `word_ordr` hint: did you mean `word_order`?")) << all;
  EXPECT_TRUE(holds(all, "module.toml:6:9: error: `table` is \"inputs\"")) << all;
  EXPECT_TRUE(holds(all, "module.toml:7:11: error: `address` is 70000")) << all;
  EXPECT_TRUE(holds(all, "module.toml:10:7: error: `mA` is no unit of measure for voltage")) << all;
}

constexpr std::string_view base = "name = \"a\"\ntable = \"input\"\naddress = 0\nquantity = \"voltage\"\nuom = \"V\"\n";

TEST(InstrumentFile, ASentinelMustBeARawValueThatTheTypeCanHold) {
  const auto text = mistake_in(std::string(base) + "type = \"uint16\"\nsentinel = [ { raw = -1, quality = \"open_sensor\" } ]\n");
  EXPECT_TRUE(holds(text, "module.toml:10:22: error: `raw` is -1, but must be between 0 and 65535")) << text;
  const auto fraction = mistake_in(std::string(base) + "type = \"int16\"\nsentinel = [ { raw = 0.5, quality = \"open_sensor\" } ]\n");
  EXPECT_TRUE(holds(fraction, "whole numbers")) << fraction;
}

TEST(InstrumentFile, GoodIsNoQualityForASentinel) {
  const auto text = mistake_in(std::string(base) + "type = \"uint16\"\nsentinel = [ { raw = 1, quality = \"good\" } ]\n");
  EXPECT_TRUE(holds(text, "none of: over_range")) << text;
}

TEST(InstrumentFile, AnImpossiblePlausibleRangeIsAMistake) {
  const auto text = mistake_in(std::string(base) + "type = \"int16\"\nplausible = { low = 3, high = 2 }\n");
  EXPECT_TRUE(holds(text, "module.toml:10:13")) << text;
  EXPECT_TRUE(holds(mistake_in(std::string(base) + "type = \"int16\"\nplausible = { }\n"), "neither low nor high"));
}

TEST(InstrumentFile, ABitHasNoScale) {
  const auto text = mistake_in("name = \"a\"\ntable = \"coil\"\naddress = 0\nquantity = \"state\"\nuom = \"1\"\nscale = 2.0\n");
  EXPECT_TRUE(holds(text, "module.toml:9:9: error: `scale` has no meaning for a bit")) << text;
}

TEST(InstrumentFile, ACoilHoldsNoNumberAndARegisterNoBit) {
  EXPECT_TRUE(holds(mistake_in("name = \"a\"\ntable = \"coil\"\naddress = 0\ntype = \"int16\"\nquantity = \"state\"\nuom = \"1\"\n"), "a coil holds a bit"));
  EXPECT_TRUE(holds(mistake_in(std::string(base) + "type = \"bit\"\n"), "a register holds a number"));
}

TEST(InstrumentFile, ARegisterNeedsAType) {
  EXPECT_TRUE(holds(mistake_in(base), "`type` is missing"));
}

TEST(InstrumentFile, AScaleOfZeroIsAMistake) {
  EXPECT_TRUE(holds(mistake_in(std::string(base) + "type = \"int16\"\nscale = 0\n"), "every reading would be the same"));
}

TEST(InstrumentFile, A32BitValueMustFitTheAddressesAndARequest) {
  EXPECT_TRUE(holds(mistake_in("name = \"a\"\ntable = \"input\"\naddress = 65535\ntype = \"int32\"\nquantity = \"voltage\"\nuom = \"V\"\n"), "past the last register"));
  EXPECT_TRUE(holds(mistake_in(std::string(base) + "type = \"int32\"\n", "protocol = \"modbus\"\nregisters_per_request_max = 1"), "needs 2 registers"));
}

/// Two channels in one map: the second's place and type.
std::string two(std::string_view second, std::string_view first_more = "") {
  return "name = \"a\"\ntable = \"input\"\naddress = 4\ntype = \"float32\"\nquantity = \"voltage\"\nuom = \"V\"\n" + std::string(first_more) +
         "[[channel]]\nname = \"b\"\nquantity = \"voltage\"\nuom = \"V\"\n" + std::string(second);
}
bool is_good(std::string_view channels, std::string_view head = "protocol = \"modbus\"") {
  Errors errors;
  const bool is_read = parse_instrument("[instrument]\n" + std::string(head) + "\n[[channel]]\n" + std::string(channels), "module.toml", errors).has_value();
  for (const Error& error : errors) ADD_FAILURE() << error.text();
  return is_read;
}

TEST(InstrumentFile, TwoChannelsOnOneRegisterAreAMistake) {
  const auto text = mistake_in(two("table = \"input\"\naddress = 5\ntype = \"int16\"\n"));
  EXPECT_TRUE(holds(text, "module.toml:15:11: error: `b` and `a` both lie on input register 5 hint: a float32 takes 2")) << text;
}

TEST(InstrumentFile, TwoChannelsMayShareARegisterWhereItIsMeant) {
  EXPECT_TRUE(is_good(two("table = \"input\"\naddress = 5\ntype = \"int16\"\nshares_register = true\n")));
  EXPECT_TRUE(is_good(two("table = \"input\"\naddress = 5\ntype = \"int16\"\n", "shares_register = true\n")));
  EXPECT_TRUE(is_good(two("table = \"holding\"\naddress = 5\ntype = \"int16\"\n")));
  EXPECT_TRUE(is_good(two("table = \"input\"\naddress = 6\ntype = \"int16\"\n")));
}

constexpr std::string_view flag = "table = \"input\"\naddress = 0\ntype = \"bit\"\nquantity = \"state\"\nuom = \"1\"\n";

TEST(InstrumentFile, FlagsOfOneRegisterLieSideBySide) {
  EXPECT_TRUE(is_good("name = \"a\"\nbit = 0\n" + std::string(flag) + "[[channel]]\nname = \"b\"\nbit = 15\n" + std::string(flag)));
  EXPECT_TRUE(holds(mistake_in("name = \"a\"\nbit = 3\n" + std::string(flag) + "[[channel]]\nname = \"b\"\nbit = 3\n" + std::string(flag)), "both lie on"));
  EXPECT_TRUE(holds(mistake_in("name = \"a\"\nbit = 16\n" + std::string(flag)), "between 0 and 15"));
  EXPECT_TRUE(holds(mistake_in(std::string(base) + "type = \"int16\"\nbit = 3\n"), "`bit` has a meaning for a flag"));
}

TEST(InstrumentFile, AnIdentityIsReadFromRegistersOrByFunction) {
  Errors errors;
  const std::string channel = "[[channel]]\n" + std::string(base) + "type = \"int16\"\n";
  const auto text = parse_instrument("[instrument]\nprotocol = \"modbus\"\n[instrument.identity]\nregisters = { table = \"holding\", address = 100, count = 8 }\n" + channel, "m.toml", errors);
  ASSERT_TRUE(text) << errors.front().text();
  EXPECT_EQ(text->identity.count, 8);
  EXPECT_FALSE(text->identity.is_number);
  const auto code = parse_instrument("[instrument]\nprotocol = \"modbus\"\n[instrument.identity]\nregisters = { table = \"input\", address = 2 }\ntype = \"uint32\"\nis = 70000\n" + channel, "m.toml", errors);
  ASSERT_TRUE(code) << errors.front().text();
  EXPECT_EQ(code->identity.is, 70000u);
  EXPECT_EQ(code->identity.count, 2);
  const auto function = parse_instrument("[instrument]\nprotocol = \"modbus\"\n[instrument.identity]\ndevice_identification = true\n" + channel, "m.toml", errors);
  ASSERT_TRUE(function) << errors.front().text();
  EXPECT_EQ(function->identity.source, IdentityRule::Source::device_identification);
}

TEST(InstrumentFile, AnIdentityThatCannotBeAskedForIsAMistake) {
  const auto with = [](std::string_view identity) { return mistake_in(std::string(base) + "type = \"int16\"\n", "protocol = \"modbus\"\n[instrument.identity]\n" + std::string(identity)); };
  EXPECT_TRUE(holds(with(""), "does not say how to ask"));
  EXPECT_TRUE(holds(with("registers = { table = \"holding\", address = 1, count = 2 }\ndevice_identification = true\n"), "two ways to ask"));
  EXPECT_TRUE(holds(with("registers = { table = \"holding\", address = 1 }\n"), "`count` is missing"));
  EXPECT_TRUE(holds(with("registers = { table = \"holding\", address = 1, count = 2 }\nis = 5\n"), "device-type code, which is a number"));
  EXPECT_TRUE(holds(with("registers = { table = \"coil\", address = 1, count = 2 }\n"), "none of: holding, input"));
}

TEST(InstrumentFile, NamesStandOnce) {
  const std::string twice = "[instrument]\nprotocol = \"modbus\"\n[[output]]\nname = \"o\"\ncoil = 1\n[[output]]\nname = \"o\"\ncoil = 1\n";
  Errors errors;
  EXPECT_FALSE(parse_instrument(twice, "relays.toml", errors));
  ASSERT_EQ(errors.size(), 2u);
  EXPECT_EQ(errors[0].where, "relays.toml:8:8");
  EXPECT_EQ(errors[1].text(), "relays.toml:7:8: error: output `o` stands here twice hint: the first is at line 4");
}

TEST(InstrumentFile, AnEmptyOneIsAMistake) {
  Errors errors;
  EXPECT_FALSE(parse_instrument("", "empty.toml", errors));
  EXPECT_EQ(errors.size(), 2u);  // no [instrument], nothing in it
}

TEST(InstrumentFile, AnotherProtocolIsAMistake) {
  Errors errors;
  EXPECT_FALSE(parse_instrument("[instrument]\nprotocol = \"scpi\"\n[[output]]\nname = \"o\"\ncoil = 1\n", "x.toml", errors));
  ASSERT_EQ(errors.size(), 1u);
  EXPECT_EQ(errors[0].where, "x.toml:2:12");
}

}  // namespace
}  // namespace steadyglow::drivers::modbus
