#include "bench/detection/unit.hpp"

#include "bench/detection/units.hpp"

namespace steadyglow::detection {

double rounded(double value, int digits) {
  if (value == 0.0) return 0.0;
  const double step = std::pow(10.0, std::floor(std::log10(std::fabs(value))) - digits + 1);
  return std::round(value / step) * step;
}

void Unit::add_usual(double watts_nominal) {
  is_deaf_to_room = dice.chance(0.08);
  is_deaf_to_mains = dice.chance(0.08);
  is_deaf_to_watts = dice.chance(0.08);
  const double watt_steps = watts_nominal < 40.0 ? 0.1 : dice.chance(0.25) ? 1.0 : 0.1;
  if (!is_deaf_to_mains)
    add("mains_v", "voltage", "V", "mains_voltage", [this] { return seen.mains * nominal_volts; }, {.sigma = 0.08, .resolution = 0.1}).expects(nominal_volts);
  if (!is_deaf_to_watts)
    add("mains_w", "power", "W", "mains_power", [this] { return watts; }, {.sigma_ratio = 0.0015, .resolution = watt_steps}).expects(rounded(watts_nominal));
  if (!is_deaf_to_room)
    add("room", "temperature", "Cel", "ambient", [this] { return seen.room_at_sensor; }, {.sigma = 0.04, .resolution = temperature_resolution});
}

const std::vector<std::pair<std::string, Factory>>& unit_kinds() {
  static const std::vector<std::pair<std::string, Factory>> kinds{
      {"fixed-bias-4", [](std::uint64_t seed) { return fixed_bias_amp(seed, 4); }},
      {"fixed-bias-8", [](std::uint64_t seed) { return fixed_bias_amp(seed, 8); }},
      {"cathode-bias", cathode_bias_amp},
      {"single-ended", single_ended_amp},
      {"class-ab", [](std::uint64_t seed) { return class_ab(seed, Guise::stereo, false); }},
      {"class-ab-programme", [](std::uint64_t seed) { return class_ab(seed, Guise::stereo, true); }},
      {"receiver-programme", [](std::uint64_t seed) { return class_ab(seed, Guise::receiver, true); }},
      {"mono-pair", [](std::uint64_t seed) { return class_ab(seed, Guise::mono_pair, false); }},
      {"headphone-amp", [](std::uint64_t seed) { return class_ab(seed, Guise::headphone, false); }},
      {"class-a", class_a_amp},
      {"tube-preamp", tube_preamp},
      {"solid-state-preamp", solid_preamp},
      {"tuner", tuner},
      {"disc-player", disc_player},
      {"crossover", crossover},
      {"tape-deck", tape_deck},
      {"turntable", turntable},
      {"unknown", unknown_thing},
  };
  return kinds;
}

std::unique_ptr<Unit> make_unit(const std::string& kind, std::uint64_t seed) {
  for (const auto& [name, factory] : unit_kinds())
    if (name == kind) {
      auto unit = factory(seed);
      unit->kind = kind;
      return unit;
    }
  throw std::out_of_range("no unit " + kind);
}

}  // namespace steadyglow::detection
