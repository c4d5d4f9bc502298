#include "notify/sender.hpp"

#include <pthread.h>

#include <algorithm>
#include <csignal>

namespace steadyglow::notify {

struct Sender::Worker {
  std::string name;
  std::unique_ptr<Route> route;
  mutable std::mutex mutex;
  std::condition_variable wakes;
  std::deque<Message> queue;     // under mutex
  RouteHealth health;            // under mutex
  bool is_stopping = false;      // under mutex
  std::thread thread;
};

Sender::Sender(std::vector<NamedRoute> routes, std::function<void(Delivery)> told, SenderTiming timing) : told_(std::move(told)), timing_(timing) {
  for (NamedRoute& named : routes) {
    auto worker = std::make_unique<Worker>();
    worker->name = named.name;
    worker->route = std::move(named.route);
    worker->health = {named.name, worker->route->kind(), worker->route->where(), false, true, {}, 0};
    workers_.push_back(std::move(worker));
  }
  for (auto& worker : workers_) worker->thread = std::thread([this, w = worker.get()] { work(*w); });
}

Sender::~Sender() {
  for (auto& worker : workers_) {
    const std::lock_guard lock(worker->mutex);
    worker->is_stopping = true;
    worker->route->abort();
    worker->wakes.notify_all();
  }
  for (auto& worker : workers_) worker->thread.join();
}

bool Sender::send(Message message) {
  const auto found = std::find_if(workers_.begin(), workers_.end(), [&](const auto& worker) { return worker->name == message.route; });
  if (found == workers_.end()) return false;
  Worker& worker = **found;
  const std::lock_guard lock(worker.mutex);
  if (worker.queue.size() >= waiting_max) {
    const auto quiet = std::find_if(worker.queue.begin(), worker.queue.end(), [](const Message& m) { return m.priority < alarm::Priority::high; });
    worker.queue.erase(quiet == worker.queue.end() ? worker.queue.begin() : quiet);
  }
  // What wakes somebody goes before what does not.
  const auto place = message.priority >= alarm::Priority::high ? std::find_if(worker.queue.begin(), worker.queue.end(), [](const Message& m) { return m.priority < alarm::Priority::high; }) : worker.queue.end();
  worker.queue.insert(place, std::move(message));
  worker.health.waiting = worker.queue.size();
  worker.wakes.notify_all();
  return true;
}

std::vector<RouteHealth> Sender::health() const {
  std::vector<RouteHealth> all;
  for (const auto& worker : workers_) {
    const std::lock_guard lock(worker->mutex);
    all.push_back(worker->health);
  }
  return all;
}

void Sender::work(Worker& worker) {
  sigset_t signals;
  sigfillset(&signals);
  pthread_sigmask(SIG_BLOCK, &signals, nullptr);
  std::unique_lock lock(worker.mutex);
  while (true) {
    worker.wakes.wait(lock, [&] { return worker.is_stopping || !worker.queue.empty(); });
    if (worker.is_stopping) return;
    const Message message = worker.queue.front();
    worker.queue.pop_front();
    std::chrono::milliseconds pause = timing_.retry_first;
    for (int attempt = 1;; ++attempt) {
      worker.health.waiting = worker.queue.size() + 1;
      lock.unlock();
      const Result<void> sent = worker.route->send(message);
      lock.lock();
      if (worker.is_stopping && !sent) return;
      worker.health.is_tried = true;
      worker.health.is_ok = sent.has_value();
      worker.health.reason = sent ? "" : sent.error().message;
      const bool is_given_up = !sent && message.priority < alarm::Priority::high && attempt >= timing_.attempts_of_low;
      Delivery delivery{message.id, worker.name, attempt, sent.has_value(), is_given_up, sent ? "" : sent.error().message};
      lock.unlock();
      told_(std::move(delivery));
      lock.lock();
      if (sent || is_given_up) break;
      worker.wakes.wait_for(lock, pause, [&] { return worker.is_stopping; });
      if (worker.is_stopping) return;
      pause = std::min(2 * pause, timing_.retry_max);
    }
    worker.health.waiting = worker.queue.size();
  }
}

}  // namespace steadyglow::notify
