#include "alarm/figures.hpp"

#include <algorithm>

namespace steadyglow::alarm {
namespace {

std::string name_of(const Fact& fact) {
  std::string name = fact.unit;
  for (const std::string* part : {&fact.kind, &fact.point})
    if (!part->empty()) name += (name.empty() ? "" : " ") + *part;
  return name;
}

}  // namespace

void Figures::Window::pass(Timestamp now) {
  while (!times.empty() && now - times.front() >= period) {
    const Timestamp left = times.front() + period;
    times.pop_front();
    if (!is_flood || times.size() >= flood_below) continue;
    is_flood = false;
    floods.push_back({since, left});
  }
  while (!floods.empty() && now - floods.front().to > kept) floods.pop_front();
}

void Figures::Window::add(Timestamp at) {
  pass(at);
  times.push_back(at);
  if (is_flood || times.size() <= flood_above) return;
  is_flood = true;
  since = at;
}

/// What is older than 30 days counts no more.
void Figures::forget(Timestamp now) {
  while (!annunciated_.empty() && (now - annunciated_.front().at > kept || annunciated_.size() > kept_max)) annunciated_.pop_front();
  std::erase_if(recent_, [&](const auto& entry) { return now - entry.second.back() > chatter_within; });
  std::erase_if(chattered_at_, [&](const auto& entry) { return now - entry.second > kept; });
}

void Figures::note(const Fact& fact) {
  const auto found = known_.find(fact.id);
  const Standing before = found == known_.end() ? Standing{} : found->second;
  if (fact.state == State::normal) known_.erase(fact.id);
  else known_[fact.id] = {fact.state, is_standing(fact.state) && !is_standing(before.state) ? fact.at : before.since};
  if (fact.state != State::unacknowledged || before.state == State::unacknowledged) return;

  const std::string name = name_of(fact);
  annunciated_.push_back({fact.at, fact.priority, name});
  window_.add(fact.at);
  // The same condition again and again has a number of its own each time: what chatters is the condition.
  auto& times = recent_[name];
  times.push_back(fact.at);
  if (times.size() > chatter_count) times.pop_front();
  if (times.size() == chatter_count && times.back() - times.front() <= chatter_within) chattered_at_[name] = fact.at;
  forget(fact.at);
}

FiguresNow Figures::at(Timestamp now) const {
  FiguresNow figures;
  constexpr double least_hours = 1.0 / 6.0;
  const Timestamp from = std::max(began_, now - kept);
  figures.hours = hours_of(now - from);
  const double hours = std::max(figures.hours, least_hours);

  std::map<std::int64_t, std::uint64_t> periods;
  std::map<std::string, std::uint64_t> names;
  std::uint64_t count = 0;
  for (const Annunciation& one : annunciated_) {
    if (one.at < from) continue;
    ++count;
    ++periods[(one.at - began_) / period];
    ++names[one.name];
    ++figures.by_priority[static_cast<std::size_t>(one.priority)];
  }
  figures.per_hour = static_cast<double>(count) / hours;
  figures.per_10_min = figures.per_hour / 6.0;
  std::uint64_t above = 0;
  for (const auto& [index, in_period] : periods) {
    figures.most_in_10_min = std::max(figures.most_in_10_min, in_period);
    above += in_period > flood_above ? 1 : 0;
  }
  figures.flood_share = static_cast<double>(above) / (6.0 * hours);

  Window window = window_;
  window.pass(now);
  figures.is_flood = window.is_flood;
  if (window.is_flood) window.floods.push_back({window.since, now});
  Duration flooded{};
  for (const Flood& flood : window.floods) flooded += std::max(Duration{}, flood.to - std::max(flood.from, from));
  figures.time_in_flood = hours_of(flooded) / hours;

  figures.top.assign(names.begin(), names.end());
  std::stable_sort(figures.top.begin(), figures.top.end(), [](const auto& a, const auto& b) { return a.second > b.second; });
  if (figures.top.size() > top_max) figures.top.resize(top_max);
  std::uint64_t of_top = 0;
  for (const auto& [name, times] : figures.top) of_top += times;
  if (count > 0) figures.top_share = static_cast<double>(of_top) / static_cast<double>(count);

  for (const auto& [id, standing] : known_) {
    if (is_standing(standing.state) && now - standing.since > stale_after) ++figures.standing_over_24_h;
    if (standing.state == State::shelved) ++figures.shelved;
  }
  for (const auto& [name, last] : chattered_at_)
    if (now - last <= kept) figures.chattering.push_back(name);
  return figures;
}

std::vector<FigureRow> against_the_table(const FiguresNow& now) {
  std::vector<FigureRow> rows;
  const auto up_to = [&](const char* name, double value, double target, double limit, const char* section) { rows.push_back({name, value, target, limit, value <= target, section}); };
  const auto below = [&](const char* name, double value, double target, const char* section) { rows.push_back({name, value, target, target, value < target, section}); };
  // ANSI/ISA-18.2-2016, Tables 5 and 6 and the sections named beside each figure; of one person's bench.
  up_to("alarms in an hour", now.per_hour, 6.0, 12.0, "16.4.2");
  up_to("alarms in ten minutes", now.per_10_min, 1.0, 2.0, "16.4.2");
  below("share of ten-minute periods above 10", now.flood_share, 0.01, "16.4.3");
  up_to("most in one ten-minute period", static_cast<double>(now.most_in_10_min), 10.0, 10.0, "16.4.3");
  below("share of time in flood", now.time_in_flood, 0.01, "16.4.4");
  up_to("chattering", static_cast<double>(now.chattering.size()), 0.0, 0.0, "16.4.6");
  below("standing over 24 h", static_cast<double>(now.standing_over_24_h), 5.0, "16.4.7");
  std::uint64_t all = 0;
  for (const std::uint64_t count : now.by_priority) all += count;
  if (all == 0) return rows;
  const auto share = [&](Priority priority) { return static_cast<double>(now.by_priority[static_cast<std::size_t>(priority)]) / static_cast<double>(all); };
  up_to("share of medium priority", share(Priority::medium), 0.15, 0.15, "16.4.8");
  up_to("share of high priority", share(Priority::high), 0.05, 0.05, "16.4.8");
  below("share of highest priority", share(Priority::highest), 0.01, "16.4.8");
  return rows;
}

}  // namespace steadyglow::alarm
