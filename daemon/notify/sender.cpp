#include "notify/sender.hpp"

#include <pthread.h>

#include <algorithm>
#include <condition_variable>
#include <csignal>
#include <deque>
#include <mutex>
#include <thread>

namespace steadyglow::notify {
namespace {

using Clock = std::chrono::steady_clock;
using Lock = std::unique_lock<std::mutex>;

bool is_loud(const Message& message) { return message.priority >= alarm::Priority::high; }

struct Waiting {
  std::uint64_t number = 0;  ///< in the order in which they came
  Message message;
  int attempts = 0;
  Clock::time_point since;
  Clock::time_point due;
  std::chrono::milliseconds pause;
};

}  // namespace

class Sender::Worker {
 public:
  Worker(NamedRoute named, std::function<void(Delivery)> told, SenderTiming timing)
      : name_(std::move(named.name)), route_(std::move(named.route)), told_(std::move(told)), timing_(timing) {
    health_.name = name_;
    health_.kind = route_->kind();
    health_.where = route_->where();
    thread_ = std::thread([this] { work(); });
  }

  const std::string& name() const { return name_; }

  void begin_stop() {
    const std::lock_guard lock(mutex_);
    is_stopping_ = true;
    route_->abort();
    wakes_.notify_all();
  }
  void join() { thread_.join(); }

  void take(Message message) {
    std::vector<Delivery> given_up;
    {
      const std::lock_guard lock(mutex_);
      if (message.purpose == Purpose::repeat) replace_repeats(message, given_up);
      if (queue_.size() >= waiting_max) make_room(given_up);
      const auto now = Clock::now();
      // What the server would take now it may take before this one.
      for (Waiting& other : queue_)
        if (is_of_same_incident(other.message, message)) other.due = std::min(other.due, now);
      queue_.push_back({next_number_++, std::move(message), 0, now, now, timing_.retry_first});
      count();
      wakes_.notify_all();
    }
    for (Delivery& one : given_up) told_(std::move(one));
  }

  RouteHealth health() const {
    const std::lock_guard lock(mutex_);
    return health_;
  }

 private:
  using Queue = std::deque<Waiting>;

  static bool is_of_same_incident(const Message& a, const Message& b) { return a.incident != 0 && a.incident == b.incident; }

  void count() { health_.waiting = queue_.size() + (is_sending_ ? 1 : 0); }

  Delivery give_up(Queue::iterator which, std::string why) {
    Delivery delivery{which->message.id, name_, which->attempts, false, true, std::move(why)};
    queue_.erase(which);
    ++health_.given_up;
    return delivery;
  }

  /// A night without a mail server must not end with a hundred times the same word.
  void replace_repeats(const Message& message, std::vector<Delivery>& given_up) {
    const auto is_older = [&](const Waiting& other) { return other.message.purpose == Purpose::repeat && is_of_same_incident(other.message, message) && other.message.person == message.person; };
    for (auto found = std::find_if(queue_.begin(), queue_.end(), is_older); found != queue_.end(); found = std::find_if(queue_.begin(), queue_.end(), is_older))
      given_up.push_back(give_up(found, "a newer message says the same"));
  }

  void make_room(std::vector<Delivery>& given_up) {
    const auto rank = [](const Waiting& one) { return is_loud(one.message) ? one.message.purpose == Purpose::repeat ? 1 : 2 : 0; };
    const auto least = std::min_element(queue_.begin(), queue_.end(), [&](const Waiting& a, const Waiting& b) { return rank(a) < rank(b); });
    given_up.push_back(give_up(least, "too many messages wait for this route"));
  }

  /// An earlier message of the incident goes first. That it is over never overtakes what began it.
  bool is_kept_back(Queue::const_iterator which) const {
    return std::any_of(queue_.cbegin(), which, [&](const Waiting& earlier) {
      return is_of_same_incident(earlier.message, which->message) && (which->message.purpose == Purpose::over || earlier.attempts < attempts_in_order);
    });
  }

  /// What is due and may go: the gravest, of these the oldest. Else the end, and `next` says when something will be due.
  Queue::iterator pick(Clock::time_point now, std::optional<Clock::time_point>& next) {
    auto best = queue_.end();
    for (auto one = queue_.begin(); one != queue_.end(); ++one) {
      if (is_kept_back(one)) continue;
      if (one->due > now) next = next ? std::min(*next, one->due) : one->due;
      else if (best == queue_.end() || one->message.priority > best->message.priority) best = one;
    }
    return best;
  }

  void work() {
    sigset_t signals;
    sigfillset(&signals);
    pthread_sigmask(SIG_BLOCK, &signals, nullptr);
    Lock lock(mutex_);
    while (!is_stopping_) {
      std::optional<Clock::time_point> next;
      const auto found = pick(Clock::now(), next);
      if (found != queue_.end()) attempt(found, lock);
      else if (next) wakes_.wait_until(lock, *next);
      else wakes_.wait(lock);
    }
  }

  void attempt(Queue::iterator found, Lock& lock) {
    // It leaves the queue while it is on its way and comes back to its place: the queue may change meanwhile.
    Waiting one = std::move(*found);
    queue_.erase(found);
    is_sending_ = true;
    lock.unlock();
    const Result<void> sent = route_->send(one.message);
    lock.lock();
    is_sending_ = false;
    if (is_stopping_ && !sent) return;
    ++one.attempts;
    const bool is_given_up = !sent && !is_loud(one.message) && Clock::now() - one.since > timing_.quiet_lasts;
    Delivery delivery{one.message.id, name_, one.attempts, sent.has_value(), is_given_up, sent ? "" : sent.error().message};
    note(sent);
    if (is_given_up) ++health_.given_up;
    if (!sent && !is_given_up) come_back(std::move(one));
    count();
    lock.unlock();
    told_(std::move(delivery));
    lock.lock();
  }

  void note(const Result<void>& sent) {
    const bool has_healed = sent && health_.is_tried && !health_.is_ok;
    health_.is_tried = true;
    health_.is_ok = sent.has_value();
    health_.reason = sent ? "" : sent.error().message;
    if (!sent) return;
    health_.last_delivered = std::chrono::system_clock::now();
    if (!has_healed) return;
    const auto now = Clock::now();
    for (Waiting& other : queue_) other.due = std::min(other.due, now);
  }

  void come_back(Waiting one) {
    one.due = Clock::now() + one.pause;
    one.pause = std::min(2 * one.pause, timing_.retry_max);
    const auto place = std::find_if(queue_.begin(), queue_.end(), [&](const Waiting& other) { return other.number > one.number; });
    queue_.insert(place, std::move(one));
  }

  const std::string name_;
  const std::unique_ptr<Route> route_;
  const std::function<void(Delivery)> told_;
  const SenderTiming timing_;
  mutable std::mutex mutex_;
  std::condition_variable wakes_;
  Queue queue_;               // under mutex_; by number
  std::uint64_t next_number_ = 0;  // under mutex_
  RouteHealth health_;        // under mutex_
  bool is_sending_ = false;   // under mutex_
  bool is_stopping_ = false;  // under mutex_
  std::thread thread_;
};

Sender::Sender(std::vector<NamedRoute> routes, std::function<void(Delivery)> told, SenderTiming timing) {
  for (NamedRoute& named : routes) workers_.push_back(std::make_unique<Worker>(std::move(named), told, timing));
}

Sender::~Sender() {
  for (auto& worker : workers_) worker->begin_stop();
  for (auto& worker : workers_) worker->join();
}

bool Sender::send(Message message) {
  const auto found = std::find_if(workers_.begin(), workers_.end(), [&](const auto& worker) { return worker->name() == message.route; });
  if (found == workers_.end()) return false;
  (*found)->take(std::move(message));
  return true;
}

std::vector<RouteHealth> Sender::health() const {
  std::vector<RouteHealth> all;
  for (const auto& worker : workers_) all.push_back(worker->health());
  return all;
}

}  // namespace steadyglow::notify
