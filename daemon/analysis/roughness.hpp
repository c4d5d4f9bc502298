#pragma once
/// How restless a reading is from one to the next, against its own last hours: a crackling joint, a noisy tube.
#include <array>
#include <cstddef>
#include <optional>

namespace steadyglow::analysis {

class Roughness {
 public:
  static constexpr std::size_t readings_per_window = 12;
  static constexpr std::size_t windows_kept = 96;
  static constexpr std::size_t windows_least = 24;
  static constexpr double times_rougher = 4.0;
  static constexpr int windows_rough = 4;

  /// least: steps smaller than this (digits of the meter) are no restlessness. True while it is rough.
  bool step(double value, double least);
  double times() const { return times_; }
  void clear() { *this = Roughness{}; }

 private:
  std::array<float, readings_per_window> steps_{};
  std::size_t filled_ = 0;
  std::array<float, windows_kept> windows_{};
  std::size_t next_ = 0;
  std::size_t kept_ = 0;
  std::optional<double> before_;
  int rough_ = 0;
  double times_ = 0.0;
};

}  // namespace steadyglow::analysis
