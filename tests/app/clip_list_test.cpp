#include "app/clip_list.hpp"

#include <gtest/gtest.h>

#include "profile/profile_toml.hpp"

namespace steadyglow::app {
namespace {

constexpr const char* profile_text = R"(
[profile]
kind = "tube-pp-fixed-bias"
[[point]]
name = "v1_cathode_mv"
quantity = "voltage"
uom = "mV"
role = "bias"
nominal = 380.0
trip = { high = 554.0 }
sense_ohms = 10.0
[[point]]
name = "b_plus_v"
quantity = "voltage"
uom = "V"
role = "supply"
nominal = 452.0
trip = { high = 520.0 }
[[point]]
name = "grid_bias_v"
quantity = "voltage"
uom = "V"
role = "grid_bias"
nominal = -44.0
[[point]]
name = "heater_v"
quantity = "voltage"
uom = "V"
role = "heater"
nominal = 6.3
[[point]]
name = "sink_c"
quantity = "temperature"
uom = "Cel"
role = "heatsink"
[[point]]
name = "mains_volts"
quantity = "voltage"
uom = "V"
role = "mains_voltage"
nominal = 230.0
[[point]]
name = "room_c"
quantity = "temperature"
uom = "Cel"
role = "ambient"
)";

/// Every voltage point on channel 0, every temperature on channel 1.
struct Wired {
  UnitSettings unit;
  std::vector<drivers::BusSpec> buses{1};
  Wired() {
    Errors errors;
    unit.profile = *profile::parse_profile(profile_text, "p.toml", errors);
    buses[0].name = "line";
    buses[0].where = "127.0.0.1:1502";
    drivers::MeterInfo meter;
    meter.name = "analog_a";
    meter.channels = {{"ch1", Quantity::voltage, "V"}, {"t1", Quantity::temperature, "Cel"}};
    buses[0].meters.push_back(meter);
    meter.name = "energy_1";
    buses[0].meters.push_back(meter);
    for (std::uint16_t i = 0; i < unit.profile.points.size(); ++i) {
      PointBinding binding;
      binding.point = PointId{i};
      binding.channel = unit.profile.points[i].is_temperature() ? 1 : 0;
      binding.meter = unit.profile.points[i].is_mains() ? 1 : 0;
      unit.points.push_back(binding);
    }
  }
  Clip clip(const std::string& point) const {
    for (const Clip& clip : clip_list(unit, buses))
      if (clip.point == point) return clip;
    ADD_FAILURE() << point;
    return {};
  }
};

bool says(const std::vector<std::string>& cautions, const std::string& words) {
  for (const std::string& caution : cautions)
    if (caution.find(words) != std::string::npos) return true;
  return false;
}

TEST(ClipList, HasEveryPointOnce) { EXPECT_EQ(clip_list(Wired().unit, Wired().buses).size(), 7U); }

TEST(ClipList, TellsTheHighestVoltageOfASupplyFromItsLimits) { EXPECT_EQ(Wired().clip("b_plus_v").expected_volts, 520.0); }

TEST(ClipList, AsksForARatingAboveTheSupply) { EXPECT_TRUE(says(Wired().clip("b_plus_v").cautions, "650 V DC or more")); }

TEST(ClipList, SaysWhatACathodeMayJumpToWhenItsResistorOpens) {
  const Clip clip = Wired().clip("v1_cathode_mv");
  EXPECT_NEAR(*clip.expected_volts, 0.554, 1e-9);
  EXPECT_EQ(clip.at_worst_volts, 520.0);
  EXPECT_TRUE(says(clip.cautions, "may jump to 520 V"));
  EXPECT_EQ(clip.where, "across its 10.00 \u03a9 resistor");
}

TEST(ClipList, SaysThatAGridBiasIsNegative) { EXPECT_EQ(Wired().clip("grid_bias_v").sign, ClipSign::negative); }

TEST(ClipList, DrawsAnEarthOnlyWhereThereIsOne) {
  const Wired wired;
  EXPECT_EQ(wired.clip("b_plus_v").reference, ClipReference::ground);
  EXPECT_EQ(wired.clip("v1_cathode_mv").reference, ClipReference::own_resistor);
  EXPECT_EQ(wired.clip("heater_v").reference, ClipReference::other_pin);
  for (const char* none : {"sink_c", "room_c", "mains_volts"}) EXPECT_EQ(wired.clip(none).reference, ClipReference::none) << none;
}

TEST(ClipList, WarnsOfALiveHeatsinkAndNotOfARoom) {
  EXPECT_TRUE(says(Wired().clip("sink_c").cautions, "may be live"));
  EXPECT_TRUE(Wired().clip("room_c").cautions.empty());
}

TEST(ClipList, EveryChannelOfAMeterThatReadsMainsIsMains) {
  Wired wired;
  for (PointBinding& binding : wired.unit.points)
    if (wired.unit.profile.point(binding.point).name == "grid_bias_v") binding.meter = 1;
  EXPECT_TRUE(wired.clip("grid_bias_v").is_mains);
  EXPECT_FALSE(wired.clip("b_plus_v").is_mains);
}

TEST(ClipList, NeverSendsMainsToAnAnalogueInput) {
  const Clip clip = Wired().clip("mains_volts");
  EXPECT_TRUE(says(clip.cautions, "never by an analogue input"));
  EXPECT_FALSE(clip.at_worst_volts);
}

}  // namespace
}  // namespace steadyglow::app
