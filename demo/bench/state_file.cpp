#include "demo/bench/state_file.hpp"

#include <fmt/format.h>

#include <cmath>
#include <cstdio>
#include <filesystem>
#include <fstream>

namespace steadyglow::demo {
namespace {

using nlohmann::ordered_json;

double rounded(double value, double digit) { return std::round(value / digit) * digit; }

ordered_json stress_json(const Night& night, const UnitTruth& unit) {
  ordered_json stress;
  stress["what"] = unit.worst_what;
  stress["now_percent"] = rounded(unit.stress.percent, 0.1);
  stress["worst_percent"] = rounded(unit.worst_percent, 0.1);
  stress["worst_at_seconds"] = unit.worst_at;
  stress["worst_at"] = time_of_day(night, unit.worst_at);
  stress["damage_percent"] = unit.stress.damage_percent;
  stress["damage_after_seconds"] = unit.stress.damage_seconds;
  stress["longest_beyond_seconds"] = unit.seconds_beyond;
  stress["margin_percent"] = rounded(unit.stress.damage_percent - unit.worst_percent, 0.1);
  return stress;
}

ordered_json unit_json(const Night& night, const UnitTruth& unit) {
  ordered_json json;
  json["name"] = to_word(unit.model);
  json["coil"] = unit.is_coil_on;
  json["powered"] = unit.is_powered;
  json["lost_power_at_seconds"] = unit.lost_power_at ? ordered_json(*unit.lost_power_at) : ordered_json();
  json["damaged"] = unit.damaged_at.has_value();
  json["damaged_at_seconds"] = unit.damaged_at ? ordered_json(*unit.damaged_at) : ordered_json();
  json["stress"] = stress_json(night, unit);
  json["mains_volts"] = unit.mains_volts;
  json["mains_current"] = unit.amperes;
  json["mains_power"] = unit.watts;
  json["energy_kwh"] = unit.kilowatt_hours;
  for (const Signal& signal : unit.signals) json["signals"][std::string(signal.name)] = {{"value", signal.value}, {"uom", signal.uom}};
  return json;
}

}  // namespace

ordered_json state_json(const VirtualBench& bench, const StateOfServer& server) {
  const double seconds = static_cast<double>(bench.now().count()) / 1000.0;
  ordered_json state;
  state["night"] = bench.night().title;
  state["bench_seconds"] = seconds;
  state["time_of_day"] = time_of_day(bench.night(), seconds);
  state["rate"] = server.rate;
  state["port"] = server.port;
  state["pty"] = server.pty;
  state["requests"] = server.requests;
  state["dropped"] = server.dropped;
  state["late"] = server.late;
  state["bad_frames"] = server.bad_frames;
  const Weather weather = bench.weather();
  state["mains"] = {{"volts", weather.mains_volts}, {"hertz", weather.mains_hertz}};
  state["room_celsius"] = weather.room_celsius;
  for (std::size_t i = 0; i < coils_in_all; ++i) state["coils"].push_back(bench.coil(i));
  state["units"] = ordered_json::array();
  for (const UnitTruth& unit : bench.truth()) state["units"].push_back(unit_json(bench.night(), unit));
  return state;
}

void write_state_file(const std::string& file, const ordered_json& state) {
  static bool is_told = false;
  const std::string fresh = file + ".new";
  std::ofstream out(fresh, std::ios::binary | std::ios::trunc);
  out << state.dump(2) << '\n';
  out.close();
  std::error_code error;
  if (out) std::filesystem::rename(fresh, file, error);
  if ((!out || error) && !is_told) {
    is_told = true;
    fmt::print(stderr, "{}: error: the state cannot be written; hint: does its folder exist?\n", file);
  }
}

}  // namespace steadyglow::demo
