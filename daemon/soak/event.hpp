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
  alarm::Priority priority = alarm::Priority::low;
  alarm::Cause cause = alarm::Cause::unit;
  std::string changed_by;                  ///< of the newest transition; empty: the program
  std::string why;
  std::optional<Timestamp> shelved_until;
};

/// An order to open the outlet.
struct OpenOutlet {
  Timestamp at{};
  int attempt = 1;       ///< 2: the first did not work
  bool is_trip = false;  ///< false: the plan or a person wanted it; a trip also locks
  std::string reason;
};

/// The unit still draws power though its relay was ordered open twice: the contactor of its bench is to be opened.
struct OpenBench {
  Timestamp at{};
  std::string reason;
};

/// An order to close the outlet. It follows an act of a person alone: go_on, now, or the policy that they set for this run,
/// whose turn has come.
struct CloseOutlet {
  Timestamp at{};
  std::string who;
  std::string reason;
};

/// The policy or the plan wants the unit on again; it waits for its turn, which comes back as the act go_on.
struct SwitchOnDue {
  Timestamp at{};
  std::string who;     ///< who set it
  std::string reason;
};

/// What is left in the supply after the outlet opened.
struct BleedDown {
  Timestamp at{};
  double volts = 0.0;
  bool is_safe = false;  ///< below what may be touched; else it takes longer than planned
  std::string text;
};

/// From here on these points are judged against levels of their own.
struct SegmentChange {
  Timestamp at{};
  int number = 0;
  std::vector<PointId> points;  ///< empty: all of the unit's
  std::string who;
  std::string why;
};

/// How the unit started, compared with its first start.
struct StartUp {
  Timestamp at{};
  int cycle = 0;
  bool is_like_the_first = true;
  std::string text;
};

struct Signature {
  Timestamp at{};
  std::string who;
  std::string word;
  std::string note;
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

/// A stretch without power, or without this program.
struct Interruption {
  Timestamp from{};
  std::optional<Timestamp> to;
  std::string why;
  bool is_planned = false;
};

using Event = std::variant<Finding, AlarmRecord, OpenOutlet, OpenBench, CloseOutlet, SwitchOnDue, BleedDown, SegmentChange, StartUp, StageChange, Verdict, Signature>;

}  // namespace steadyglow::soak
