#pragma once
/// The live stream: numbered events for every listener, kept a while for those who come back
/// (server-sent events, WHATWG HTML 9.2).
#include <chrono>
#include <cstdint>
#include <deque>
#include <functional>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include <boost/asio/io_context.hpp>
#include <boost/asio/steady_timer.hpp>

namespace steadyglow::http {

inline constexpr std::size_t stream_events_kept_max = 256;
/// Events that may wait for one client; beyond, it is dropped.
inline constexpr std::size_t stream_events_waiting_max = 256;

struct StreamEvent {
  std::uint64_t id = 0;
  bool is_bench = false;                   ///< a newer one replaces it
  std::shared_ptr<const std::string> text; ///< shared: one text waits in many queues
};

/// One client's waiting events. Owned by its connection, known to the stream while attached.
class Listener {
 public:
  /// `on_event`: something waits. `on_overflow`: it is too slow and must go.
  Listener(std::function<void()> on_event, std::function<void()> on_overflow) : on_event_(std::move(on_event)), on_overflow_(std::move(on_overflow)) {}
  std::optional<StreamEvent> pop();

 private:
  friend class Stream;
  bool push(const StreamEvent& event);  ///< false: full
  std::deque<StreamEvent> waiting_;
  std::function<void()> on_event_;
  std::function<void()> on_overflow_;
};

/// Thread: loop only.
class Stream {
 public:
  /// `make_bench` gives the data of a `bench` event, at most once in `bench_every`.
  Stream(boost::asio::io_context& loop, std::chrono::milliseconds bench_every, std::function<std::string()> make_bench);

  /// Replays what came after `last_id` and is still kept; without it, or for a number we never gave, see API.md.
  void attach(Listener& listener, std::optional<std::uint64_t> last_id);
  void detach(Listener& listener);
  std::size_t listeners() const { return listeners_.size(); }

  void publish(std::string_view name, const std::string& line);
  void mark_changed();
  void stop();

 private:
  void schedule_bench();

  boost::asio::steady_timer timer_;
  std::chrono::milliseconds bench_every_;
  std::function<std::string()> make_bench_;
  std::vector<Listener*> listeners_;
  std::deque<StreamEvent> kept_;  ///< oldest first; at most one bench event: the newest says it all
  std::uint64_t last_id_;
  std::shared_ptr<const int> alive_ = std::make_shared<const int>(0);  ///< what the timer's handler looks at first
  bool is_changed_ = true;
  bool is_scheduled_ = false;
  bool is_stopped_ = false;
  std::chrono::steady_clock::time_point bench_at_{};
};

}  // namespace steadyglow::http
