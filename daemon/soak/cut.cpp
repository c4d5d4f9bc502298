/// The cuts that are no limit of a reading: what a policy wants, and what follows a cut.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "analysis/trend.hpp"
#include "soak/engine.hpp"
#include "soak/words.hpp"

namespace steadyglow::soak {
namespace {

using profile::Role;

/// A deck that stands and draws the power of play for this long is stuck.
constexpr Duration stuck_after = std::chrono::minutes{3};
/// A forecast that lies this far beyond the person's return is no reason to cut.
constexpr Duration back_margin = std::chrono::minutes{30};

}  // namespace

/// The limit will be met before anybody is back: the unit is cut at the planned share of it, in time and in peace.
void Engine::judge_forecast(Timestamp now) {
  if (policy_.on_forecast != OnForecast::cut || !policy_.person_back_at || stages_.phase() != Phase::judging) return;
  for (const PointWatch& watch : points_) {
    const profile::Point& point = watch.point();
    const bool is_told = book_.covers(Kind::drift, watch.id()) || book_.covers(Kind::rise, watch.id()) || book_.covers(Kind::runaway, watch.id()) || book_.covers(Kind::limit, watch.id());
    if (point.is_mains() || !is_told || !watch.trend || !watch.trend->is_significant || !watch.last_good()) continue;
    const double raw = watch.recent_raw_level(std::chrono::minutes{2}).value_or(*watch.last_good());
    struct Ahead {
      double limit;
      std::string what;
    };
    std::vector<Ahead> limits;
    if (point.trip.high) limits.push_back({*point.trip.high, "its trip limit"});
    // The rated watts as a figure of this point, at the supply of now.
    for (const DissipationWatch& dissipation : dissipations_)
      if (dissipation.bias() == watch.id() && points_[dissipation.supply().index].last_good())
        if (const double share = dissipation.share(raw, *points_[dissipation.supply().index].last_good()); share > 0.0) limits.push_back({raw / share, "the rated dissipation"});
    for (const Ahead& ahead : limits) {
      if (raw <= 0.0 || raw < policy_.cut_at_share * ahead.limit) continue;
      const auto hours = analysis::hours_to_limit(raw, ahead.limit, watch.trend->fit);
      const bool is_met = raw >= ahead.limit;
      if (!is_met && (!hours || now + Duration{std::llround(hours->likely * 3600000.0)} > *policy_.person_back_at + back_margin)) continue;
      const std::string reason = fmt::format("{} stands at {}, {:.0f} % of {} ({}), and would meet it before {} is back: cut as planned", point.name, figure(point, raw), 100.0 * raw / ahead.limit, ahead.what,
                                             figure(point, ahead.limit), policy_.set_by);
      const auto priority = policy_.wakes_for_forecast ? alarm::Priority::high : alarm::Priority::medium;
      book_.raise({book_.covers(Kind::rise, watch.id()) ? Kind::rise : Kind::drift, Severity::trip, true, now, {watch.id()}, raw, ahead.limit, point.uom.symbol, Aspect::reading, reason, priority});
      return open_outlet(now, Power::tripped, reason);
    }
  }
}

void Engine::judge_stuck_deck(Timestamp now) {
  if (!policy_.is_cut_when_stuck || !speed_point_ || stages_.phase() == Phase::warming) return;
  const bool is_stuck = transport_.is_stopped() && !is_excused_stop(now);
  if (!is_stuck) {
    stuck_since_.reset();
    return;
  }
  if (!stuck_since_) stuck_since_ = now;
  if (now - *stuck_since_ < stuck_after) return;
  const std::string reason = fmt::format("{} has been silent for {} while the deck draws the power of play: tape off or stuck; it is switched off", profile_.point(*speed_point_).name, span_text(now - *stuck_since_));
  book_.raise({Kind::speed, Severity::trip, true, now, {*speed_point_}, watch(*speed_point_).last_good(), std::nullopt, profile_.point(*speed_point_).uom.symbol, Aspect::reading, reason, alarm::Priority::medium});
  open_outlet(now, Power::tripped, reason);
}

/// An order that no reading can prove is told: whoever looks must know that nobody has seen it off.
void Engine::judge_proof(Timestamp now) {
  if (power_ == Power::on || off_.state() != OffWatch::State::waiting || is_unprovable_told_) return;
  const Duration usual = proof_point_ ? intervals_[proof_point_->index] : Duration{};
  constexpr int intervals_waited = 5;
  if (now - off_.ordered_at() < std::max(stages_.plan().bench_opened_after, intervals_waited * usual)) return;
  is_unprovable_told_ = true;
  off_text_ = fmt::format("ordered off {} ago; no reading of the current has come since: not proven", span_text(now - off_.ordered_at()));
  book_.raise({Kind::outlet, Severity::warn, true, now, {}, std::nullopt, std::nullopt, {}, Aspect::reading, off_text_, power_ == Power::tripped ? alarm::Priority::medium : alarm::Priority::low});
}

void Engine::begin_bleed_down() {
  bleeding_.clear();
  bleed_text_.clear();
  bleeds_late_.reset();
  for (const PointWatch& point : points_) {
    const bool is_supply = point.point().role == Role::supply && point.point().quantity == Quantity::voltage;
    if (is_supply && point.last_good() && std::fabs(to_base(point.point(), *point.last_good())) > safe_volts) bleeding_.push_back(point.id());
  }
}

void Engine::judge_bleed_down(Timestamp now) {
  if (power_ == Power::on || bleeding_.empty()) return;
  double most = 0.0;
  std::string text;
  PointId highest{};
  for (const PointId id : bleeding_) {
    const PointWatch& supply = points_[id.index];
    const bool is_seen = supply.latest() && supply.latest()->is_good() && supply.last_good_at() && *supply.last_good_at() > off_.ordered_at();
    if (!is_seen) continue;
    const double volts = std::fabs(to_base(supply.point(), *supply.last_good()));
    if (volts < most) continue;
    most = volts;
    highest = id;
    text = fmt::format("{} {}", supply.point().name, figure(supply.point(), *supply.last_good()));
  }
  if (text.empty()) return;
  const Duration since = now - off_.ordered_at();
  bleed_text_ = text;
  if (most < safe_volts) {
    bleeding_.clear();
    bleed_text_ = fmt::format("{}, below {:.0f} V {} after the order; measure before you touch", text, safe_volts, span_text(since));
    if (bleeds_late_) book_.clear(Kind::outlet, *bleeds_late_, now, bleed_text_);
    events_.emplace_back(BleedDown{now, most, true, bleed_text_});
    return;
  }
  // While it may still be on, a high supply is no bleeder's fault.
  if (bleeds_late_ || off_.state() != OffWatch::State::proven || since < stages_.plan().bleed_down) return;
  bleeds_late_ = highest;
  bleed_text_ = fmt::format("{} still {} after the order: its bleeder may be open; discharge it through a resistor, and measure", text, span_text(since));
  events_.emplace_back(BleedDown{now, most, false, bleed_text_});
  const profile::Point& point = profile_.point(highest);
  book_.raise({Kind::outlet, Severity::warn, true, now, {highest}, points_[highest.index].last_good(), std::nullopt, point.uom.symbol, Aspect::reading, bleed_text_});
}

}  // namespace steadyglow::soak
