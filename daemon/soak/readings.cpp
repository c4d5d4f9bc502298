/// What the engine does with one reading: supply, watts, proof of "off", limits, contact.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "core/decimal.hpp"
#include "soak/engine.hpp"
#include "soak/words.hpp"

namespace steadyglow::soak {
namespace {

using analysis::ContactVerdict;
using profile::Role;

/// How much one distance between readings counts towards the point's usual one.
constexpr double interval_memory = 0.1;
/// Less than this share of what it usually draws is "draws no power".
constexpr double no_power_share = 0.15;
constexpr Duration no_power_after = std::chrono::seconds{10};
/// From the order to close until the contact has closed and its meters have been read again.
constexpr Duration closing_takes = std::chrono::seconds{60};
constexpr int closing_intervals = 5;
/// A unit that waits for its button draws this at least: common practice, no source.
constexpr double standby_watts_least = 0.2;

}  // namespace

void Engine::take_one(const Reading& as_met) {
  PointWatch& point = watch(as_met.point());
  const Reading reading = point.is_plausible(as_met) ? as_met : as_met.with_quality(Quality::implausible);
  const std::size_t index = reading.point().index;
  if (const auto& before = point.latest(); before && before->at() < reading.at()) {
    const Duration passed = reading.at() - before->at();
    Duration& usual = intervals_[index];
    usual = usual == Duration{} ? passed
                                : Duration{static_cast<Duration::rep>((1.0 - interval_memory) * static_cast<double>(usual.count()) +
                                                                      interval_memory * static_cast<double>(std::min(passed, 10 * usual).count()))};
  }
  if (reading.is_good()) is_bad_[index] = false;
  else if (!is_bad_[index]) {
    is_bad_[index] = true;
    bad_since_[index] = reading.at();
  }
  // A sag is known before its own reading is weighed.
  if (reading.point() == mains_point_ && reading.is_good() && power_ == Power::on) take_mains(reading);
  const bool is_disturbed = mains_.is_disturbed(reading.at()) || draws_no_power_;
  const bool stands = stands_with_the_transport(point.point()) && !transport_.is_steady(reading.at());
  const bool is_telling = !stands && !mains_.is_gone() && !mains_.is_sagging(reading.at()) && !draws_no_power_ && (!is_quiet_point(point.point()) || is_quiet_for(point.id()));
  PointWatch::Moment moment;
  moment.is_disturbed = is_disturbed || (stands && is_excused_stop(reading.at()));
  moment.is_telling = is_telling;
  moment.is_restless = is_disturbed || stands || are_mains_restless();
  moment.is_standing = stands;
  moment.is_doubtful = stands_with_the_transport(point.point()) && speed_at_ && reading.at() > *speed_at_;
  moment.has_company = reading.is_good() && point.would_collapse(reading.value()) && has_company(point.id(), reading.at());
  if (activity_point_ && point.point().role == Role::bias) moment.quiet_floor = quiets_[index].floor();
  const auto taken = point.take(reading, watts_, watts_at_, moment);
  if (!reading.is_good()) return;
  if (point.last_good_at() == reading.at()) counted_when_seen_[index] = stages_.counted();
  if (reading.point() == proof_point_) take_proof(reading);
  if (power_ != Power::on) return;
  note_start(reading);
  if (reading.point() == watts_point_) take_watts(reading);
  if (mains_.is_gone()) return;
  judge_contact(point, taken, reading.at());
  judge_meter(point, taken, reading.at());
  judge_limits(point, taken, reading.at());
  if (taken.contact == ContactVerdict::fine) judge_dissipation(point, reading.at());
}

/// Does this point tell of the unit only while the programme is quiet?
bool Engine::is_quiet_point(const profile::Point& point) const {
  if (!activity_point_ || point.is_temperature()) return false;
  return point.role == Role::bias || point.role == Role::supply || point.role == Role::grid_bias;
}

/// Is the programme quiet, as far as others tell? A point does not decide alone when it may be judged: its matched points
/// (for rails: all idle currents) must be near their own low level; the point itself only not far above.
bool Engine::is_quiet_for(PointId id) const {
  constexpr double watts_share = 0.15;  // the unit's own trouble may raise them
  if (*activity_point_ != id && !quiet_.is_within(watts_share)) return false;
  const profile::Point& point = profile_.point(id);
  if (point.role != Role::bias) {
    for (std::size_t i = 0; i < points_.size(); ++i)
      if (profile_.points[i].role == Role::bias && !quiets_[i].is_within(analysis::Quiet::loose_share)) return false;
    return true;
  }
  for (const PointId sibling : point.matched_with)
    if (!quiets_[sibling.index].is_quiet()) return false;
  return quiets_[id.index].is_within(point.matched_with.empty() ? analysis::Quiet::near_share : analysis::Quiet::loose_share);
}

/// Did anything else of the unit change with this point just now? What only fell to nothing as well proves nothing while
/// there are watts to say otherwise: a meter may have lost all its clips.
bool Engine::has_company(PointId id, Timestamp at) const {
  constexpr double changed_share = 0.2;
  constexpr double collapsed = -0.9;
  constexpr Duration just_now = std::chrono::seconds{90};
  for (const PointWatch& other : points_) {
    const profile::Point& point = other.point();
    if (other.id() == id || point.is_temperature() || point.role == Role::mains_voltage || !other.last_good_at() || at - *other.last_good_at() > just_now) continue;
    const auto change = other.newest_change();
    if (!change || std::fabs(*change) < changed_share) continue;
    const bool is_draw = point.role == Role::mains_power || point.role == Role::mains_current;
    if (is_draw || *change > collapsed || !watts_point_) return true;
  }
  return false;
}

/// A stop is excused while it is no longer than usual, or nobody judges yet, and the watts fell with it: at playing watts a still tape is stuck.
bool Engine::is_excused_stop(Timestamp at) const {
  constexpr double playing_share = 0.85;
  if (!transport_.is_stopped()) return true;  // spinning up
  const auto& playing = watts_point_ ? points_[watts_point_->index].minute() : std::nullopt;
  const bool has_fallen = !playing || !watts_ || *watts_ < playing_share * playing->median;
  return has_fallen && (transport_.is_usual_stop(at) || stages_.phase() == Phase::warming);
}

/// What stops when the transport stops.
bool Engine::stands_with_the_transport(const profile::Point& point) const {
  if (!speed_point_ || point.is_temperature()) return false;
  return point.role != Role::supply && point.role != Role::heater && point.role != Role::grid_bias && point.role != Role::offset && point.role != Role::mains_voltage;
}

/// Is the newest reading of the mains off what the minute before had? Then nothing that follows them is a joint's doing.
bool Engine::are_mains_restless() const {
  constexpr double restless_share = 0.03;
  if (!mains_point_) return false;
  const PointWatch& mains = points_[mains_point_->index];
  return mains.minute() && mains.last_good() && std::fabs(*mains.last_good() / mains.minute()->median - 1.0) > restless_share;
}

/// When a floor falls, what was learned in the moments that it had called quiet is learned again. A point's own floor has
/// no say in that: its fall may be the fault.
void Engine::forget_false_quiet(std::int64_t minute) {
  const bool has_activity_fallen = quiet_.take_fall();
  std::vector<bool> has_fallen(points_.size());
  for (std::size_t i = 0; i < points_.size(); ++i) has_fallen[i] = quiets_[i].take_fall();
  for (const PointWatch& watch : points_) {
    if (!is_quiet_point(watch.point())) continue;
    bool is_false = has_activity_fallen && *activity_point_ != watch.id();
    for (std::size_t i = 0; i < points_.size() && !is_false; ++i) {
      const bool is_sibling = std::any_of(watch.point().matched_with.begin(), watch.point().matched_with.end(), [&](PointId id) { return id.index == i; });
      is_false = has_fallen[i] && (is_sibling || (watch.point().role != Role::bias && profile_.points[i].role == Role::bias));
    }
    if (is_false) departures_.forget(watch.id(), minute);
  }
}

/// Just ordered on: what its meters still show is an open contact.
bool Engine::is_closing(PointId meter, Timestamp at) const {
  return switched_on_at_ && at - *switched_on_at_ < std::max(closing_takes, closing_intervals * intervals_[meter.index]);
}

void Engine::take_mains(const Reading& reading) {
  // Mains that are measured behind the outlet are not gone while the contact has yet to close.
  const double share_now = mains_.nominal() ? std::fabs(to_base(profile_.point(reading.point()), reading.value())) / *mains_.nominal() : 1.0;
  if (share_now < MainsWatch::gone_share && !has_mains_since_on_ && is_closing(reading.point(), reading.at())) return;
  has_mains_since_on_ = has_mains_since_on_ || share_now > MainsWatch::back_share;
  const auto change = mains_.step(reading.at(), to_base(profile_.point(reading.point()), reading.value()));
  if (!change) return;
  const profile::Point& point = profile_.point(reading.point());
  const auto said = [&](Severity severity, std::string message) {
    book_.raise({Kind::mains, severity, true, reading.at(), {reading.point()}, reading.value(), std::nullopt, point.uom.symbol, Aspect::reading, std::move(message)});
  };
  switch (*change) {
    case MainsWatch::Change::gone:
      // Whoever set a policy for the run wants nothing to come back by itself: the outlet is ordered open as well.
      if (!policy_.set_by.empty()) {
        said(Severity::note, fmt::format("the mains are gone: {}; the outlet is ordered off so that nothing comes back by itself", figure(point, reading.value())));
        return interrupt(reading.at(), Power::lost, "the mains are gone", false);
      }
      begin_interruption(reading.at(), "the mains were gone", false);
      begin_segment(reading.at());
      return said(Severity::note, fmt::format("the mains are gone: {}; hours stand still", figure(point, reading.value())));
    case MainsWatch::Change::back:
      end_interruption(reading.at());
      begin_segment(reading.at());
      return book_.clear(Kind::mains, reading.point(), reading.at(), fmt::format("the mains are back: {}; the unit warms up again, uncounted", figure(point, reading.value())));
    case MainsWatch::Change::outside:
      return said(Severity::note, fmt::format("the mains stand at {}, more than 10 % from nominal; hours do not count meanwhile", figure(point, reading.value())));
    case MainsWatch::Change::inside:
      return book_.clear(Kind::mains, reading.point(), reading.at(), fmt::format("the mains are within 10 % again: {}", figure(point, reading.value())));
  }
}

void Engine::take_watts(const Reading& reading) {
  // After a time without a word of it the contact may be the one that opened, with the bench's supply or by its watchdog: that
  // is asked for first.
  const bool is_after_gap = reading.at() - watts_at_ > silent_after(reading.point());
  watts_ = reading.value();
  watts_at_ = reading.at();
  if (mains_.is_gone() || !running_watts_) return;
  const bool is_nothing = reading.value() < no_power_share * *running_watts_;
  if (!is_nothing) {
    no_power_since_.reset();
    has_run_since_on_ = true;
    if (!draws_no_power_) return;
    draws_no_power_ = false;
    begin_segment(reading.at());
    return book_.clear(Kind::step, reading.point(), reading.at(), fmt::format("the unit draws power again: {}", figure(profile_.point(reading.point()), reading.value())));
  }
  if (!has_run_since_on_ && is_closing(reading.point(), reading.at())) return;
  if (!no_power_since_ || is_after_gap) {
    no_power_since_ = reading.at();
    no_power_wait_ = is_after_gap ? std::max(no_power_after, silent_after(reading.point())) : no_power_after;
  }
  if (draws_no_power_ || reading.at() - *no_power_since_ < no_power_wait_) return;
  draws_no_power_ = true;
  const profile::Point& point = profile_.point(reading.point());
  const std::string before = figure(point, *running_watts_);
  const std::string now = figure(point, reading.value());
  const bool is_standby = std::fabs(to_base(point, reading.value())) >= standby_watts_least;
  const std::string text = has_run_since_on_ ? fmt::format("the unit stopped drawing power: {} before, {} now, mains present: fuse, switch or plug", before, now)
                           : is_standby      ? fmt::format("standby, not running: {} since it was switched on again, {} before; a set with a soft switch waits for its button, and no hour counts until then", now, before)
                                             : fmt::format("it does not start: {} since it was switched on again, {} before: fuse, switch or plug", now, before);
  book_.raise({Kind::step, Severity::warn, true, reading.at(), {reading.point()}, reading.value(), std::nullopt, point.uom.symbol, Aspect::reading, text});
}

void Engine::take_proof(const Reading& reading) {
  const profile::Point& point = profile_.point(reading.point());
  const double base = std::fabs(to_base(point, reading.value()));
  const bool draws_nothing = base < (point.role == Role::mains_current ? off_amperes : off_watts);
  if (!draws_nothing) drew_at_ = reading.at();
  const auto change = off_.step(reading.at(), draws_nothing);
  if (off_.state() == OffWatch::State::failed && !draws_nothing && !is_bench_ordered_ && reading.at() - off_.ordered_at() >= stages_.plan().bench_opened_after) {
    is_bench_ordered_ = true;
    off_text_ = fmt::format("ordered off {} ago and still draws {}: the bench contactor is ordered open", span_text(reading.at() - off_.ordered_at()), figure(point, reading.value()));
    events_.emplace_back(OpenBench{reading.at(), fmt::format("its relay does not obey: {} still flow {} after the order ({})", figure(point, reading.value()), span_text(reading.at() - off_.ordered_at()), off_reason_)});
  }
  if (!change) return;
  if (*change == OffWatch::State::proven) {
    off_text_ = fmt::format("off, proven: {} {} after the order{}", figure(point, reading.value()), span_text(reading.at() - off_.ordered_at()), is_bench_ordered_ ? ", by the bench contactor; its own relay did not obey" : "");
    if (book_.stands(Kind::outlet, std::nullopt)) return book_.clear(Kind::outlet, std::nullopt, reading.at(), off_text_);
    Finding proven{Kind::outlet, Severity::note, true, reading.at(), {}, reading.value(), std::nullopt, point.uom.symbol, Aspect::reading, off_text_};
    book_.raise(std::move(proven));
    return;
  }
  off_text_ = fmt::format("ordered off {} ago and still draws {}: the contact may be welded; pull the plug if it is safe to do so",
                          span_text(reading.at() - off_.ordered_at()), figure(point, reading.value()));
  book_.raise({Kind::outlet, Severity::trip, true, reading.at(), {}, reading.value(), std::nullopt, point.uom.symbol, Aspect::reading, off_text_, alarm::Priority::highest});
  events_.emplace_back(OpenOutlet{reading.at(), 2, true, "second order: " + off_reason_});
}

void Engine::judge_limits(const PointWatch& watch, const PointWatch::Taken& taken, Timestamp at) {
  const profile::Point& point = watch.point();
  for (const auto& change : taken.limits) {
    if (power_ != Power::on) return;
    if (!change.is_active) {
      book_.clear(Kind::limit, watch.id(), at, fmt::format("{} is back inside its limit: {}", point.name, figure(point, *watch.last_good())));
      continue;
    }
    const bool is_mains = !change.is_trip && is_explained_by_mains(watch, change);
    const std::string followed = change.is_trip ? std::string{} : followed_text(watch.id());
    Finding finding{Kind::limit, change.is_trip ? Severity::trip : is_mains || !followed.empty() ? Severity::note : Severity::warn, true, at, {watch.id()}, watch.last_good(), change.limit, point.uom.symbol, Aspect::reading,
                    fmt::format("{} stands at {}, {} its {} limit of {} for {}{}; {}", point.name, figure(point, *watch.last_good()),
                                change.is_high ? "above" : "below", change.is_trip ? "trip" : "warning", figure(point, change.limit),
                                span_text(change.dwell), followed, is_mains ? "that is the mains' doing: " + surroundings_text() : surroundings_text())};
    const std::string reason = finding.message;
    book_.raise(std::move(finding));
    if (change.is_trip) open_outlet(at, Power::tripped, reason);
  }
}

/// Would it stand inside its warning limit if the mains stood at nominal, and has it kept its course?
bool Engine::is_explained_by_mains(const PointWatch& watch, const PointWatch::LimitChange& change) const {
  const analysis::Stream& stream = departures_.own(watch.id());
  if (!mains_point_ || !stream.fit() || stream.state().is_departed || stream.traits().scale != analysis::Scale::logarithm) return false;
  const double ln_mains = departures_.climate().now().ln_mains;
  constexpr double mains_worth_naming = 0.02;
  constexpr double lean_calm = 3.0;
  const double pushed = stream.fit()->coefficients[1] * ln_mains * (*watch.last_good() < 0.0 ? -1.0 : 1.0);
  if (std::fabs(ln_mains) < mains_worth_naming || (pushed > 0.0) != change.is_high || std::fabs(stream.leaning_z()) > lean_calm) return false;
  const double at_nominal = *watch.last_good() * std::exp(-stream.fit()->coefficients[1] * ln_mains);
  return change.is_high ? at_nominal < change.limit : at_nominal > change.limit;
}

/// A point that was named as one that moves with another needs no warning of its own: it is one event, and it has been told.
std::string Engine::followed_text(PointId id) const {
  for (const Finding* finding : book_.standing()) {
    const bool is_course = finding->kind == Kind::drift || finding->kind == Kind::step;
    if (!is_course || finding->severity == Severity::note || finding->points.empty() || finding->points.front() == id) continue;
    if (std::find(finding->points.begin(), finding->points.end(), id) != finding->points.end()) return "; it follows " + profile_.point(finding->points.front()).name;
  }
  return {};
}

void Engine::judge_dissipation(const PointWatch& watch, Timestamp at) {
  for (DissipationWatch& dissipation : dissipations_) {
    if (dissipation.bias() != watch.id() || power_ != Power::on) continue;
    const PointWatch& supply = points_[dissipation.supply().index];
    if (!supply.last_good() || is_silent(supply, at)) continue;
    for (const auto& change : dissipation.step(at, *watch.last_good(), *supply.last_good())) {
      const profile::Point& point = watch.point();
      const double rated = point.rated->value;
      const std::string share = fmt::format("{:.1f} W, {:.0f} % of the rated {:.0f} W (upper bound: screen current is in it)", change.watts, 100.0 * change.watts / rated, rated);
      if (!change.is_active) {
        book_.clear(Kind::limit, watch.id(), at, fmt::format("{}: dissipation is back at {}", point.name, share), Aspect::dissipation);
        continue;
      }
      const std::string followed = change.is_trip ? std::string{} : followed_text(watch.id());
      Finding finding{Kind::limit, change.is_trip ? Severity::trip : followed.empty() ? Severity::warn : Severity::note, true, at, {watch.id(), supply.id()}, change.watts, change.limit_watts, "W", Aspect::dissipation, {}};
      finding.message = fmt::format("{}: the tube turns {} into heat, above the {} at {:.1f} W{}; {}", point.name, share, change.is_trip ? "trip" : "warning", change.limit_watts, followed, surroundings_text());
      const std::string reason = finding.message;
      book_.raise(std::move(finding));
      if (change.is_trip) open_outlet(at, Power::tripped, reason);
    }
  }
}

/// Is it the unit or the meter? What single readings say of joints, probes and leads.
void Engine::judge_meter(const PointWatch& watch, const PointWatch::Taken& taken, Timestamp at) {
  const profile::Point& point = watch.point();
  const PointId id = watch.id();
  const auto say = [&](Kind kind, std::string message) {
    book_.raise({kind, Severity::warn, true, at, {id}, watch.last_good(), std::nullopt, point.uom.symbol, Aspect::meter, std::move(message)});
  };
  if (taken.is_stuck && !book_.covers(Kind::sensor, id))
    say(Kind::sensor, fmt::format("{} has read exactly {} for {}, far longer than it ever stood before: the meter has stopped, not the unit; {}", point.name,
                                  figure(point, *watch.last_good()), span_text(at - watch.stuck_since()), surroundings_text()));
  if (taken.is_reversed && !book_.covers(Kind::sensor, id))
    say(Kind::sensor, fmt::format("{} reads {}: the same figure with the other sign, so its leads are reversed; {}", point.name, figure(point, *watch.last_good()), surroundings_text()));
  if (taken.is_below_floor && !book_.covers(Kind::step, id) && stages_.phase() == Phase::judging)
    say(Kind::step, fmt::format("{} stands at {}, far below the idle level that music always came back to: it has lost its current; {}", point.name, figure(point, *watch.last_good()), surroundings_text()));
  if (!taken.bursts && !taken.is_rough) return;
  if (stages_.phase() != Phase::judging || book_.covers(Kind::intermittent, id)) return;
  if (taken.bursts) {
    // What others of its role do at the same time is programme, not a joint; where nobody sees the mains, what any other does.
    if (!mains_point_ && point.is_mains()) return;
    const bool is_shared = std::any_of(points_.begin(), points_.end(), [&](const PointWatch& other) {
      if (other.id() == id || (mains_point_ && other.point().role != point.role)) return false;
      const auto wild = other.last_wild_at();
      return wild && watch.last_wild_at() && std::chrono::abs(*wild - *watch.last_wild_at()) <= analysis::Bursts::group_gap;
    });
    // Unless the watts went with them: then a protection relay took the load off.
    const auto& watts_wild = watts_point_ ? points_[watts_point_->index].last_wild_at() : std::nullopt;
    const bool is_load_off = point.role == Role::level && watts_wild && watch.last_wild_at() && std::chrono::abs(*watts_wild - *watch.last_wild_at()) <= analysis::Bursts::group_gap;
    if (is_shared && !is_load_off) return;
    return say(Kind::intermittent, fmt::format("{} broke away {} times in {} and came back each time: a joint, a socket or the clip itself; wiggle it before trusting either; {}", point.name,
                                               taken.bursts->groups, span_text(taken.bursts->within), surroundings_text()));
  }
  std::size_t restless = 0;
  for (const PointWatch& other : points_) restless += other.times_rougher() > analysis::Roughness::times_rougher / 2.0 ? 1 : 0;
  if (3 * restless > points_.size() + 2) return;  // everything is restless: the bench or the mains
  say(Kind::intermittent, fmt::format("{} is {:.0f} times as restless as in its own last hours while others are calm: a noisy part or a crackling joint; {}", point.name, watch.times_rougher(),
                                      surroundings_text()));
}

void Engine::judge_contact(const PointWatch& watch, const PointWatch::Taken& taken, Timestamp at) {
  if (!taken.contact_changed) return;
  const profile::Point& point = watch.point();
  if (!watch.is_contact_lost())
    return book_.clear(Kind::sensor, watch.id(), at, fmt::format("{} reads {} again: the contact is back", point.name, figure(point, *watch.last_good())));
  book_.raise({Kind::sensor, Severity::note, true, at, {watch.id()}, watch.latest()->as_met(), std::nullopt, point.uom.symbol, Aspect::reading,
               fmt::format("{} fell to {} in one reading while the watts stayed at {}: contact lost (clip or lead); the gap is kept as a gap",
                           point.name, figure(point, watch.latest()->as_met()), to_figure(watts_.value_or(0.0), 3) + " W")});
}

}  // namespace steadyglow::soak
