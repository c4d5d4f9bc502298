#pragma once
#include <optional>

#include "core/timestamp.hpp"

namespace steadyglow::soak {

/// What the supply does to the unit: there, sagging, or gone.
class MainsWatch {
 public:
  /// EN 50160: 10 % for 95 % of the ten-minute means (secondary source).
  static constexpr double band = 0.10;
  static constexpr double sag_band = 0.12;      ///< beyond: figures that follow the mains are not judged meanwhile
  static constexpr double gone_share = 0.5;     ///< of nominal: less is no supply
  static constexpr double back_share = 0.85;
  static constexpr Duration gone_after = std::chrono::seconds{1};
  static constexpr Duration back_after = std::chrono::seconds{10};
  static constexpr Duration outside_after = std::chrono::seconds{60};
  static constexpr Duration sag_most = std::chrono::minutes{3};
  static constexpr Duration sag_tail = std::chrono::seconds{30};

  enum class Change { gone, back, outside, inside };

  void set_nominal(double volts) { nominal_ = volts; }
  std::optional<double> nominal() const { return nominal_; }
  /// A good reading of the mains voltage, in volts.
  std::optional<Change> step(Timestamp at, double volts);
  /// The unit was off: what its mains did meanwhile is over.
  void forget() {
    const auto nominal = nominal_;
    *this = MainsWatch{};
    nominal_ = nominal;
  }
  bool is_gone() const { return is_gone_; }
  bool is_outside() const { return is_outside_; }
  /// Sagging or swelling now, or so recently that the unit still feels it.
  /// A sag or a swell that has just begun: what is measured meanwhile belongs to it. One that lasts is the weather.
  bool is_sagging(Timestamp now) const { return is_disturbed(now) && disturbed_since_ && now - *disturbed_since_ < sag_most; }
  bool is_disturbed(Timestamp now) const { return is_gone_ || (disturbed_at_ && now - *disturbed_at_ < sag_tail); }

 private:
  std::optional<double> nominal_;
  bool is_gone_ = false;
  bool is_outside_ = false;
  std::optional<Timestamp> gone_since_;
  std::optional<Timestamp> back_since_;
  std::optional<Timestamp> outside_since_;
  std::optional<Timestamp> disturbed_at_;
  std::optional<Timestamp> disturbed_since_;
};

}  // namespace steadyglow::soak
