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

TEST(InstrumentFile, NamesStandOnce) {
  const std::string twice = "[instrument]\nprotocol = \"modbus\"\n[[output]]\nname = \"o\"\ncoil = 1\n[[output]]\nname = \"o\"\ncoil = 1\n";
  Errors errors;
  EXPECT_FALSE(parse_instrument(twice, "relays.toml", errors));
  ASSERT_EQ(errors.size(), 2u);
  EXPECT_EQ(errors[0].text(), "relays.toml:7:8: error: output `o` stands here twice hint: the first is at line 4");
  EXPECT_EQ(errors[1].where, "relays.toml:8:8");
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
