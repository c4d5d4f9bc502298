/// store_a_night STORE HOURS noisy|digits|evening: a store with one run of sixteen points at 1 Hz, from a fixed seed.
/// noisy: two decimals with a meter's noise. digits: raw 16-bit registers times their scale, as a module shows them.
/// evening: the short one of the tests, with qualities, alarms and a signature, whatever the hours.
#include <cstdio>
#include <iostream>
#include <string_view>

#include "core/decimal.hpp"
#include "seal/stored_runs.hpp"

using namespace steadyglow;

namespace {

struct Course {
  const char* name;
  const char* quantity;
  const char* uom;
  const char* role;
  double level;
  double noise;  ///< standard deviation
  double scale;  ///< of one count
};
constexpr Course courses[] = {
    {"mains_v", "voltage", "V", "mains_voltage", 230.0, 0.3, 0.1},     {"mains_a", "current", "A", "mains_current", 0.9, 0.01, 0.001},
    {"mains_w", "power", "W", "mains_power", 190.0, 0.5, 0.1},         {"b_plus", "voltage", "V", "supply", 452.0, 0.3, 0.02},
    {"heater", "voltage", "V", "heater", 6.3, 0.02, 0.001},            {"grid_bias", "voltage", "V", "grid_bias", -44.0, 0.05, 0.002},
    {"room", "temperature", "Cel", "ambient", 22.0, 0.05, 0.0625},     {"transformer", "temperature", "Cel", "transformer", 55.0, 0.05, 0.0625},
    {"sink", "temperature", "Cel", "heatsink", 45.0, 0.05, 0.0625},    {"offset_left", "voltage", "mV", "offset", 4.0, 0.1, 0.1},
    {"offset_right", "voltage", "mV", "offset", -2.9, 0.1, 0.1},       {"v1_mv", "voltage", "mV", "bias", 380.0, 0.8, 0.3125},
    {"v2_mv", "voltage", "mV", "bias", 379.0, 0.8, 0.3125},            {"v3_mv", "voltage", "mV", "bias", 381.0, 0.8, 0.3125},
    {"v4_mv", "voltage", "mV", "bias", 380.5, 0.8, 0.3125},            {"v5_mv", "voltage", "mV", "bias", 378.0, 0.8, 0.3125}};

std::string profile_text() {
  std::string text = "[profile]\nkind = \"tube-pp-fixed-bias\"\nmains_nominal_volts = 230.0\n";
  for (const Course& c : courses)
    text += std::string("[[point]]\nname = \"") + c.name + "\"\nquantity = \"" + c.quantity + "\"\nuom = \"" + c.uom + "\"\nrole = \"" + c.role + "\"\n";
  return text;
}

std::string plan_text(std::int64_t hours) {
  return "[plan]\ntitle = \"night\"\n[[stage]]\nkind = \"warm_up\"\nminutes = 60\n[[stage]]\nkind = \"baseline\"\nminutes = 30\n[[stage]]\nkind = \"idle_soak\"\nminutes = " +
         std::to_string(60 * hours - 150) + "\ncounted = true\n";
}

}  // namespace

int main(int count, char** words) {
  const auto hours = count == 4 ? parse_decimal(words[2]) : std::nullopt;
  if (!hours || *hours < 4.0) {
    std::cerr << "store_a_night STORE HOURS noisy|digits|evening\n";
    return 64;
  }
  const std::string_view kind = words[3];
  const bool is_digits = kind == "digits";
  auto store = seal::opened(words[1]);
  if (kind == "evening") {
    std::cout << "run " << seal::store_an_evening(*store) << "\n";
    return 0;
  }
  seal::StoredRun run(*store, profile_text(), plan_text(static_cast<std::int64_t>(*hours)));
  std::mt19937_64 random(20260131);
  std::normal_distribution<double> noise;
  const auto seconds = static_cast<std::int64_t>(*hours * 3600.0);
  std::vector<Reading> readings;
  for (std::int64_t s = 1; s < seconds; ++s) {
    readings.clear();
    const Timestamp at = at_ms(s * 1000 + static_cast<std::int64_t>(random() % 12));
    for (std::uint16_t p = 0; p < std::size(courses); ++p) {
      const Course& c = courses[p];
      const double value = c.level + c.noise * noise(random);
      readings.push_back(Reading::good(PointId{p}, at, is_digits ? std::round(value / c.scale) * c.scale : seal::two_decimals(value)));
    }
    run.take(at, readings);
    if (s % 2000 == 0 && !store->flush()) return 74;
  }
  std::cout << "run " << run.end() << ", " << seconds - 1 << " batches\n";
  return 0;
}
