#include "drivers/scpi/dialog.hpp"

#include <algorithm>
#include <utility>

#include "drivers/scpi/answer.hpp"

namespace steadyglow::drivers::scpi {
namespace {

constexpr std::string_view name_query = "*IDN?";

bool is_white(std::string_view text) { return trimmed(text).empty(); }

}  // namespace

bool is_mark(std::string_view answer) { return answer == "1" || answer == "+1"; }

Dialog::Dialog(wire::Place place, std::string terminator, BusCounters& counters)
    : wire_(wire::make_wire(std::move(place), counters)), terminator_(std::move(terminator)), counters_(counters) {}

Result<void> Dialog::clear(Deadline deadline) {
  forget();
  return wire_->clear(deadline);
}

bool Dialog::has_surplus() {
  if (!is_white(received_)) return true;
  // With no time left nothing is waited for, and a USBTMC device, at which to look would be to ask, is not asked.
  auto waiting = wire_->read_some(Clock::now());
  if (!waiting) return !wire_->is_open();
  // Of an ending such as "\n\r" the last byte may come a moment after the line; "1\n" is no longer, and a whole answer.
  received_ = std::move(*waiting);
  return !is_white(received_);
}

Result<void> Dialog::tell(std::string_view command, Deadline deadline) {
  return wire_->write(std::string(command) + terminator_, deadline);
}

Result<std::string> Dialog::next_line(Deadline deadline) {
  while (true) {
    const std::size_t end = received_.find_first_of("\r\n");
    if (end != std::string::npos) {
      std::string line(trimmed(std::string_view(received_).substr(0, end)));
      received_.erase(0, end + 1);
      return line;
    }
    if (received_.size() > answer_bytes_max) {
      received_.clear();
      return fail(Fault::bad_data, "an answer without an end");
    }
    auto some = wire_->read_some(deadline);
    if (some) {
      received_ += *some;
      continue;
    }
    Error error = std::move(some.error());
    if (wire_->is_open() && !is_white(received_))
      error.message = "half an answer: `" + shown_answer(received_) + "`";
    return tl::unexpected(std::move(error));
  }
}

Result<std::string> Dialog::ask(std::string_view question, Deadline deadline) {
  ++counters_.requests;
  if (auto told = tell(question, deadline); !told) return tl::unexpected(std::move(told.error()));
  while (true) {
    auto line = next_line(deadline);
    if (!line) {
      if (line.error().fault == Fault::bad_data) ++counters_.garbage;
      else if (wire_->is_open()) ++counters_.timeouts;
      return line;
    }
    if (line->empty() || *line == question) continue;
    if (!is_identity(*line)) return line;
    ++counters_.garbage;
  }
}

Result<Naming> Dialog::ask_name(Deadline deadline, unsigned marks) {
  ++counters_.requests;
  for (unsigned i = 0; i < marks; ++i)
    if (auto told = tell(mark_query, deadline); !told) return tl::unexpected(std::move(told.error()));
  if (auto told = tell(name_query, deadline); !told) return tl::unexpected(std::move(told.error()));
  Naming naming;
  unsigned marks_before = 0;
  while (true) {
    auto line = next_line(deadline);
    if (!line) {
      if (wire_->is_open()) ++counters_.timeouts;
      if (naming.lines_before > 0) return fail(Fault::bad_data, "it does not say its name");
      return tl::unexpected(std::move(line.error()));
    }
    if (line->empty() || *line == name_query || *line == mark_query) continue;
    if (is_identity(*line) && (marks == 0 || marks_before == marks)) {
      naming.identity = *line;
      return naming;
    }
    marks_before = is_mark(*line) ? marks_before + 1 : 0;
    if (marks > 0 && (marks_before > 0 || is_identity(*line))) continue;
    ++naming.lines_before;
    ++counters_.garbage;
    const Number number = read_number(split_fields(*line).front());
    naming.has_late_number |= number.trouble.empty();
  }
}

Result<std::vector<std::string>> Dialog::ask_errors(const std::string& query, std::chrono::milliseconds answer_within, Deadline deadline) {
  std::vector<std::string> entries;
  while (entries.size() < error_entries_max) {
    const auto answer = ask(query, std::min(deadline, Clock::now() + answer_within));
    if (!answer) return tl::unexpected(answer.error());
    const auto entry = read_error(*answer);
    if (!entry) return fail(Fault::bad_data, "`" + query + "` is answered by `" + shown_answer(*answer) + "`");
    if (entry->code == 0) break;
    ++counters_.refusals;
    entries.push_back(entry->text);
  }
  return entries;
}

}  // namespace steadyglow::drivers::scpi
