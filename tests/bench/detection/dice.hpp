#pragma once
/// Random numbers that are the same everywhere: the distributions are our own, for the standard leaves theirs to the library.
#include <algorithm>
#include <cmath>
#include <cstdint>
#include <numbers>
#include <random>
#include <utility>
#include <vector>

namespace steadyglow::detection {

class Dice {
 public:
  explicit Dice(std::uint64_t seed) : engine_(seed * 0x9E3779B97F4A7C15ULL + 0x632BE59BD9B4E019ULL) { engine_.discard(16); }

  double uniform() { return static_cast<double>(engine_() >> 11) * 0x1.0p-53; }
  double uniform(double low, double high) { return low + (high - low) * uniform(); }
  /// Even over the logarithm: rates and durations of very different size.
  double spread(double low, double high) { return low * std::pow(high / low, uniform()); }
  bool chance(double probability) { return uniform() < probability; }
  std::size_t below(std::size_t count) { return std::min(count - 1, static_cast<std::size_t>(uniform() * static_cast<double>(count))); }
  int between(int low, int high) { return low + static_cast<int>(below(static_cast<std::size_t>(high - low + 1))); }
  /// Mean 0, deviation 1 (Box and Muller, Annals of Mathematical Statistics 29, 1958).
  double normal() {
    if (has_spare_) {
      has_spare_ = false;
      return spare_;
    }
    const double radius = std::sqrt(-2.0 * std::log(1.0 - uniform()));
    const double angle = 2.0 * std::numbers::pi * uniform();
    spare_ = radius * std::sin(angle);
    has_spare_ = true;
    return radius * std::cos(angle);
  }
  Dice split() { return Dice(engine_()); }
  template <class T>
  void shuffle(std::vector<T>& items) {
    for (std::size_t i = items.size(); i > 1; --i) std::swap(items[i - 1], items[below(i)]);
  }

 private:
  std::mt19937_64 engine_;
  double spare_ = 0.0;
  bool has_spare_ = false;
};

/// What wanders about zero and is pulled back: deviation `sigma`, memory `tau_seconds` (Ornstein and Uhlenbeck).
class Wander {
 public:
  Wander(double sigma, double tau_seconds) : sigma_(sigma), tau_(tau_seconds) {}
  double step(double dt, Dice& dice) {
    const double keep = std::exp(-dt / tau_);
    value_ = value_ * keep + sigma_ * std::sqrt(1.0 - keep * keep) * dice.normal();
    return value_;
  }
  double value() const { return value_; }

 private:
  double sigma_;
  double tau_;
  double value_ = 0.0;
};

}  // namespace steadyglow::detection
