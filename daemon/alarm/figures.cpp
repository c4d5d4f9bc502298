#include "alarm/figures.hpp"

#include <algorithm>

namespace steadyglow::alarm {

void Figures::note(const Fact& fact) {
  Known& known = known_[fact.id];
  const State before = known.state;
  known.state = fact.state;
  known.name = fact.unit + (fact.unit.empty() ? "" : " ") + fact.kind + (fact.point.empty() ? "" : " " + fact.point);
  const bool is_new = fact.state == State::unacknowledged && before != State::unacknowledged;
  if (is_standing(fact.state) && !is_standing(before)) known.standing_since = fact.at;
  if (!is_new) return;
  annunciated_.push_back(fact.at);
  while (!annunciated_.empty() && fact.at - annunciated_.front() > kept) annunciated_.pop_front();
  ++by_priority_[static_cast<std::size_t>(fact.priority)];
  // The same condition again and again has a number of its own each time: what chatters is the condition.
  auto& times = by_name_[known.name];
  times.push_back(fact.at);
  while (times.size() > chatter_count) times.pop_front();
  const bool chatters = times.size() == chatter_count && times.back() - times.front() <= chatter_within;
  if (chatters && std::find(chattering_.begin(), chattering_.end(), known.name) == chattering_.end()) chattering_.push_back(known.name);
}

FiguresNow Figures::at(Timestamp now) const {
  FiguresNow figures;
  constexpr double least_hours = 1.0 / 6.0;
  figures.hours = hours_of(std::min<Duration>(now - began_, kept));
  const double hours = std::max(figures.hours, least_hours);
  figures.per_hour = static_cast<double>(annunciated_.size()) / hours;
  figures.per_10_min = figures.per_hour / 6.0;
  std::map<std::int64_t, std::uint64_t> periods;
  for (const Timestamp at : annunciated_) ++periods[(at - began_) / period];
  std::uint64_t above = 0;
  for (const auto& [index, count] : periods) {
    figures.most_in_10_min = std::max(figures.most_in_10_min, count);
    above += count > flood_above ? 1 : 0;
  }
  figures.flood_share = static_cast<double>(above) / std::max(1.0, 6.0 * hours);
  const auto recent = [&](Timestamp until) {
    return static_cast<std::uint64_t>(std::count_if(annunciated_.begin(), annunciated_.end(), [&](Timestamp at) { return at <= until && until - at < period; }));
  };
  // A flood begins above 10 in ten minutes and goes on until they are fewer than 5.
  for (const Timestamp at : annunciated_) {
    const std::uint64_t count = recent(at);
    if (count > flood_above) figures.is_flood = true;
    else if (count < flood_below) figures.is_flood = false;
  }
  if (recent(now) < flood_below) figures.is_flood = false;
  for (const auto& [id, known] : known_) {
    if (is_standing(known.state) && now - known.standing_since > stale_after) ++figures.standing_over_24_h;
    if (known.state == State::shelved) ++figures.shelved;
  }
  figures.chattering = chattering_;
  figures.by_priority = by_priority_;
  return figures;
}

}  // namespace steadyglow::alarm
