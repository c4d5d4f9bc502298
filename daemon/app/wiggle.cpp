#include "app/wiggle.hpp"

#include <algorithm>
#include <cmath>

namespace steadyglow::app {
namespace {

/// The median absolute deviation of a normal distribution times this is its sigma (Hampel 1974; textbook value).
constexpr double mad_to_sigma = 1.4826;
/// Nine of ten values of a normal distribution lie within so many sigmas (a table value).
constexpr double sigmas_of_nine_tenths = 1.645;
/// The usual value's own last digits: a thousandth of it is always noise.
constexpr double share_of_value = 0.001;

double quantile(std::vector<double>& values, double share) {
  const auto at = values.begin() + static_cast<std::ptrdiff_t>(share * static_cast<double>(values.size() - 1) + 0.5);
  std::nth_element(values.begin(), at, values.end());
  return *at;
}

struct Usual {
  double value = 0.0;
  double noise = 0.0;
};

Usual usual(std::vector<double> values, double least) {
  const double median = quantile(values, 0.5);
  for (double& value : values) value = std::fabs(value - median);
  const double mad = quantile(values, 0.5);
  // A meter that steps between two figures has a spread that the median of the deviations does not show.
  const double nine_tenths = quantile(values, 0.9);
  return {median, std::max({mad_to_sigma * mad, nine_tenths / sigmas_of_nine_tenths, least, share_of_value * std::fabs(median)})};
}

WigglePoint look_at(const WiggleTrace& trace, double now_s) {
  WigglePoint point;
  const auto& samples = trace.samples;
  if (samples.size() < 2) return point;
  // A slow meter's newest reading is older than a quick one's.
  const double interval = (samples.back().at_s - samples.front().at_s) / static_cast<double>(samples.size() - 1);
  const double recent_from = now_s - std::max(wiggle_recent_seconds, 1.5 * interval);
  const double reference_from = recent_from - std::clamp(static_cast<double>(wiggle_reference_readings_min + 1) * interval, wiggle_reference_seconds, wiggle_reference_seconds_max);
  std::vector<double> reference;
  std::size_t bad = 0;
  std::vector<const WiggleSample*> recent;
  for (const WiggleSample& sample : samples) {
    if (sample.at_s > recent_from) recent.push_back(&sample);
    else if (sample.at_s >= reference_from) sample.is_good ? reference.push_back(sample.value) : void(++bad);
  }
  if (recent.empty() || reference.size() + bad < wiggle_reference_readings_min) return point;
  const bool is_good_now = std::any_of(recent.begin(), recent.end(), [](const WiggleSample* sample) { return sample->is_good; });
  const bool is_bad_now = std::any_of(recent.begin(), recent.end(), [](const WiggleSample* sample) { return !sample->is_good; });
  if (bad > reference.size()) {
    point.state = is_good_now ? WiggleState::came : WiggleState::quiet;
    return point;
  }
  if (reference.size() < wiggle_reference_readings_min) return point;
  const Usual habit = usual(std::move(reference), trace.least);
  point.noise = habit.noise;
  for (const WiggleSample* sample : recent)
    if (sample->is_good && std::fabs(sample->value - habit.value) > std::fabs(point.moved_by)) point.moved_by = sample->value - habit.value;
  point.times_noise = habit.noise > 0.0 ? std::fabs(point.moved_by) / habit.noise : 0.0;
  point.state = is_bad_now ? WiggleState::went : point.times_noise > wiggle_factor ? WiggleState::moved : WiggleState::quiet;
  return point;
}

}  // namespace

WiggleAnswer who_moved(std::span<const WiggleTrace> traces, double now_s) {
  WiggleAnswer answer;
  for (const WiggleTrace& trace : traces) {
    answer.points.push_back(look_at(trace, now_s));
    const WiggleState state = answer.points.back().state;
    if (state == WiggleState::unread || state == WiggleState::quiet) continue;
    ++answer.movers;
    answer.mover = answer.points.size() - 1;
  }
  if (answer.movers != 1) answer.mover.reset();
  return answer;
}

void LastAlone::take(const WiggleAnswer& answer, double now_s) {
  if (answer.movers > 1) {
    was_crowd_ = true;
    mover_.reset();
  }
  if (answer.movers == 0) was_crowd_ = false;
  if (!answer.mover || was_crowd_) return;
  if (!mover_ || mover_->point != *answer.mover) mover_ = Mover{*answer.mover, now_s, now_s};
  mover_->last_s = now_s;
}

std::optional<LastAlone::Mover> LastAlone::mover(double now_s) const {
  return mover_ && now_s - mover_->last_s <= wiggle_hold_seconds ? mover_ : std::nullopt;
}

}  // namespace steadyglow::app
