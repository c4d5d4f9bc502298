#pragma once
/// What comes out of the engine.
#include <string>
#include <variant>

#include "alarm/alarm.hpp"
#include "profile/plan.hpp"
#include "soak/finding.hpp"

namespace steadyglow::soak {

/// An alarm is a finding that needs a person. One per (kind, point); it outlives the finding until somebody has seen it.
struct AlarmRecord {
  std::int64_t id = 0;  ///< within the run, from 1
  alarm::Alarm alarm;
  Finding finding;      ///< as last raised
  Timestamp raised_at{};
  std::optional<Timestamp> cleared_at;
  std::string acknowledged_by;
  std::string note;
};

/// An order to open the outlet. The engine has no order that closes one: only a person switches on.
struct OpenOutlet {
  Timestamp at{};
  int attempt = 1;       ///< 2: the first did not work
  bool is_trip = false;  ///< false: the plan or a person wanted it; a trip also locks
  std::string reason;
};

struct StageChange {
  Timestamp at{};
  std::size_t stage = 0;  ///< index into the plan; plan.stages.size(): the plan is done
  std::string text;
};

enum class VerdictWord : std::uint8_t { pass, pass_with_remarks, incomplete, fail };
std::string_view to_word(VerdictWord word);

/// Proposed by the engine; a person signs.
struct Verdict {
  Timestamp at{};
  VerdictWord word = VerdictWord::incomplete;
  std::vector<std::string> reasons;
};

using Event = std::variant<Finding, AlarmRecord, OpenOutlet, StageChange, Verdict>;

}  // namespace steadyglow::soak
