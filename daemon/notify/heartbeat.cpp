#include "notify/heartbeat.hpp"

#include <pthread.h>

#include <csignal>

#include "notify/transfer.hpp"

namespace steadyglow::notify {

Heartbeat::Heartbeat(HeartbeatSettings settings) : settings_(std::move(settings)) {
  thread_ = std::thread([this] { work(); });
}

Heartbeat::~Heartbeat() {
  is_aborted_ = true;
  {
    const std::lock_guard lock(mutex_);
    is_stopping_ = true;
  }
  wakes_.notify_all();
  thread_.join();
}

void Heartbeat::say(std::string trouble) {
  const std::lock_guard lock(mutex_);
  trouble_ = std::move(trouble);
  said_at_ = std::chrono::steady_clock::now();
}

Heartbeat::State Heartbeat::state() const {
  const std::lock_guard lock(mutex_);
  return state_;
}

void Heartbeat::work() {
  sigset_t signals;
  sigfillset(&signals);
  pthread_sigmask(SIG_BLOCK, &signals, nullptr);
  std::unique_lock lock(mutex_);
  while (!is_stopping_) {
    wakes_.wait_for(lock, settings_.every, [&] { return is_stopping_; });
    if (is_stopping_) return;
    const bool is_old = std::chrono::steady_clock::now() - said_at_ > settings_.word_lasts;
    state_.is_held = is_old || !trouble_.empty();
    state_.reason = is_old ? "the program's loop does not move" : trouble_;
    if (state_.is_held) continue;
    lock.unlock();
    Transfer transfer(settings_.url, is_aborted_);
    Result<long> status = fail(Fault::unavailable, "no memory for a transfer");
    if (transfer.handle() != nullptr) {
      curl_easy_setopt(transfer.handle(), CURLOPT_PROTOCOLS_STR, "http,https");
      transfer.set_body("");
      transfer.add_header("Expect:");
      status = transfer.run();
    }
    lock.lock();
    state_.is_failing = !status || *status < 200 || *status >= 300;
    if (!status) state_.reason = status.error().message;
    else if (state_.is_failing) state_.reason = "it answered with status " + std::to_string(*status);
  }
}

}  // namespace steadyglow::notify
