#include "app/point_chain.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <utility>

#include "analysis/uncertainty.hpp"
#include "core/decimal.hpp"
#include "sensor/chain_words.hpp"

namespace steadyglow::app {
namespace {

constexpr double coverage_factor = 2.0;
constexpr int digits = 4;

sensor::RawBand band_of(const PointBinding& binding) {
  sensor::RawBand band = binding.plausible;
  if (const auto& low = binding.chain.accept_low) band.low = std::max(band.low, *low);
  if (const auto& high = binding.chain.accept_high) band.high = std::min(band.high, *high);
  return band;
}

/// Can the channel make the point read this value?
bool reaches(const PointBinding& binding, double value) {
  const auto raw = sensor::raw_for(binding.chain, value, sensor::junction_assumed);
  const sensor::RawBand band = band_of(binding);
  return raw && *raw >= band.low && *raw <= band.high;
}

/// Can a good reading of the channel be beyond this limit? On it is not beyond it: a range that ends there never passes it.
bool passes(const PointBinding& binding, double limit, bool is_high) {
  if (!reaches(binding, limit)) return false;
  const double raw = *sensor::raw_for(binding.chain, limit, sensor::junction_assumed);
  const double slope = sensor::convert(binding.chain, raw, Quality::good, sensor::junction_assumed).slope;
  const sensor::RawBand band = band_of(binding);
  return slope != 0.0 && ((slope > 0.0) == is_high ? raw < band.high : raw > band.low);
}

std::vector<double> limits_of(const profile::Point& point) {
  std::vector<double> all;
  for (const profile::Band& band : {point.warn, point.trip})
    for (const std::optional<double>& limit : {band.low, band.high})
      if (limit) all.push_back(*limit);
  return all;
}

std::string with_uom(double value, const Uom& uom) { return uom.shown.empty() ? to_figure(value, digits) : fmt::format("{} {}", to_figure(value, digits), uom.shown); }

std::string band_words(const sensor::RawBand& band, const Uom& uom) {
  if (band.low == -band.high) return fmt::format("±{}", with_uom(band.high, uom));
  if (std::isinf(band.low)) return fmt::format("at most {}", with_uom(band.high, uom));
  if (std::isinf(band.high)) return fmt::format("at least {}", with_uom(band.low, uom));
  return fmt::format("{} to {}", to_figure(band.low, digits), with_uom(band.high, uom));
}

/// "±10.24 V × 121.5", or the band with the chain in words.
std::string range_words(const PointBinding& binding) {
  const sensor::Chain& chain = binding.chain;
  std::string text = band_words(band_of(binding), chain.from);
  if (chain.has_sensor()) return fmt::format("{}, behind {}", text, sensor::words_of(chain));
  if (const double times = chain.scale * chain.gain(); times != 1.0) text += fmt::format(" × {:.5g}", times);
  return text;
}

/// A slip of the decimal point that would explain it.
std::string slip_hint(const PointBinding& binding, double value) {
  for (const double slip : {1000.0, 0.001, 100.0, 0.01, 10.0, 0.1, 1e6, 1e-6, -1.0}) {
    PointBinding other = binding;
    other.chain.scale *= slip;
    if (reaches(other, value)) return fmt::format("did you mean scale = {}? Or is it another channel?", to_decimal(other.chain.scale));
  }
  return "is it another channel, or another step?";
}

profile::Accuracy accuracy_of(const drivers::MeterAccuracy& stated, double size) {
  return {.percent_of_reading = stated.percent_of_reading, .counts = stated.counts, .resolution = stated.resolution * size,
          .percent_of_range = stated.percent_of_range, .range = stated.range * size, .fixed = stated.fixed * size};
}

const drivers::MeterInfo& meter_of(const Settings& settings, const PointBinding& binding) { return settings.buses[binding.bus].meters[binding.meter]; }

sensor::InputDoubt inputs_at(const Settings& settings, const PointBinding& binding, double raw) {
  sensor::InputDoubt inputs;
  if (const auto& stated = meter_of(settings, binding).papers.accuracy) inputs.meter = analysis::standard_uncertainty(accuracy_of(*stated, 1.0), raw);
  if (!binding.junction) return inputs;
  const auto& terminals = settings.buses[binding.junction->bus].meters[binding.junction->meter].papers.accuracy;
  if (terminals) inputs.junction = binding.junction->to_celsius * analysis::standard_uncertainty(accuracy_of(*terminals, 1.0), sensor::junction_assumed.value / binding.junction->to_celsius);
  return inputs;
}

std::optional<sensor::Doubt> doubt_at(const Settings& settings, const PointBinding& binding, double value) {
  const auto raw = sensor::raw_for(binding.chain, value, sensor::junction_assumed);
  return raw ? sensor::doubt_of(binding.chain, *raw, inputs_at(settings, binding, *raw), sensor::junction_assumed) : std::nullopt;
}

/// Does the chain make its own of the meter's uncertainty? Behind an offset a share of the reading is no share of the point's value.
bool has_own_doubt(const sensor::Chain& chain) {
  const auto states = [](const auto* step) { return step != nullptr && step->tolerance_percent.has_value(); };
  return chain.has_sensor() || chain.offset != 0.0 || states(std::get_if<sensor::DividerStep>(&chain.before_meter)) || states(std::get_if<sensor::ShuntStep>(&chain.before_meter)) ||
         states(std::get_if<sensor::TransformerStep>(&chain.before_meter));
}

/// Temperatures between which a sensor's doubt is as good as straight, up to where the hottest of them ends.
constexpr std::array sensed_celsius{-200.0, -150.0, -100.0, -50.0, -25.0, 0.0, 25.0, 50.0, 75.0, 100.0, 150.0, 200.0, 250.0, 300.0, 400.0, 600.0, 850.0, 1100.0, 1300.0, 1600.0, 1800.0};
/// Without a sensor it is the root of squares: between two values of which one is three times the other the line is a few percent above it at most.
constexpr double line_step = 3.0;
constexpr double line_reach = 1e6;  ///< from the largest value down, and up where nobody said at what the channel ends

/// What the channel may say: closely from half a width below what is known of the point to half a width above, and all else that it can.
std::vector<double> raws_over_range(const profile::Point& point, const PointBinding& binding) {
  const sensor::RawBand band = band_of(binding);
  std::vector<double> raws;
  const auto add = [&](std::optional<double> raw) {
    if (raw && std::isfinite(*raw) && *raw >= band.low && *raw <= band.high) raws.push_back(*raw);
  };
  const auto add_value = [&](double value) { add(sensor::raw_for(binding.chain, value, sensor::junction_assumed)); };
  std::vector<double> known = limits_of(point);
  known.push_back(likely_value(point, binding));
  const auto [least, most] = std::minmax_element(known.begin(), known.end());
  const double width = *most > *least ? *most - *least : std::max(1.0, std::fabs(*most));
  constexpr int samples = 9;
  for (int i = 0; i < samples; ++i) add_value(*least - width / 2.0 + (*most - *least + width) * i / (samples - 1));
  add(band.low);
  add(band.high);
  if (binding.chain.has_sensor()) {
    for (const double celsius : sensed_celsius) add_value(celsius / point.uom.to_base * binding.chain.scale + binding.chain.offset);
    return raws;
  }
  double reach = 0.0;
  for (const double end : {band.low, band.high}) reach = std::max(reach, std::isfinite(end) ? std::fabs(end) : line_reach * std::max({std::fabs(*least), std::fabs(*most), 1.0}) / std::fabs(binding.factor));
  add(0.0);
  for (double raw = reach; raw > reach / line_reach; raw /= line_step) add(raw), add(-raw);
  return raws;
}

std::vector<record::ValueDoubt> doubts_over_range(const Settings& settings, const profile::Point& point, const PointBinding& binding) {
  std::vector<record::ValueDoubt> doubts;
  for (const double raw : raws_over_range(point, binding)) {
    const auto at = sensor::convert(binding.chain, raw, Quality::good, sensor::junction_assumed);
    const auto doubt = sensor::doubt_of(binding.chain, raw, inputs_at(settings, binding, raw), sensor::junction_assumed);
    if (at.quality == Quality::good && doubt) doubts.push_back({at.value, doubt->standard});
  }
  std::sort(doubts.begin(), doubts.end(), [](const auto& a, const auto& b) { return a.value < b.value; });
  doubts.erase(std::unique(doubts.begin(), doubts.end(), [](const auto& a, const auto& b) { return a.value == b.value; }), doubts.end());
  return doubts;
}

}  // namespace

double likely_value(const profile::Point& point, const PointBinding& binding) {
  if (point.nominal) return *point.nominal;
  for (const profile::Band& band : {point.warn, point.trip})
    if (band.low && band.high) return 0.5 * (*band.low + *band.high);
  if (const auto limits = limits_of(point); !limits.empty()) return limits.front();
  if (point.is_temperature()) return 25.0 / point.uom.to_base;
  const sensor::RawBand band = band_of(binding);
  if (!std::isfinite(band.high)) return 1.0;
  const auto reached = sensor::convert(binding.chain, 0.5 * band.high, Quality::good, sensor::junction_assumed);
  return reached.quality == Quality::good ? reached.value : 1.0;
}

std::optional<Error> why_out_of_reach(const profile::Point& point, const PointBinding& binding) {
  const auto say = [&](std::string what, double value) {
    return Error{Fault::config, fmt::format("with this chain the channel can never read {}: its range is {}", what, range_words(binding)), slip_hint(binding, value), {}};
  };
  if (point.nominal && !reaches(binding, *point.nominal)) return say(with_uom(*point.nominal, point.uom), *point.nominal);
  const auto limits = limits_of(point);
  const bool is_any_reached = limits.empty() || std::any_of(limits.begin(), limits.end(), [&](double limit) { return reaches(binding, limit); });
  if (!is_any_reached) {
    std::string all;
    for (const double limit : limits) all += (all.empty() ? "" : ", ") + with_uom(limit, point.uom);
    return say(fmt::format("any limit of `{}` ({})", point.name, all), limits.front());
  }
  if (const auto dead = limits_out_of_reach(point, binding); point.is_protective && !dead.empty())
    return Error{Fault::config, fmt::format("`{}` protects the unit, but {}", point.name, dead.front()), "beyond its range a reading is none, and nothing is cut: set the limit inside it, or fit a divider or channel that reaches further", {}};
  return std::nullopt;
}

std::vector<std::string> limits_out_of_reach(const profile::Point& point, const PointBinding& binding) {
  std::vector<std::string> lines;
  for (const auto& [limit, is_high] : {std::pair(point.trip.low, false), std::pair(point.trip.high, true)})
    if (limit && !passes(binding, *limit, is_high)) lines.push_back(fmt::format("its channel can never show it beyond the trip limit {}: its range is {}", with_uom(*limit, point.uom), range_words(binding)));
  return lines;
}

std::optional<Worked> work(const Settings& settings, const UnitSettings& unit, const PointBinding& binding) {
  const profile::Point& point = unit.profile.point(binding.point);
  const double wanted = likely_value(point, binding);
  const auto raw = sensor::raw_for(binding.chain, wanted, sensor::junction_assumed);
  if (!raw) return std::nullopt;
  const auto converted = sensor::convert(binding.chain, *raw, Quality::good, sensor::junction_assumed);
  if (converted.quality != Quality::good) return std::nullopt;
  Worked worked{*raw, converted.value, std::nullopt, {}};
  const auto inputs = inputs_at(settings, binding, *raw);
  if (auto doubt = sensor::doubt_of(binding.chain, *raw, inputs, sensor::junction_assumed)) {
    if (inputs.meter) worked.expanded_uncertainty = coverage_factor * doubt->standard;
    worked.left_out = std::move(doubt->left_out);
  }
  return worked;
}

record::Wire wire_of(const Settings& settings, const UnitSettings& unit, const PointBinding& binding, std::size_t meter) {
  const profile::Point& point = unit.profile.point(binding.point);
  const drivers::MeterInfo& info = meter_of(settings, binding);
  record::Wire wire;
  wire.point = point.name;
  wire.meter = meter;
  wire.channel = info.channels[binding.channel].name;
  wire.factor = binding.factor;
  wire.chain = sensor::words_of(binding.chain);
  if (!info.papers.accuracy) return wire;
  const double likely = likely_value(point, binding);
  const auto raw = sensor::raw_for(binding.chain, likely, sensor::junction_assumed);
  const auto at = sensor::convert(binding.chain, raw.value_or(0.0), Quality::good, sensor::junction_assumed);
  // The maker's figures are in the channel's uom: a divider or a shunt makes them larger as it does the reading.
  wire.accuracy = accuracy_of(*info.papers.accuracy, std::fabs(binding.chain.has_sensor() ? at.slope : binding.factor));
  // A share of millivolts is no share of degrees: there the doubts below say it all, and only the step of the display is kept.
  if (binding.chain.has_sensor()) wire.accuracy = profile::Accuracy{.resolution = wire.accuracy->resolution};
  if (has_own_doubt(binding.chain)) wire.doubts = doubts_over_range(settings, point, binding);
  if (binding.chain.has_sensor() && wire.doubts.empty()) wire.accuracy.reset();
  if (const auto doubt = doubt_at(settings, binding, likely)) wire.doubt_without = doubt->left_out;
  return wire;
}

}  // namespace steadyglow::app
