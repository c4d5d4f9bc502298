#pragma once
/// Who watches a night: the engine, a technician's fixed limits, and a control chart. All hear the same rows.
#include <memory>
#include <span>
#include <string>
#include <vector>

#include "core/reading.hpp"
#include "profile/profile.hpp"

namespace steadyglow::detection {

enum class Weight { note, warn, trip };

struct Cry {
  double at = 0.0;  ///< s
  Weight weight = Weight::warn;
  std::vector<PointId> points;
  std::string kind;
  std::string message;
};

class Judge {
 public:
  virtual ~Judge() = default;
  virtual void take(Timestamp at, std::span<const Reading> readings) = 0;
  /// In order of time. A trip is the last: the unit is off then.
  std::vector<Cry> cries;
};

inline constexpr std::size_t judge_count = 3;
inline constexpr const char* judge_names[judge_count] = {"Steadyglow", "fixed limits", "CUSUM"};

std::unique_ptr<Judge> engine_judge(const profile::Profile& profile);
/// Warn and trip limits of the profile, three consecutive samples; low limits once the unit is warm.
std::unique_ptr<Judge> limits_judge(const profile::Profile& profile, double warm_up_seconds);
/// One-minute means against the mean and deviation of two hours after the warm-up, both sides, k 0.5, h 5 deviations, reset
/// after an alarm (NIST/SEMATECH e-Handbook, 6.3.2.3, tabular form; k and h usual there).
std::unique_ptr<Judge> cusum_judge(const profile::Profile& profile, double warm_up_seconds);

}  // namespace steadyglow::detection
