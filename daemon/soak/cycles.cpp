/// Power cycles, how the unit starts each time, and the last look before the verdict.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "soak/engine.hpp"
#include "soak/words.hpp"

namespace steadyglow::soak {
namespace {

using profile::Role;
using profile::StageKind;

/// A start is watched for this long.
constexpr Duration start_window = std::chrono::minutes{5};
constexpr double steady_share = 0.9;
/// Each start like the first: the shop's rule, no source.
constexpr double like_share = 0.10;
constexpr Duration like_least = std::chrono::seconds{2};
// The final check against the baseline: the shop's rule, no source.
constexpr double bias_share = 0.05;
constexpr double supply_share = 0.03;
constexpr double offset_volts = 0.010;

}  // namespace

void Engine::note_start(Timestamp at, double watts) {
  if (!start_began_) return;
  if (at - *start_began_ <= start_window) {
    start_samples_.push_back({at - *start_began_, watts});
    return;
  }
  start_began_.reset();
  if (start_samples_.size() < 3) return;  // too few to say anything
  Start start;
  start.steady = start_samples_.back().watts;
  for (const StartSample& sample : start_samples_) start.peak = std::max(start.peak, sample.watts);
  const auto reached = std::find_if(start_samples_.begin(), start_samples_.end(), [&](const StartSample& sample) { return sample.watts >= steady_share * start.steady; });
  start.reached = reached->after;
  Duration distance{};
  for (std::size_t i = 1; i < start_samples_.size(); ++i) distance = std::max(distance, start_samples_[i].after - start_samples_[i - 1].after);
  start_samples_.clear();
  const profile::Point& point = profile_.point(*watts_point_);
  StartUp said{at, starts_++, true, {}};
  said.text = fmt::format("start {}: peak {}, {} after {}", said.cycle + 1, figure(point, start.peak), figure(point, start.steady), span_text(start.reached));
  // A cold start, or one after a repair, is another matter: the plan's cycles are compared with each other.
  const profile::Stage* stage = stages_.current();
  const bool is_cycle = stage != nullptr && stage->kind == StageKind::power_cycles && cycles_done_ > 0;
  if (!is_cycle) {
    said.text += "; for the record";
  } else if (!first_start_) {
    first_start_ = start;
  } else {
    const auto is_like = [](double a, double b) { return std::fabs(a - b) <= like_share * std::fabs(b); };
    // Meters that are read seldom see a start only so well.
    const Duration slack = std::max({like_least, 2 * distance, Duration{static_cast<Duration::rep>(like_share * static_cast<double>(first_start_->reached.count()))}});
    const bool has_seen_peaks = distance <= std::chrono::seconds{2};
    said.is_like_the_first = is_like(start.steady, first_start_->steady) && (!has_seen_peaks || is_like(start.peak, first_start_->peak)) && std::chrono::abs(start.reached - first_start_->reached) <= slack;
    said.text += said.is_like_the_first ? ", like the first" : fmt::format("; the first: peak {}, {} after {}", figure(point, first_start_->peak), figure(point, first_start_->steady), span_text(first_start_->reached));
  }
  const bool is_other = !said.is_like_the_first;
  const std::string text = said.text;
  events_.emplace_back(std::move(said));
  if (is_other)
    book_.raise({Kind::step, Severity::warn, true, at, {*watts_point_}, start.steady, std::nullopt, point.uom.symbol, Aspect::meter, "the unit starts otherwise than at first: " + text});
}

void Engine::begin_start(Timestamp at) {
  if (!watts_point_) return;
  start_began_ = at;
  start_samples_.clear();
}

/// Off and on again as the plan says; on only by the turn that the bench gives.
void Engine::move_cycles(Timestamp now) {
  const profile::Stage* stage = stages_.current();
  if (stage == nullptr || stage->kind != StageKind::power_cycles || policy_.set_by.empty()) return;
  if (power_ == Power::on) {
    if (!cycle_since_) cycle_since_ = now;
    if (now - *cycle_since_ < stage->on || cycles_done_ >= stage->cycles) return;
    ++cycles_done_;
    cycle_since_ = now;
    interrupt(now, Power::paused, fmt::format("power cycle {} of {}", cycles_done_, stage->cycles), true);
    is_cycling_ = true;
    return;
  }
  if (!is_cycling_ || power_ != Power::paused || is_turn_awaited_ || !cycle_since_ || now - *cycle_since_ < stage->off) return;
  is_turn_awaited_ = true;
  events_.emplace_back(SwitchOnDue{now, policy_.set_by, fmt::format("power cycle {} of {}, as the plan says", cycles_done_, stage->cycles)});
}

bool Engine::are_cycles_over() const {
  const profile::Stage& stage = *stages_.current();
  if (policy_.set_by.empty()) return true;  // nobody is there who could have wanted it
  return cycles_done_ >= stage.cycles && power_ == Power::on && cycle_since_ && now_ - *cycle_since_ >= stage.on;
}

/// Is every point where it was when the soak began?
void Engine::check_finally(Timestamp now) {
  constexpr Duration level_window = std::chrono::minutes{15};
  for (const PointWatch& watch : points_) {
    const profile::Point& point = watch.point();
    const auto level = watch.recent_raw_level(level_window);
    const std::size_t index = watch.id().index;
    if (watch.baselines().empty() || !level) continue;
    // Since a screwdriver moved it, what it was before says nothing.
    const double before = counted_at_touch_[index] > Duration{} ? watch.baselines().back().raw_level : watch.baselines().front().raw_level;
    double allowed = INFINITY;
    if (point.role == Role::bias || point.role == Role::grid_bias) allowed = bias_share * std::fabs(before);
    if (point.role == Role::supply || point.role == Role::heater) allowed = supply_share * std::fabs(before);
    if (point.role == Role::offset) allowed = offset_volts / point.uom.to_base;
    if (std::fabs(*level - before) <= allowed) continue;
    book_.raise({Kind::drift, Severity::warn, true, now, {watch.id()}, *level, std::nullopt, point.uom.symbol, Aspect::meter,
                 fmt::format("final check: {} stands at {}, at the baseline it was {} (allowed: {}); {}", point.name, figure(point, *level), figure(point, before), figure(point, allowed), surroundings_text())});
  }
}

}  // namespace steadyglow::soak
