#pragma once
/// Nights for tests: flat mains and a steady room, unless a test wants otherwise.
#include <fmt/format.h>

#include <fstream>
#include <iterator>
#include <stdexcept>
#include <string>

#include "demo/bench/virtual_bench.hpp"

namespace steadyglow::demo {

using namespace std::chrono_literals;

inline Night night_of(const std::string& text) {
  Errors errors;
  auto night = parse_night(text, "test.toml", errors);
  if (!night) throw std::runtime_error(errors.front().text());
  return *night;
}

inline std::string flat(double volts = 230.0, double room = 23.0, const std::string& more = "") {
  return fmt::format(R"(
units = ["brindlecombe35", "fennimark120", "hollin_p4"]
[night]
title = "flat"
starts = "20:00"
seed = 7
[mains]
nominal_volts = {0}
low_volts = 80
high_volts = 290
wander_volts = 0
[room]
evening_celsius = {1}
night_celsius = {1}
heating_off = "22:00"
heating_on = "07:00"
{2}
)", volts, room, more);
}

inline std::string source_file(const std::string& path) {
  std::ifstream in(std::string(STEADYGLOW_SOURCE_DIR) + "/" + path, std::ios::binary);
  if (!in) throw std::runtime_error(path + " cannot be read");
  return {std::istreambuf_iterator<char>(in), {}};
}

/// A bench with every relay on from the start.
inline VirtualBench running(const Night& night) {
  VirtualBench bench(night);
  for (std::size_t i = 0; i < model_count; ++i) bench.set_coil(i, true);
  bench.set_coil(contactor_coil, true);
  return bench;
}

inline UnitTruth truth_of(const VirtualBench& bench, Model model) {
  for (UnitTruth& unit : bench.truth())
    if (unit.model == model) return unit;
  throw std::runtime_error("not on the bench");
}

inline double signal(const VirtualBench& bench, Model model, std::string_view name) {
  for (const Signal& signal : truth_of(bench, model).signals)
    if (signal.name == name) return signal.value;
  throw std::runtime_error("no such signal");
}

}  // namespace steadyglow::demo
