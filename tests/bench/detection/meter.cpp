#include "bench/detection/meter.hpp"

namespace steadyglow::detection {
namespace {
/// Longest silence of a point on a healthy bench, or one missed poll of a slow one. The only protective point of a unit stays
/// well below the minute after which a unit that nobody can see is cut.
constexpr double silence_seconds_max = 100.0;
constexpr double protective_silence_seconds_max = 45.0;
}  // namespace

Meter::Meter(Dice dice, const Probe& probe, double hours, double period_seconds, bool is_only_protection)
    : dice_(std::move(dice)),
      traits_(probe.meter),
      is_temperature_(probe.is_temperature()),
      scale_(std::fabs(probe.nominal.value_or(0.0))),
      gain_(dice_.uniform(0.0002, 0.0012), dice_.uniform(2.0, 6.0) * 3600.0),
      per_kelvin_(dice_.uniform(-1e-4, 1e-4)),
      has_ranges_(probe.meter.has_clip && dice_.chance(0.3)),
      range_step_(dice_.uniform(-0.003, 0.003)),
      miss_chance_(dice_.chance(0.5) ? dice_.spread(0.0003, 0.01) : 0.0),
      says_no_answer_(dice_.chance(0.5)),
      period_(period_seconds),
      silence_max_(std::max(is_only_protection ? protective_silence_seconds_max : silence_seconds_max, 2.0 * period_seconds + 1.0)),
      loose_tau_(dice_.uniform(40.0, 240.0)),
      noise_growth_(dice_.uniform(8.0, 25.0)) {
  const double end = hours * 3600.0;
  for (int i = dice_.between(0, 3); i > 0; --i) {
    const double from = dice_.uniform(0.0, end);
    gaps_.push_back({from, from + dice_.spread(period_seconds, std::max(1.2 * period_seconds, 110.0))});
  }
  if (!probe.meter.has_clip) return;
  // Somebody leans on the bench: a lead bounces once.
  for (int i = dice_.between(0, 2); i > 0; --i) bounces_.push_back(dice_.uniform(0.0, end));
  std::sort(bounces_.begin(), bounces_.end());
}

double Meter::ranged(double value, bool& is_changing) {
  if (!has_ranges_ || value == 0.0) return value;
  // Ranges of 4, 40, 400...: up at the end, down only when well inside.
  const double decade = std::log10(std::fabs(value) / 4.0);
  const int wanted = static_cast<int>(std::ceil(decade));
  if (range_ == 100) range_ = wanted;
  const bool is_over = wanted > range_;
  const bool is_well_under = decade < range_ - 1 - 0.05;
  if (is_over || is_well_under) {
    range_ = wanted;
    is_changing = true;
  }
  return value * (1.0 + (range_ % 2 == 0 ? range_step_ : 0.0));
}

std::optional<Shown> Meter::failing(double seconds, double truth, double room, double shown) {
  switch (fault_) {
    case MeterFault::clip_fallen: return Shown{dice_.normal() * std::max(0.002 * scale_, traits_.resolution)};
    case MeterFault::sensor_off: {
      if (!held_) held_ = truth;
      const double air = room + 0.1 * (truth - room);
      *held_ += (air - *held_) * (1.0 - std::exp(-(seconds - last_at_) / loose_tau_));
      return Shown{*held_ + traits_.sigma * dice_.normal()};
    }
    case MeterFault::open_sensor: return Shown{0.0, Quality::open_sensor};
    case MeterFault::stuck:
      if (!held_) held_ = shown;
      return Shown{*held_};
    case MeterFault::dead: return says_no_answer_ ? std::optional<Shown>(Shown{0.0, Quality::no_answer}) : std::nullopt;
    case MeterFault::noisy: {
      const double sigma = std::max({traits_.sigma, traits_.sigma_ratio * std::fabs(shown), traits_.resolution});
      return Shown{shown + noise_growth_ * sigma * dice_.normal()};
    }
    case MeterFault::none:
    case MeterFault::swapped: break;
  }
  return Shown{shown};
}

std::optional<Shown> Meter::show(double seconds, double truth, double room, bool is_bus_silent) {
  const double dt = std::max(0.0, seconds - last_at_);
  const double gain = gain_.step(dt, dice_);
  const double noise = dice_.normal();
  const double luck = dice_.uniform();
  const double fling = dice_.uniform();
  if (std::isnan(truth)) return last_at_ = seconds, std::nullopt;
  bool is_changing = false;
  double value = is_temperature_ ? truth + 40.0 * gain : truth * (1.0 + gain + per_kelvin_ * (room - 23.0));
  value = ranged(value, is_changing);
  value += noise * (traits_.sigma + traits_.sigma_ratio * std::fabs(value));
  if (next_bounce_ < bounces_.size() && seconds >= bounces_[next_bounce_]) {
    ++next_bounce_;
    value *= fling < 0.7 ? 0.3 * fling : 1.0 + 2.0 * fling;
  }
  const auto display = [&](double v) { return traits_.resolution > 0.0 ? std::round(v / traits_.resolution) * traits_.resolution : v; };
  std::optional<Shown> shown = Shown{display(value)};
  if (fault_ != MeterFault::none && seconds >= fault_at_) {
    shown = failing(seconds, truth, room, value);
    if (shown && shown->quality == Quality::good) shown->value = display(shown->value);
  }
  last_at_ = seconds;
  bool is_missed = is_bus_silent || is_changing || luck < miss_chance_;
  for (const Gap& gap : gaps_) is_missed |= seconds >= gap.from && seconds < gap.until;
  is_missed &= seconds + period_ - last_shown_at_ <= silence_max_;
  if (!is_missed) {
    last_shown_at_ = seconds;
    return shown;
  }
  return says_no_answer_ && !is_bus_silent ? std::optional<Shown>(Shown{0.0, Quality::no_answer}) : std::nullopt;
}

}  // namespace steadyglow::detection
