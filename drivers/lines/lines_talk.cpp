#include "drivers/lines/lines_talk.hpp"

#include <utility>

#include "drivers/text.hpp"

namespace steadyglow::drivers::lines {
namespace {

std::string counted(std::uint64_t count, const std::string& one) { return std::to_string(count) + " " + one + (count == 1 ? "" : "s"); }

void add(std::string& text, const std::string& more) { text += (text.empty() ? "" : "; ") + more; }

}  // namespace


LinesTalk::LinesTalk(Instrument instrument, std::string identity) : instrument_(std::move(instrument)), identity_(std::move(identity)) { begin_anew(); }

void LinesTalk::begin_anew() {
  cutter_.lose_track();
  columns_ = instrument_.columns;
  counter_.reset();
  other_id_.clear();
  heard_ = {};
  why_damaged_.clear();
  trouble_.clear();
  lost_ = 0;
}

void LinesTalk::take(std::string_view bytes) {
  cutter_.take(bytes);
  while (const auto line = cutter_.next()) take_line(*line);
  for (; too_long_told_ < cutter_.too_long(); ++too_long_told_) damaged("it is longer than " + std::to_string(line_bytes_max) + " bytes");
}

void LinesTalk::damaged(std::string why) {
  ++heard_.damaged;
  why_damaged_ = std::move(why);
}

void LinesTalk::take_line(std::string_view line) {
  Outcome outcome = read_line(instrument_, columns_, line);
  switch (outcome.kind) {
    case Outcome::Kind::remark: return;
    case Outcome::Kind::header: columns_ = std::move(outcome.columns); return;
    case Outcome::Kind::damaged: return damaged(std::move(outcome.why));
    case Outcome::Kind::reading: return take_reading(std::move(outcome.line));
  }
}

/// Without a checksum one wrong letter in the name is likelier than a swapped device: the second such line in a row says so.
bool LinesTalk::is_bound_one(const Line& line) {
  if (identity_.empty() || line.id == identity_) {
    other_id_.clear();
    return true;
  }
  const bool is_said_before = std::exchange(other_id_, line.id) == line.id;
  if (!instrument_.checksum && !is_said_before) {
    damaged("it says once that it comes from `" + shown(line.id) + "`");
    return false;
  }
  heard_.last = Word::stranger;
  heard_.newest.clear();
  heard_.identity = line.id;
  counter_.reset();
  return false;
}

void LinesTalk::take_reading(Line line) {
  if (!is_bound_one(line)) return;
  heard_.identity = line.id;
  if (!line.trouble.empty()) trouble_ = std::move(line.trouble);
  if (line.counter && counter_ == line.counter) {
    heard_.last = Word::repeat;
    return;
  }
  // A smaller number is a counter that began anew.
  if (line.counter && counter_ && *line.counter > *counter_) lost_ += *line.counter - *counter_ - 1;
  counter_ = line.counter;
  heard_.last = Word::fresh;
  heard_.newest = std::move(line.channels);
}

Heard LinesTalk::heard() {
  if (heard_.last == Word::stranger) add(heard_.trouble, stranger_words(shown(heard_.identity), identity_));
  if (heard_.last == Word::repeat) add(heard_.trouble, "its counter stands still at " + std::to_string(*counter_));
  if (!trouble_.empty()) add(heard_.trouble, std::exchange(trouble_, {}));
  if (lost_ > 0) add(heard_.trouble, counted(std::exchange(lost_, 0), "line") + " lost on the way");
  if (heard_.damaged > 0) add(heard_.trouble, counted(heard_.damaged, "damaged line") + ": " + std::exchange(why_damaged_, {}));
  return std::exchange(heard_, {});
}

}  // namespace steadyglow::drivers::lines
