#include "soak/departures.hpp"

#include <algorithm>
#include <cmath>

#include "analysis/statistics.hpp"

namespace steadyglow::soak {
namespace {

using profile::Role;

/// Siblings that make at least this share of a movement move with the point.
constexpr double together_share = 0.55;
/// Of a pair, who moved so many times more is the one.
constexpr double clearly_more = 1.6;
/// A cause may be told from its lean long before it would be told for itself.
constexpr double lean_z = 3.5;
constexpr double lean_margin_share = 0.4;
constexpr double lean_quick_share = 0.25;
/// A figure that jumps by so much (ln) within two minutes has been made to.
constexpr double drive_jump = 0.25;

/// How far down the stream of causes a role stands: supplies feed stages, stages make watts, watts make heat.
int depth(const profile::Point& point) {
  if (point.is_temperature()) return 4;
  switch (point.role) {
    case Role::grid_bias: return 0;
    case Role::heater: return 0;
    case Role::supply: return 1;
    case Role::bias: return 2;
    case Role::supply_current: return 2;
    case Role::mains_power: return 3;
    case Role::mains_current: return 3;
    default: return 2;
  }
}

}  // namespace

Departures::Departures(const profile::Profile& profile) : profile_(&profile) {
  const bool has_transport = profile.first_of(Role::speed).has_value();
  for (std::size_t i = 0; i < profile.points.size(); ++i) {
    const profile::Point& point = profile.points[i];
    analysis::Traits traits = analysis::traits_of(point, profile.drive, has_transport);
    const analysis::Traits shared = traits;
    // Music heats as it likes: without the watts a temperature by itself tells nothing but its limits.
    if (profile.drive == profile::Drive::programme && point.is_temperature() && !profile.first_of(Role::mains_power)) traits.is_judged = false;
    own_.emplace_back(traits, false);
    // Offsets have nothing in common that a difference would take out.
    if (!point.matched_with.empty() && shared.is_judged && point.role != Role::offset) differences_.push_back({PointId{static_cast<std::uint16_t>(i)}, analysis::Stream(analysis::traits_of_difference(shared), true)});
  }
  is_told_.resize(own_.size());
  was_departed_.resize(own_.size());
  is_difference_told_.resize(differences_.size());
  is_difference_said_.resize(own_.size());
}

void Departures::begin_segment(Timestamp at) {
  const std::int64_t minute = analysis::minute_of(at);
  for (analysis::Stream& stream : own_) stream.begin(minute);
  for (Difference& difference : differences_) difference.stream.begin(minute);
  std::fill(is_told_.begin(), is_told_.end(), false);
  std::fill(was_departed_.begin(), was_departed_.end(), false);
  std::fill(is_difference_told_.begin(), is_difference_told_.end(), false);
  std::fill(is_difference_said_.begin(), is_difference_said_.end(), false);
}

void Departures::forget(PointId point, std::int64_t minute) {
  if (own_[point.index].state().is_departed) return;  // what has been found stays found
  own_[point.index].begin(minute);
  for (Difference& difference : differences_)
    if (difference.point == point && !difference.stream.state().is_departed) difference.stream.begin(minute);
}

void Departures::restart(PointId point, std::int64_t minute) {
  own_[point.index].begin(minute);
  is_told_[point.index] = was_departed_[point.index] = false;
  for (std::size_t i = 0; i < differences_.size(); ++i) {
    const auto& siblings = profile_->point(differences_[i].point).matched_with;
    const bool is_compared = differences_[i].point == point || std::find(siblings.begin(), siblings.end(), point) != siblings.end();
    if (!is_compared) continue;
    differences_[i].stream.begin(minute);
    is_difference_told_[i] = is_difference_said_[differences_[i].point.index] = false;
  }
}

void Departures::step(std::int64_t minute, const std::vector<PointWatch>& points, const analysis::Climate::Input& input, bool is_judging) {
  climate_.step(minute, input);
  std::vector<std::optional<double>> figures(points.size());
  for (std::size_t i = 0; i < points.size(); ++i) {
    const auto& closed = points[i].minute();
    if (!closed || closed->index != minute) continue;
    figures[i] = analysis::on_scale(own_[i].traits(), closed->median);
    if (figures[i] && own_[i].traits().is_judged) own_[i].add(minute, *figures[i], closed->count);
  }
  if (has_drive_changed(minute, is_judging)) {
    const std::int64_t begun = minute + 1;
    for (analysis::Stream& stream : own_) stream.begin(begun);
    for (Difference& difference : differences_) difference.stream.begin(begun);
    drive_changed_at_ = minute;
    return;
  }
  for (std::size_t i = 0; i < points.size(); ++i) {
    if (!own_[i].traits().is_judged) continue;
    own_[i].judge(minute, climate_, course_, is_judging, {points[i].mains_exponent(), points[i].mains_exponent_sd()}, points[i].least_visible());
  }
  for (Difference& difference : differences_) {
    const profile::Point& point = profile_->point(difference.point);
    std::vector<double> siblings;
    for (const PointId sibling : point.matched_with)
      if (figures[sibling.index]) siblings.push_back(*figures[sibling.index]);
    if (figures[difference.point.index] && !siblings.empty()) difference.stream.add(minute, *figures[difference.point.index] - analysis::median_in_place(siblings), points[difference.point.index].minute()->count);
    difference.stream.judge(minute, climate_, course_, is_judging, difference.stream.traits().mains, points[difference.point.index].least_visible());
  }
}

bool Departures::has_drive_changed(std::int64_t minute, bool is_judging) const {
  if (profile_->drive == profile::Drive::programme) return false;
  int up = 0;
  int down = 0;
  int still = 0;
  for (std::size_t i = 0; i < own_.size(); ++i) {
    const Role role = profile_->points[i].role;
    const bool follows_drive = role == Role::bias || role == Role::mains_power || role == Role::level || role == Role::mains_current || role == Role::supply_current;
    if (!follows_drive || own_[i].traits().scale != analysis::Scale::logarithm) continue;
    const double jump = own_[i].jump(minute);
    up += jump > drive_jump ? 1 : 0;
    down += jump < -drive_jump ? 1 : 0;
    still += std::fabs(jump) <= drive_jump ? 1 : 0;
  }
  // While it warms up, hands are at work: anything that jumps is theirs. Later only a drive that moves all of them, and
  // only where a drive there is.
  if (!is_judging) return up + down > 0;
  return profile_->drive == profile::Drive::steady && (up >= 3 || down >= 3) && still == 0 && (up == 0 || down == 0);
}

double Departures::deviation(PointId point, const analysis::Stream::State& like) const {
  const analysis::Stream& stream = own_[point.index];
  if (stream.state().is_departed) return stream.state().moved;
  return like.is_quick ? stream.move_within(like.quick_minutes) : stream.leaning();
}

bool Departures::has_moved(PointId point, const analysis::Stream::State& like) const {
  const analysis::Stream& stream = own_[point.index];
  if (stream.state().is_departed) return true;
  if (like.is_quick) return std::fabs(stream.move_within(like.quick_minutes)) > std::max(lean_quick_share * stream.traits().margin_quick, lean_z * stream.habit_within(like.quick_minutes));
  return std::fabs(stream.leaning_z()) > lean_z && std::fabs(stream.leaning()) > lean_margin_share * stream.traits().margin;
}

bool Departures::is_upstream_of(PointId cause, PointId effect) const { return depth(profile_->point(cause)) < depth(profile_->point(effect)); }

std::vector<PointId> Departures::upstream_movers(PointId effect, const analysis::Stream::State& like) const {
  std::vector<PointId> movers;
  for (std::size_t i = 0; i < own_.size(); ++i) {
    const PointId id{static_cast<std::uint16_t>(i)};
    if (own_[i].traits().is_judged && is_upstream_of(id, effect) && has_moved(id, like)) movers.push_back(id);
  }
  const auto strength = [&](PointId id) { return std::fabs(deviation(id, like)) / own_[id.index].traits().margin; };
  std::sort(movers.begin(), movers.end(), [&](PointId a, PointId b) {
    const bool a_out = own_[a.index].state().is_departed;
    const bool b_out = own_[b.index].state().is_departed;
    if (a_out != b_out) return a_out;
    return strength(a) > strength(b);
  });
  return movers;
}

Case Departures::explain(PointId point, const analysis::Stream::State& state) const {
  Case told{point, {}, state};
  const profile::Point& own = profile_->point(point);
  std::vector<double> shares;
  for (const PointId sibling : own.matched_with)
    if (state.moved != 0.0) shares.push_back(deviation(sibling, state) / state.moved);
  const bool has_siblings = !shares.empty();
  told.is_common = has_siblings && analysis::median_in_place(shares) > together_share;
  if (told.is_common)
    for (const PointId sibling : own.matched_with) told.with.push_back(sibling);
  // A single one of matched points has its cause in itself; anything else may follow from what feeds it.
  const bool is_single = has_siblings && !told.is_common && !own.is_temperature();
  if (is_single) return told;
  const auto movers = upstream_movers(point, state);
  if (movers.empty()) return told;
  told.is_consequence = std::any_of(movers.begin(), movers.end(), [&](PointId id) { return is_told_[id.index]; });
  if (told.is_consequence) {
    told.with.insert(told.with.begin(), movers.front());
    return told;
  }
  told.with.insert(told.with.begin(), point);
  told.named = movers.front();
  for (std::size_t i = 1; i < movers.size(); ++i)
    if (std::find(told.with.begin(), told.with.end(), movers[i]) == told.with.end()) told.with.push_back(movers[i]);
  const analysis::Stream& cause = own_[told.named.index];
  if (cause.state().is_departed) told.state = cause.state();
  else {
    told.state.moved = deviation(told.named, state);
    told.state.moved_sd = cause.leaning_z() != 0.0 ? std::fabs(cause.leaning() / cause.leaning_z()) : state.moved_sd;
  }
  std::erase(told.with, told.named);
  return told;
}

std::optional<Case> Departures::explain_difference(const Difference& difference) const {
  const analysis::Stream::State& state = difference.stream.state();
  const profile::Point& point = profile_->point(difference.point);
  if (own_[difference.point.index].state().is_departed) return std::nullopt;  // told, or to be told, for itself
  Case told{difference.point, {}, state};
  told.is_difference = true;
  // Named is who moved by itself. A sibling that moved clearly more is the one, and will be named for itself.
  const double mine = deviation(difference.point, state);
  PointId other = point.matched_with.front();
  for (const PointId sibling : point.matched_with)
    if (std::fabs(deviation(sibling, state)) > std::fabs(deviation(other, state))) other = sibling;
  const double its = deviation(other, state);
  if (own_[other.index].state().is_departed || std::fabs(its) > clearly_more * std::fabs(mine)) return std::nullopt;
  if (std::fabs(mine) <= clearly_more * std::fabs(its)) {
    // Of two that move together either may be named, but one of them is.
    const bool is_pair = point.matched_with.size() == 1;
    const bool is_others = std::fabs(its) > std::fabs(mine) && (is_pair || is_difference_said_[other.index]);
    if (is_others || mine * state.moved < 0.0) return std::nullopt;
    if (is_pair) {
      told.is_undecided = true;
      told.with.push_back(other);
    }
  }
  if (const auto cause = told_cause_of(difference)) {
    told.is_consequence = true;
    told.with.insert(told.with.begin(), *cause);
  }
  return told;
}

/// What feeds this point, has moved and was told, for itself or beside its own matched points.
std::optional<PointId> Departures::told_cause_of(const Difference& difference) const {
  for (const PointId id : upstream_movers(difference.point, difference.stream.state()))
    if (is_told_[id.index]) return id;
  for (const Difference& cause : differences_) {
    const bool is_same_way = cause.stream.state().moved * difference.stream.state().moved > 0.0;
    if (is_difference_said_[cause.point.index] && cause.stream.state().is_departed && is_same_way && is_upstream_of(cause.point, difference.point)) return cause.point;
  }
  return std::nullopt;
}

std::vector<Case> Departures::fresh() {
  std::vector<Case> cases;
  std::vector<PointId> departed;
  for (std::size_t i = 0; i < own_.size(); ++i) {
    const bool is_departed = own_[i].state().is_departed;
    // What was told with another stays told until it has left its course and come back.
    if (was_departed_[i] && !is_departed) is_told_[i] = false;
    was_departed_[i] = is_departed;
    if (is_departed && !is_told_[i]) departed.push_back(PointId{static_cast<std::uint16_t>(i)});
  }
  // Causes before effects, and among equals who moved most.
  std::stable_sort(departed.begin(), departed.end(), [&](PointId a, PointId b) {
    if (depth(profile_->point(a)) != depth(profile_->point(b))) return depth(profile_->point(a)) < depth(profile_->point(b));
    return std::fabs(own_[a.index].state().moved) / own_[a.index].traits().margin > std::fabs(own_[b.index].state().moved) / own_[b.index].traits().margin;
  });
  for (const PointId id : departed) {
    if (is_told_[id.index]) continue;
    Case told = explain(id, own_[id.index].state());
    is_told_[id.index] = true;
    is_told_[told.named.index] = true;
    if (!told.is_consequence)
      for (const PointId with : told.with) is_told_[with.index] = true;
    cases.push_back(std::move(told));
  }
  for (std::size_t i = 0; i < differences_.size(); ++i) {
    if (!differences_[i].stream.state().is_departed) is_difference_told_[i] = is_difference_said_[differences_[i].point.index] = false;
    else if (!is_difference_told_[i]) {
      is_difference_told_[i] = true;
      auto told = explain_difference(differences_[i]);
      if (!told) continue;
      is_difference_said_[told->named.index] = true;
      cases.push_back(std::move(*told));
    }
  }
  return cases;
}

bool Departures::is_calm(PointId point) const {
  if (own_[point.index].state().is_departed) return false;
  for (const Difference& difference : differences_)
    if (difference.point == point && difference.stream.state().is_departed) return false;
  return true;
}

}  // namespace steadyglow::soak
