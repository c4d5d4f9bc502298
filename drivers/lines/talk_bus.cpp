#include "drivers/lines/talk_bus.hpp"

#include <algorithm>
#include <thread>
#include <utility>

#include "core/decimal.hpp"
#include "drivers/text.hpp"

namespace steadyglow::drivers::lines {
namespace {

using std::chrono::milliseconds;

/// What throwing away what waits, and reading it, may take beside all waits.
constexpr milliseconds work_allowance{500};
/// A device is alone on its wire: the call that opened it waits so long for it to settle, and reads it then. Whoever were told "not yet"
/// would count as silent, and be looked at again seconds later.
constexpr milliseconds settle_in_call_max{2500};

std::string seconds_text(std::chrono::nanoseconds span) { return to_figure(std::chrono::duration<double>(span).count(), 2) + " s"; }

/// Opening may take as long as a word, and then the device settles.
milliseconds deadline_of_calls(const TalkOptions& options) {
  return std::min(2 * options.timeout + std::min(options.settle, settle_in_call_max) + work_allowance, call_deadline_most);
}

void add_trouble(MeterReply& reply, const std::string& trouble) {
  if (trouble.empty()) return;
  reply.trouble += (reply.trouble.empty() ? "" : "; ") + trouble;
}

void fill(MeterReply& reply, Quality quality) {
  for (ChannelValue& channel : reply.channels) channel = {0.0, quality};
}

}  // namespace

TalkBus::TalkBus(wire::Place place, std::unique_ptr<Talk> talk, TalkOptions options)
    : options_(std::move(options)), call_deadline_(deadline_of_calls(options_)), is_tcp_(std::holds_alternative<TcpEnd>(place)), wire_(wire::make_wire(std::move(place), counters_)), talk_(std::move(talk)) {}

MeterReply TalkBus::read(std::size_t /*meter*/) {
  MeterReply reply;
  reply.channels.resize(talk_->channel_count());
  const wire::Deadline ends = wire::Clock::now() + call_deadline_ - work_allowance;
  ++counters_.requests;
  if (is_ready(ends, reply)) {
    const Instant now = wire::Clock::now();
    const wire::Deadline deadline = std::min(ends, now + options_.timeout);
    if (options_.ask.empty()) listen(now, deadline, reply);
    else ask(now, deadline, reply);
    if (!wire_->is_open()) {
      forget();
      add_trouble(reply, "the port is gone");
    }
    give_up_silent_connection(reply);
  }
  say(wire::Clock::now(), reply);
  if (!reply.is_answered) ++counters_.timeouts;
  return reply;
}

/// Opens the wire where need be and lets the device settle; what it says meanwhile is not listened to.
bool TalkBus::is_ready(wire::Deadline deadline, MeterReply& reply) {
  if (const auto opened = wire_->open(std::min(deadline, wire::Clock::now() + options_.timeout)); !opened) {
    forget();
    reply.trouble = with_hint(opened.error());
    return false;
  }
  const Instant now = wire::Clock::now();
  if (wire_->session() != session_) {
    session_ = wire_->session();
    is_settled_ = false;
    // Now, not when the opening began: that may have taken a second, and what a serial server kept comes after it.
    opened_at_ = bytes_at_ = now;
    asked_at_.reset();
    forget();
    talk_->begin_anew();
  }
  if (is_settled_) return true;
  const Instant settled_at = opened_at_ + options_.settle;
  if (options_.settle <= settle_in_call_max && settled_at <= deadline) std::this_thread::sleep_until(settled_at);
  else if (now < settled_at) {
    reply.trouble = "the port was just opened: the device has " + seconds_text(options_.settle) + " to start";
    return false;
  }
  // With no time to settle there is nothing to throw away but the end of a word, and that a Talk does by itself.
  if (options_.settle.count() > 0 && !throw_away_waiting()) return true;
  is_settled_ = true;
  looked_at_ = wire::Clock::now();
  return true;
}

void TalkBus::listen(Instant now, wire::Deadline deadline, MeterReply& reply) {
  // What waits came since the last look: if that is long ago, nobody knows how old it is.
  if (now - looked_at_ > options_.stale_after) {
    if (!throw_away_waiting()) return;
    looked_at_ = wire::Clock::now();
  }
  const Instant earliest = looked_at_;
  if (!take_waiting(now, deadline)) {
    // As much again may wait behind it, so what was taken is not the newest.
    (void)talk_->heard();
    (void)throw_away_waiting();
    return add_trouble(reply, "it says more than can be read");
  }
  (void)digest(earliest, reply);
  const bool has_reading = !newest_.empty() && now - newest_from_ <= options_.stale_after;
  const bool has_word = word_ != Word::none && now - word_from_ <= options_.stale_after;
  if (has_word && (has_reading || word_ != Word::fresh)) return;
  const Instant waiting_since = looked_at_;
  wait_for_word(deadline);
  (void)digest(waiting_since, reply);
}

void TalkBus::ask(Instant now, wire::Deadline deadline, MeterReply& reply) {
  newest_.clear();
  word_ = Word::none;
  if (!is_silent_before_asking(deadline, reply)) return;
  talk_->expect_answer();
  // An answer that comes late is as old as its question.
  if (!asked_at_ || now - *asked_at_ > options_.stale_after) asked_at_ = now;
  if (const auto sent = wire_->write(options_.ask, deadline); !sent) return add_trouble(reply, sent.error().message);
  wait_for_word(deadline);
  if (digest(*asked_at_, reply) != Word::none) asked_at_.reset();
}

void TalkBus::give_up_silent_connection(MeterReply& reply) {
  const Instant now = wire::Clock::now();
  if (!is_tcp_ || !wire_->is_open() || now - bytes_at_ <= silences_until_anew * options_.stale_after) return;
  wire_->close();
  add_trouble(reply, "nothing at all came for " + seconds_text(now - bytes_at_) + ": the connection is made anew");
}

/// What waits, or is still coming, answers an earlier question.
bool TalkBus::is_silent_before_asking(wire::Deadline deadline, MeterReply& reply) {
  std::size_t bytes = 0;
  if (!wire_->discard_waiting(bytes)) return false;
  if (bytes > 0) bytes_at_ = wire::Clock::now();
  const wire::Deadline silent_by = std::min(deadline, wire::Clock::now() + wire::clear_max);
  while (bytes > 0) {
    const wire::Deadline guarded = wire::Clock::now() + wire::guard_silence;
    // A wait that is cut short proves no silence.
    if (guarded > silent_by) {
      add_trouble(reply, "it talks without being asked, so nobody knows which question it answers");
      return false;
    }
    const auto late = wire_->read_some(guarded);
    if (!wire_->is_open()) return false;
    if (!late) return true;
  }
  return true;
}

bool TalkBus::throw_away_waiting() {
  talk_->lose_track();
  constexpr int rounds_max = 64;
  for (int i = 0; i < rounds_max; ++i) {
    std::size_t bytes = 0;
    if (!wire_->discard_waiting(bytes)) return false;
    if (bytes > 0) bytes_at_ = wire::Clock::now();
    if (bytes < wire::read_bytes_max) return true;
  }
  wire_->close();
  return false;
}

/// False when there was more than one poll may take.
bool TalkBus::take_waiting(Instant now, wire::Deadline deadline) {
  for (std::size_t taken = 0; taken < bytes_per_poll_max && wire::Clock::now() < deadline;) {
    const auto bytes = wire_->read_some(now);
    if (!bytes) {
      looked_at_ = wire::Clock::now();
      return true;
    }
    bytes_at_ = wire::Clock::now();
    taken += bytes->size();
    talk_->take(*bytes);
  }
  return false;
}

void TalkBus::wait_for_word(wire::Deadline deadline) {
  for (std::size_t taken = 0; taken < bytes_per_poll_max && !talk_->has_word();) {
    const auto bytes = wire_->read_some(deadline);
    if (!bytes) return;
    bytes_at_ = wire::Clock::now();
    taken += bytes->size();
    talk_->take(*bytes);
    if (bytes->size() < wire::read_bytes_max) looked_at_ = wire::Clock::now();
  }
}

void TalkBus::forget() {
  newest_.clear();
  word_ = Word::none;
  identity_.clear();
}

/// `earliest`: what was heard cannot have come before.
Word TalkBus::digest(Instant earliest, MeterReply& reply) {
  Heard heard = talk_->heard();
  counters_.garbage += heard.damaged;
  add_trouble(reply, heard.trouble);
  if (!heard.identity.empty()) identity_ = std::move(heard.identity);
  if (heard.last == Word::none) return heard.last;
  word_ = heard.last;
  word_from_ = earliest;
  if (heard.last == Word::stranger) newest_.clear();
  if (heard.newest.empty()) return heard.last;
  newest_ = std::move(heard.newest);
  newest_from_ = earliest;
  return heard.last;
}

void TalkBus::say(Instant now, MeterReply& reply) {
  reply.identity = identity_;
  reply.is_answered = word_ != Word::none && now - word_from_ <= options_.stale_after;
  if (reply.is_answered && word_ == Word::stranger) {
    reply.is_stranger = true;
    return fill(reply, Quality::other_meter);
  }
  if (newest_.empty()) {
    if (reply.trouble.empty()) reply.trouble = "nothing was heard";
    return fill(reply, Quality::no_answer);
  }
  reply.channels = newest_;
  const bool is_old = now - newest_from_ > options_.stale_after;
  if (!is_old && word_ != Word::repeat) return;
  if (is_old) add_trouble(reply, "nothing new was heard for " + seconds_text(now - newest_from_));
  for (ChannelValue& channel : reply.channels) channel.quality = Quality::stale;
}

Result<void> TalkBus::write_output(std::size_t, std::size_t, bool) {
  return fail(Fault::usage, "a device that only talks has no output");
}

Result<bool> TalkBus::read_output(std::size_t, std::size_t) { return fail(Fault::usage, "a device that only talks has no output"); }

}  // namespace steadyglow::drivers::lines
