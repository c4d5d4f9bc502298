#include "card/lives.hpp"

#include <algorithm>

namespace steadyglow::card {
namespace {

constexpr std::int64_t day_length_ms = 24LL * 3600 * 1000;
constexpr double hours_least = 1.0 / 60.0;  ///< a unit that fails at once has lived a minute

/// What happened to a unit, in order of time.
struct Step {
  std::int64_t utc_ms = 0;
  const RunSeen* run = nullptr;
  const Entry* entry = nullptr;
};

std::vector<Step> steps_of(const Card& card) {
  std::vector<Step> steps;
  for (const RunSeen& run : card.runs) steps.push_back({run.started_ms, &run, nullptr});
  for (const Entry& entry : card.entries) {
    if (entry.corrected_by != 0) continue;
    if (entry.kind == EntryKind::repair || entry.kind == EntryKind::sold) steps.push_back({entry.utc_ms, nullptr, &entry});
    // A return may be written down later than it was; of its day the end counts, for it may have been soaked that morning.
    if (entry.kind == EntryKind::returned) steps.push_back({std::min(entry.utc_ms, day_ms(entry.text("day")).value_or(entry.utc_ms) + day_length_ms), nullptr, &entry});
  }
  std::stable_sort(steps.begin(), steps.end(), [](const Step& a, const Step& b) { return a.utc_ms < b.utc_ms; });
  return steps;
}

class Walk {
 public:
  Walk(const Card& card, Lives& lives) : card_(card), lives_(lives) {}

  void pass(const Step& step) {
    if (step.run != nullptr) return run(*step.run);
    if (step.entry->kind == EntryKind::sold) ++lives_.sold;
    if (step.entry->kind == EntryKind::repair) is_repaired_ = true;
    if (step.entry->kind == EntryKind::returned) back(*step.entry);
  }
  /// It is still well.
  void end() { close(0.0, false, false); }

 private:
  void run(const RunSeen& seen) {
    if (seen.state == "running" || seen.counts_nothing) return;
    if (!seen.counted_hours || !seen.powered_hours) {
      ++lives_.runs_unread;
      return;
    }
    if (is_repaired_) end();
    is_repaired_ = false;
    if (seen.word == "fail") return close(std::max(seen.failed_hours.value_or(*seen.powered_hours), hours_least), true, false);
    hours_ += *seen.counted_hours;
  }

  void back(const Entry& entry) {
    const bool is_fault = entry.flag("is_fault");
    const auto with_owner = entry.number("owner_hours");
    if (is_fault) ++lives_.returned;
    if (is_fault && !with_owner) ++lives_.returned_without_hours;
    // Never soaked here: nothing is known of its hours before.
    if (hours_ > 0.0) close(with_owner.value_or(0.0), is_fault && with_owner.has_value(), true);
    is_repaired_ = false;
  }

  void close(double more, bool has_failed, bool is_return) {
    const double hours = hours_ + more;
    if (hours > 0.0) lives_.all.push_back({card_.name, card_.plate.kind, card_.plate.model, {hours, has_failed}, is_return && has_failed});
    hours_ = 0.0;
  }

  const Card& card_;
  Lives& lives_;
  double hours_ = 0.0;
  bool is_repaired_ = false;
};

bool fits(const Card& card, const Which& which) {
  if (!which.kind.empty() && squeezed(card.plate.kind) != squeezed(which.kind)) return false;
  if (which.model.empty()) return true;
  const std::string wanted = squeezed(which.model);
  return squeezed(card.plate.model) == wanted || squeezed(card.title()) == wanted;
}

}  // namespace

std::vector<reliability::Life> Lives::lives() const {
  std::vector<reliability::Life> only;
  for (const RepairLife& one : all) only.push_back(one.life);
  return only;
}

Lives lives_of(const Cards& cards, const Which& which) {
  Lives lives;
  for (const Card& card : cards.all()) {
    if (!fits(card, which)) continue;
    Walk walk(card, lives);
    for (const Step& step : steps_of(card)) walk.pass(step);
    walk.end();
  }
  return lives;
}

}  // namespace steadyglow::card
