#pragma once
/// What is true of the bench between runs, as the journal tells it: who has rehearsed, tested, entered and accepted what,
/// and which contact is not to be trusted. Only ever added to; the newest word counts.
#include <cstdint>
#include <map>
#include <optional>
#include <string>
#include <vector>

#include "store/rows.hpp"

namespace steadyglow::app {

/// A contact as the journal knows it. `output` is "meter.output".
struct ContactFact {
  bool is_defective = false;
  bool is_unproven = false;  ///< repaired and not rehearsed since
  std::string why;
};

struct RehearsalFact {
  std::string bench;
  std::string unit;
  bool is_passed = false;
  std::string text;
  std::string who;
  std::int64_t utc_ms = 0;
};

struct UnitFact {
  std::string unit;
  std::string serial;
  std::string kind;  ///< safety_test | limits_reviewed | clips_touched
  std::string who;
  std::string text;
  std::string of;    ///< limits_reviewed: checksum of the profile that was reviewed
  std::int64_t utc_ms = 0;
};

struct NotifyTestFact {
  std::string route;
  bool is_delivered = false;
  std::string error;
  std::int64_t utc_ms = 0;
};

struct CautionsFact {
  std::string who;
  std::vector<std::string> accepted;
  std::int64_t utc_ms = 0;
};

/// Somebody touched a clip and ticked it off.
struct ClipFact {
  std::string unit;
  std::string serial;
  std::string point;
  std::string channel;   ///< where it hung then: "analog_a.ch1"
  std::string who;
  std::string text;
  bool is_seen = false;  ///< the trace was seen to move alone when it was ticked
  std::int64_t utc_ms = 0;
};

struct TickFact {
  std::string item;
  std::string who;
  std::int64_t utc_ms = 0;
};

/// A short checksum of a text (BLAKE2b, 16 bytes, hexadecimal): tells whether a profile is still the one that was reviewed.
std::string checksum_of(const std::string& text);

class Facts {
 public:
  /// Takes one row of the journal; kinds that are no facts are passed over.
  void take(const store::JournalRow& row);

  ContactFact contact(const std::string& output) const;
  /// Why only a person at the bench may close this output; nothing while anybody may.
  std::optional<std::string> interlock(const std::string& output) const;
  const RehearsalFact* rehearsal(const std::string& bench, const std::string& unit) const;
  const UnitFact* unit(const std::string& unit, const std::string& serial, const std::string& kind) const;
  const ClipFact* clip(const std::string& unit, const std::string& serial, const std::string& point) const;
  const CautionsFact* cautions(const std::string& who) const;
  const TickFact* tick(const std::string& item) const;
  const std::map<std::string, NotifyTestFact>& notify_tests() const { return notify_tests_; }

 private:
  std::map<std::string, ContactFact> contacts_;
  std::map<std::string, std::string> interlocks_;   ///< by output: the reason
  std::map<std::string, RehearsalFact> rehearsals_;  ///< by bench/unit
  std::map<std::string, UnitFact> units_;            ///< by unit/serial/kind
  std::map<std::string, ClipFact> clips_;            ///< by unit/serial/point
  std::map<std::string, NotifyTestFact> notify_tests_;
  std::map<std::string, CautionsFact> cautions_;
  std::map<std::string, TickFact> ticks_;
};

}  // namespace steadyglow::app
