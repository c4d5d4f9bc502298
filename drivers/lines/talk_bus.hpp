#pragma once
/// One device that talks by itself, or when asked one question, on a wire of its own: opens it, lets the device settle, and knows how old
/// the newest word can be. What the words mean is a Talk's business (lines here, frames next door).
#include <chrono>
#include <cstddef>
#include <cstdint>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "drivers/wire/wire.hpp"

namespace steadyglow::drivers::lines {

/// The last whole, well-made thing that a device said.
enum class Word : std::uint8_t {
  none,
  fresh,     ///< a new reading
  repeat,    ///< what was said before already: the device lives, its reading does not
  stranger,  ///< another device than the bound one spoke
};

/// What was heard since the last look.
struct Heard {
  Word last = Word::none;
  std::vector<ChannelValue> newest;  ///< the newest fresh reading; empty if there was none, or a stranger spoke after it
  std::uint64_t damaged = 0;         ///< pieces thrown away
  std::string identity;              ///< what the device calls itself, when it said so
  std::string trouble;
};

/// Turns bytes into readings. Pure: no clock, no I/O.
class Talk {
 public:
  virtual ~Talk() = default;
  Talk() = default;
  Talk(const Talk&) = delete;
  Talk& operator=(const Talk&) = delete;

  /// The wire was opened again: another device may be on it, and it may be in the middle of a word.
  virtual void begin_anew() = 0;
  /// Bytes were thrown away: what comes next may be in the middle of a word.
  virtual void lose_track() = 0;
  /// What comes next is the answer to a question, from its beginning.
  virtual void expect_answer() = 0;
  virtual void take(std::string_view bytes) = 0;
  /// True when a Word was taken since the last heard().
  virtual bool has_word() const = 0;
  virtual Heard heard() = 0;
  virtual std::size_t channel_count() const = 0;
};

struct TalkOptions {
  std::chrono::milliseconds timeout{1500};    ///< a poll that finds nothing to believe waits so long for the next word
  std::chrono::milliseconds stale_after{3000};  ///< a reading is believed so long, reckoned from the earliest time at which it can have come
  std::chrono::milliseconds settle{0};        ///< what is said so soon after opening is not listened to
  std::string ask;                            ///< sent at each poll; empty: the device talks by itself
};

/// A TCP connection on which nothing came for so many times TalkOptions::stale_after is given up and made anew: a serial server that lost
/// its supply knows nothing of the old one, and does not say so. A serial line is left alone, for opening it may start a board anew.
inline constexpr int silences_until_anew = 5;

/// Bytes taken in one poll at most: a device that never stops cannot hold the bus.
inline constexpr std::size_t bytes_per_poll_max = 64 * 1024;

/// Thread: one bus thread. Owns: the wire. Fails: a quality in the reply; never throws. It has no outputs.
class TalkBus final : public Bus {
 public:
  TalkBus(wire::Place place, std::unique_ptr<Talk> talk, TalkOptions options);

  MeterReply read(std::size_t meter) override;
  Result<void> write_output(std::size_t meter, std::size_t output, bool on) override;
  Result<bool> read_output(std::size_t meter, std::size_t output) override;
  BusCounters counters() const override { return counters_; }
  std::chrono::milliseconds call_deadline() const override { return call_deadline_; }

 private:
  using Instant = wire::Clock::time_point;

  bool is_ready(wire::Deadline deadline, MeterReply& reply);
  void listen(Instant now, wire::Deadline deadline, MeterReply& reply);
  void ask(Instant now, wire::Deadline deadline, MeterReply& reply);
  bool is_silent_before_asking(wire::Deadline deadline, MeterReply& reply);
  bool take_waiting(Instant now, wire::Deadline deadline);
  void wait_for_word(wire::Deadline deadline);
  Word digest(Instant earliest, MeterReply& reply);
  void say(Instant now, MeterReply& reply);
  bool throw_away_waiting();
  void give_up_silent_connection(MeterReply& reply);
  void forget();

  TalkOptions options_;
  std::chrono::milliseconds call_deadline_;
  bool is_tcp_;
  BusCounters counters_;
  std::unique_ptr<wire::Wire> wire_;
  std::unique_ptr<Talk> talk_;
  std::uint64_t session_ = 0;
  bool is_settled_ = false;
  Instant opened_at_{};
  Instant bytes_at_{};               ///< the opening, or the last look that found anything at all
  Instant looked_at_{};              ///< what came before was taken or thrown away
  std::optional<Instant> asked_at_;  ///< the oldest question without an answer

  // Of this session of the wire:
  std::vector<ChannelValue> newest_;  ///< empty if there is none
  Instant newest_from_{};             ///< the earliest time at which it can have come
  Word word_ = Word::none;
  Instant word_from_{};
  std::string identity_;
};

}  // namespace steadyglow::drivers::lines
