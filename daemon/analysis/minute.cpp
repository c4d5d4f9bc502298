#include "analysis/minute.hpp"

#include <span>

#include "analysis/statistics.hpp"

namespace steadyglow::analysis {

std::optional<Minute> MinuteCollector::add(Timestamp at, double value) {
  const std::int64_t index = minute_of(at);
  std::optional<Minute> closed;
  if (index != index_) {
    closed = close();
    index_ = index;
  }
  if (seen_ % stride_ == 0) {
    if (kept_ == samples_max) {
      for (std::size_t i = 0; i < samples_max / 2; ++i) samples_[i] = samples_[2 * i];
      kept_ = samples_max / 2;
      stride_ *= 2;
    }
    if (seen_ % stride_ == 0) samples_[kept_++] = value;
  }
  ++seen_;
  return closed;
}

std::optional<Minute> MinuteCollector::close_before(Timestamp now) {
  if (index_ < 0 || minute_of(now) <= index_) return std::nullopt;
  return close();
}

std::optional<Minute> MinuteCollector::close() {
  std::optional<Minute> closed;
  if (kept_ > 0) {
    const Robust robust = robust_of(std::span<const double>(samples_.data(), kept_));
    double sum = 0.0;
    for (std::size_t i = 0; i < kept_; ++i) sum += samples_[i];
    closed = Minute{index_, robust.level, robust.spread, sum / static_cast<double>(kept_), seen_};
  }
  clear();
  return closed;
}

void MinuteCollector::clear() {
  kept_ = 0;
  seen_ = 0;
  stride_ = 1;
  index_ = -1;
}

}  // namespace steadyglow::analysis
