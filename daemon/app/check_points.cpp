#include "app/check_points.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <optional>

#include "app/point_chain.hpp"
#include "core/decimal.hpp"
#include "sensor/chain_words.hpp"
#include "soak/engine.hpp"

namespace steadyglow::app {
namespace {

constexpr int digits = 4;
constexpr const char* row = "  {:<24} {:<26} {:>13}   {:>13}   {}";
constexpr const char* below_row = "      {}";

/// Small figures keep their digits: 10 mV read as volts are 0.01003 V and not 0.010 V.
std::string with_uom(double value, std::string_view shown) {
  const std::string text = value != 0.0 && std::fabs(value) < 1.0 ? fmt::format("{:.{}g}", value, digits) : to_figure(value, digits);
  return shown.empty() ? text : fmt::format("{} {}", text, shown);
}

std::string joined(const std::vector<std::string>& texts) { return fmt::format("{}", fmt::join(texts, ", ")); }

/// A line of a few more words than fit is broken at a blank.
void add_wrapped(std::vector<std::string>& lines, const std::string& text) {
  constexpr std::size_t columns = 94;
  std::size_t at = 0;
  while (text.size() - at > columns) {
    const std::size_t blank = text.rfind(' ', at + columns);
    if (blank == std::string::npos || blank <= at) break;
    lines.push_back(fmt::format(below_row, text.substr(at, blank - at)));
    at = blank + 1;
  }
  lines.push_back(fmt::format(below_row, text.substr(at)));
}

/// One display step of the meter, at the point.
std::optional<double> step_of(const drivers::MeterInfo& meter, const PointBinding& binding, const Worked& worked) {
  if (!meter.papers.accuracy || meter.papers.accuracy->resolution == 0.0) return std::nullopt;
  const auto at = sensor::convert(binding.chain, worked.raw, Quality::good, sensor::junction_assumed);
  return std::fabs(at.slope) * meter.papers.accuracy->resolution;
}

/// What a person should know of a point although nothing is wrong with it.
std::vector<std::string> remarks(const Settings& settings, const profile::Point& point, const PointBinding& binding, const std::optional<Worked>& worked) {
  std::vector<std::string> all = limits_out_of_reach(point, binding);
  if (!worked) {
    all.emplace_back("no reading of the channel makes the point read what it should");
    return all;
  }
  if (const auto step = step_of(settings.buses[binding.bus].meters[binding.meter], binding, *worked); step && worked->value != 0.0 && *step > 0.1 * std::fabs(worked->value))
    all.push_back(fmt::format("one step of the meter is {} here: too coarse for this point", with_uom(*step, point.uom.shown)));
  if (worked->expanded_uncertainty)
    for (const std::optional<double>& limit : {point.warn.low, point.warn.high})
      if (limit && point.nominal && *worked->expanded_uncertainty >= std::fabs(*limit - *point.nominal)) {
        all.push_back("it can be off by more than there is from nominal to a warning limit: such a warning may be the meter's");
        break;
      }
  const double volts = std::fabs(worked->value) * point.uom.to_base;
  const bool is_divided = point.quantity == Quantity::voltage && binding.chain.from.quantity == Quantity::voltage && volts > 1.5 * std::fabs(worked->raw) * binding.chain.from.to_base;
  if (is_divided && point.is_mains())
    all.emplace_back("CAUTION, mains: a divider does not separate them from the meter. Measure them with an energy meter or a transformer rated for mains");
  else if (is_divided && volts > soak::safe_volts)
    all.emplace_back("CAUTION, lethal voltage: fit the divider cold and discharged, every part rated for it, and clamp its lower arm, or an open resistor puts all of it into the meter");
  return all;
}

void add_point(std::vector<std::string>& lines, const Settings& settings, const UnitSettings& unit, const PointBinding& binding) {
  const profile::Point& point = unit.profile.point(binding.point);
  const drivers::MeterInfo& meter = settings.buses[binding.bus].meters[binding.meter];
  const auto worked = work(settings, unit, binding);
  const std::string reads = worked ? with_uom(worked->raw, binding.chain.from.shown) : "?";
  const std::string is = worked ? with_uom(worked->value, point.uom.shown) : "?";
  const std::string off = worked && worked->expanded_uncertainty ? "± " + with_uom(*worked->expanded_uncertainty, point.is_temperature() ? "K" : point.uom.shown) : "not stated";
  lines.push_back(fmt::format(fmt::runtime(row), point.name, meter.name + "." + meter.channels[binding.channel].name, reads, is, off));
  if (const std::string words = sensor::words_of(binding.chain); !words.empty()) add_wrapped(lines, words);
  if (worked && worked->expanded_uncertainty && !worked->left_out.empty()) add_wrapped(lines, "not stated, and not in ±: " + joined(worked->left_out));
  for (const std::string& remark : remarks(settings, point, binding, worked)) add_wrapped(lines, "! " + remark);
}

std::string papers_words(const drivers::MeterPapers& papers, std::string_view today) {
  if (papers.calibrated.empty() && papers.calibration_due.empty()) return "calibration not stated";
  std::string words = papers.calibrated.empty() ? "calibrated: not stated" : "calibrated " + papers.calibrated;
  if (papers.calibration_due.empty()) return words + ", due: not stated";
  return words + fmt::format(", due {}{}", papers.calibration_due, std::string_view(papers.calibration_due) < today ? ": OVERDUE" : "");
}

std::string channel_name(const Settings& settings, const ChannelBinding& binding) {
  const drivers::MeterInfo& meter = settings.buses[binding.bus].meters[binding.meter];
  return meter.name + "." + meter.channels[binding.channel].name;
}

/// What guards the whole bench: each level of its smoke contact in words, and what its meter reads at nominal mains.
void add_bench(std::vector<std::string>& lines, const Settings& settings, const BenchSettings& bench) {
  if (!bench.smoke && !bench.mains) return;
  lines.push_back(fmt::format("{} (bench)", bench.name));
  if (bench.smoke) {
    for (const double level : {0.0, 1.0}) {
      const auto loop = sensor::convert(bench.smoke->chain, level, Quality::good);
      const char* meaning = loop.quality != Quality::good ? "not believed" : loop.value == 0.0 ? "all is well" : "SMOKE, heat or a broken wire";
      lines.push_back(fmt::format("  {:<24} {:<26} {:>13}   {}", level == 0.0 ? "smoke contact" : "", level == 0.0 ? channel_name(settings, *bench.smoke) : "", fmt::format("if it reads {}", level), meaning));
    }
    if (const std::string words = sensor::words_of(bench.smoke->chain); !words.empty()) add_wrapped(lines, words);
  }
  if (bench.mains) {
    const auto raw = bench.mains_nominal_volts ? sensor::raw_for(bench.mains->chain, *bench.mains_nominal_volts) : std::nullopt;
    lines.push_back(fmt::format(fmt::runtime(row), "mains", channel_name(settings, *bench.mains), raw ? with_uom(*raw, bench.mains->chain.from.shown) : "?",
                                bench.mains_nominal_volts ? with_uom(*bench.mains_nominal_volts, "V") : "no nominal", ""));
    if (const std::string words = sensor::words_of(bench.mains->chain); !words.empty()) add_wrapped(lines, words);
  }
  lines.emplace_back();
}

}  // namespace

std::vector<std::string> chain_lines(const Settings& settings, std::string_view today) {
  std::vector<std::string> lines;
  bool has_measured_junction = false;
  for (const BenchSettings& bench : settings.benches) add_bench(lines, settings, bench);
  for (const UnitSettings& unit : settings.units) {
    lines.push_back(fmt::format("{} ({}), profile {}", unit.name, unit.title, unit.profile_name));
    lines.push_back(fmt::format(fmt::runtime(row), "point", "channel", "if it reads", "the point is", "off by (k = 2)"));
    for (const PointBinding& binding : unit.points) {
      add_point(lines, settings, unit, binding);
      has_measured_junction = has_measured_junction || binding.junction.has_value();
    }
    lines.emplace_back();
  }
  if (has_measured_junction) {
    lines.push_back(fmt::format("Thermocouples with measured terminals are worked out for terminals at {} °C.", to_figure(sensor::junction_assumed.value, 3)));
    lines.emplace_back();
  }
  lines.emplace_back("meters");
  for (const auto& bus : settings.buses)
    for (const auto& meter : bus.meters)
      lines.push_back(fmt::format("  {:<24} {:<38} {}", meter.name, fmt::format("{} on {}", meter.instrument, bus.name), papers_words(meter.papers, today)));
  for (const std::string& note : settings.notes) lines.push_back("note: " + note);
  lines.emplace_back();
  return lines;
}

}  // namespace steadyglow::app
