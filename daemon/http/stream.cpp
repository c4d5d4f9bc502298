#include "http/stream.hpp"

#include <algorithm>

namespace steadyglow::http {
namespace {

/// Numbers begin at the UTC milliseconds of the start, so that they go on increasing after a restart.
std::uint64_t first_id() {
  const auto now = std::chrono::system_clock::now().time_since_epoch();
  return static_cast<std::uint64_t>(std::chrono::duration_cast<std::chrono::milliseconds>(now).count());
}

void forget_bench(std::deque<StreamEvent>& events) {
  std::erase_if(events, [](const StreamEvent& event) { return event.is_bench; });
}

}  // namespace

std::optional<StreamEvent> Listener::pop() {
  if (waiting_.empty()) return std::nullopt;
  StreamEvent event = std::move(waiting_.front());
  waiting_.pop_front();
  return event;
}

bool Listener::push(const StreamEvent& event) {
  if (event.is_bench) forget_bench(waiting_);
  if (waiting_.size() >= stream_events_waiting_max) return false;
  waiting_.push_back(event);
  return true;
}

Stream::Stream(boost::asio::io_context& loop, std::chrono::milliseconds bench_every, std::function<std::string()> make_bench)
    : timer_(loop), bench_every_(bench_every), make_bench_(std::move(make_bench)), last_id_(first_id()) {}

void Stream::attach(Listener& listener, std::optional<std::uint64_t> last_id) {
  listeners_.push_back(&listener);
  const bool is_known = last_id && *last_id <= last_id_;
  for (const StreamEvent& event : kept_) {
    const bool is_missed = is_known ? event.id > *last_id : last_id.has_value();
    if (event.is_bench ? !is_changed_ && (is_missed || !last_id) : is_missed) listener.push(event);
  }
  if (is_changed_) schedule_bench();
}

void Stream::detach(Listener& listener) { std::erase(listeners_, &listener); }

void Stream::publish(std::string_view name, const std::string& line) {
  if (is_stopped_) return;
  StreamEvent event;
  event.id = ++last_id_;
  event.is_bench = name == "bench";
  std::string text = "id: " + std::to_string(event.id) + "\nevent: ";
  text.append(name).append("\ndata: ").append(line).append("\n\n");
  event.text = std::make_shared<const std::string>(std::move(text));

  if (event.is_bench) forget_bench(kept_);
  if (kept_.size() >= stream_events_kept_max) kept_.pop_front();
  kept_.push_back(event);

  std::vector<Listener*> too_slow;
  for (Listener* listener : listeners_) {
    if (listener->push(event)) listener->on_event_();
    else too_slow.push_back(listener);
  }
  for (Listener* listener : too_slow) listener->on_overflow_();
}

void Stream::mark_changed() {
  is_changed_ = true;
  if (!listeners_.empty()) schedule_bench();
}

void Stream::schedule_bench() {
  if (is_scheduled_ || is_stopped_) return;
  is_scheduled_ = true;
  timer_.expires_at(std::max(std::chrono::steady_clock::now(), bench_at_ + bench_every_));
  timer_.async_wait([this, alive = std::weak_ptr<const int>(alive_)](const boost::system::error_code& error) {
    if (error || alive.expired() || is_stopped_) return;
    is_scheduled_ = false;
    if (listeners_.empty()) return;
    is_changed_ = false;
    bench_at_ = std::chrono::steady_clock::now();
    publish("bench", make_bench_());
  });
}

void Stream::stop() {
  is_stopped_ = true;
  timer_.cancel();
}

}  // namespace steadyglow::http
