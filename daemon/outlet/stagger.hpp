#pragma once
/// Units of one bench are switched on one after the other: a transformer draws many times its current in its first cycle,
/// and two together trip the breaker or weld a contact.
#include <algorithm>
#include <deque>
#include <chrono>
#include <optional>
#include <string>

namespace steadyglow::outlet {

using Instant = std::chrono::steady_clock::time_point;

class Stagger {
 public:
  explicit Stagger(std::chrono::milliseconds distance) : distance_(distance) {}

  /// Asks for a turn. Asking twice gives one turn.
  void ask(const std::string& name) {
    if (std::find(waiting_.begin(), waiting_.end(), name) == waiting_.end()) waiting_.push_back(name);
  }
  /// It was ordered off meanwhile: it loses its turn.
  void withdraw(const std::string& name) { std::erase(waiting_, name); }
  /// Whose turn it is now, if the last one was long enough ago.
  std::optional<std::string> next(Instant now) {
    if (waiting_.empty() || (last_ && now - *last_ < distance_)) return std::nullopt;
    last_ = now;
    std::string name = std::move(waiting_.front());
    waiting_.pop_front();
    return name;
  }
  bool is_asked() const { return !waiting_.empty(); }
  /// Who is next; somebody must have asked.
  const std::string& first() const { return waiting_.front(); }
  bool waits(const std::string& name) const { return std::find(waiting_.begin(), waiting_.end(), name) != waiting_.end(); }

 private:
  std::chrono::milliseconds distance_;
  std::deque<std::string> waiting_;
  std::optional<Instant> last_;
};

}  // namespace steadyglow::outlet
