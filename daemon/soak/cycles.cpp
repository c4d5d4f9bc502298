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

// The final check against the baseline: the shop's rule, no source.
constexpr double bias_share = 0.05;
constexpr double supply_share = 0.03;
constexpr double offset_volts = 0.010;
constexpr Duration check_window = std::chrono::minutes{15};

/// How far a point may have moved since its baseline, in its uom; nothing: it is not compared.
std::optional<double> allowed_of(const profile::Point& point, double before) {
  switch (point.role) {
    case Role::bias:
    case Role::supply_current: return bias_share * std::fabs(before);
    case Role::supply:
    case Role::grid_bias:
    case Role::heater: return supply_share * std::fabs(before);
    case Role::offset: return offset_volts / point.uom.to_base;
    default: return std::nullopt;
  }
}

}  // namespace

// ---- starts ----------------------------------------------------------------------------------------------------

void Engine::note_start(const Reading& reading) {
  const auto start = start_watch_.take(reading);
  if (!start) return;
  StartUp said{reading.at(), starts_++, true, {}};
  said.text = fmt::format("start {}: {}", said.cycle + 1, start_watch_.text(*start));
  // A cold start, or one after a repair, is another matter: the plan's cycles are compared with each other.
  const profile::Stage* stage = stages_.current();
  const bool is_cycle = stage != nullptr && stage->kind == StageKind::power_cycles && is_start_of_cycle_;
  std::string other;
  if (!is_cycle) said.text += "; for the record";
  else if (!first_start_) first_start_ = *start;
  else other = start_watch_.difference(*start, *first_start_);
  said.is_like_the_first = other.empty();
  if (is_cycle && cycles_done_ > 1) said.text += other.empty() ? "; like the first" : "; " + other;
  events_.emplace_back(said);
  if (other.empty()) return;
  const PointId named = start->points.front().id;
  const std::string message = fmt::format("the unit starts otherwise than at first, in power cycle {}: {}", cycles_done_, other);
  book_.raise({Kind::step, Severity::warn, true, reading.at(), {named}, std::nullopt, std::nullopt, {}, Aspect::meter, message});
  // It is an event: over at once, and there to be seen.
  book_.clear(Kind::step, named, reading.at(), message, Aspect::meter);
}

// ---- cycles ----------------------------------------------------------------------------------------------------

void Engine::want_on(Timestamp now, std::string reason) {
  if (is_turn_awaited_ || policy_.set_by.empty() || off_.state() == OffWatch::State::failed) return;
  if (proof_point_ && off_.state() != OffWatch::State::proven) return;
  is_turn_awaited_ = true;
  events_.emplace_back(SwitchOnDue{now, policy_.set_by, std::move(reason)});
}

/// Off and on again as the plan says; on only by the turn that the bench gives. Time in standby is no time on.
void Engine::move_cycles(Timestamp now) {
  const profile::Stage* stage = stages_.current();
  if (stage == nullptr || stage->kind != StageKind::power_cycles || policy_.set_by.empty()) return;
  if (power_ == Power::on) {
    if (!cycle_since_ || draws_no_power_ || mains_.is_gone()) cycle_since_ = now;
    if (now - *cycle_since_ < stage->on || cycles_done_ >= stage->cycles) return;
    ++cycles_done_;
    cycle_since_ = now;
    interrupt(now, Power::paused, fmt::format("power cycle {} of {}: off for {}", cycles_done_, stage->cycles, span_text(stage->off)), true);
    is_cycling_ = true;
    return;
  }
  if (!is_cycling_ || power_ != Power::paused || !cycle_since_ || now - *cycle_since_ < stage->off) return;
  want_on(now, fmt::format("power cycle {} of {}, as the plan says", cycles_done_, stage->cycles));
}

bool Engine::are_cycles_over() const {
  const profile::Stage& stage = *stages_.current();
  if (policy_.set_by.empty()) return true;  // nobody is there who could have wanted it
  return cycles_done_ >= stage.cycles && power_ == Power::on && cycle_since_ && now_ - *cycle_since_ >= stage.on;
}

// ---- final check -----------------------------------------------------------------------------------------------

/// After a cool-down the unit is off: it gets its turn, or waits for a person.
void Engine::begin_final_check(Timestamp now) {
  check_since_.reset();
  if (power_ != Power::off_by_plan) return;
  is_check_awaited_ = true;
  power_ = Power::paused;
  off_reason_ = "the final check waits for the unit to be switched on";
  begin_interruption(now, off_reason_, true);
}

bool Engine::is_final_check_over(Timestamp now) {
  if (is_check_awaited_) want_on(now, "the final check, as the plan says");
  if (power_ != Power::on || draws_no_power_ || mains_.is_gone()) {
    check_since_.reset();
    return false;
  }
  if (!check_since_) check_since_ = now;
  return now - *check_since_ >= stages_.current()->planned && stages_.phase() != Phase::warming;
}

/// Is every point where it was when the soak began, at the same mains and in the same room?
void Engine::check_finally(Timestamp now) {
  int compared = 0;
  int moved = 0;
  std::string unseen;
  for (const PointWatch& watch : points_) {
    const profile::Point& point = watch.point();
    if (!allowed_of(point, 1.0)) continue;
    // Since a screwdriver moved it, what it was before says nothing; what it settled at during this check, neither.
    const Timestamp from = touched_at_[watch.id().index].value_or(at_ms(0));
    const auto before = std::find_if(watch.baselines().begin(), watch.baselines().end(), [&](const Baseline& one) { return one.at >= from && one.at < *check_since_; });
    const auto level = is_silent(watch, now) || watch.is_contact_lost() ? std::nullopt : watch.recent_level(check_window);
    if (before == watch.baselines().end() || !level) {
      unseen += (unseen.empty() ? "" : ", ") + point.name;
      continue;
    }
    ++compared;
    const double reference = watch.compensated({0, before->raw_level, before->ln_mains, before->room});
    const double allowed = *allowed_of(point, reference);
    if (std::fabs(*level - reference) <= allowed) continue;
    ++moved;
    book_.raise({Kind::drift, Severity::warn, true, now, {watch.id()}, *level, std::nullopt, point.uom.symbol, Aspect::meter,
                 fmt::format("final check: {} stands at {}, at the baseline it was {} at the same mains (allowed: {} more or less); {}", point.name, figure(point, *level), figure(point, reference), figure(point, allowed), surroundings_text())});
  }
  std::string text = fmt::format("final check: {} of {} points stand where they did at the baseline", compared - moved, compared);
  if (!unseen.empty()) text += "; could not be compared: " + unseen;
  if (compared == 0 || !unseen.empty()) check_remark_ = text;
  say_stage(now, text);
}

}  // namespace steadyglow::soak
