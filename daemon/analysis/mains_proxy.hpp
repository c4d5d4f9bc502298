#pragma once
/// The mains as the unit itself shows them, where nobody measures them: what supplies, heaters, currents and watts do together.
#include <array>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>

namespace steadyglow::analysis {

/// Each group of figures (one role) votes with its change divided by its usual exponent; the median vote counts, so that one
/// group in trouble is outvoted. Of two groups the smaller change counts, of one nothing can be said.
class MainsProxy {
 public:
  static constexpr std::size_t groups_max = 8;
  static constexpr std::int64_t settled_after_minutes = 25;

  struct Vote {
    std::optional<double> ln_value;  ///< of the group in this minute; nothing: it abstains
    double exponent = 1.0;
  };
  void begin(std::int64_t minute);
  /// ln(V / V reference), the reference being the mains when the unit had warmed up; nothing while it cannot be told.
  std::optional<double> step(std::int64_t minute, std::span<const Vote> votes);

 private:
  std::int64_t begun_ = 0;
  std::array<std::optional<double>, groups_max> reference_{};
};

}  // namespace steadyglow::analysis
