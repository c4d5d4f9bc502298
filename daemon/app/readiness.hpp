#pragma once
/// "Ready to leave?": one list, each line yes or no with its reason and what mends it. "No" is a normal answer.
#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "app/facts.hpp"
#include "app/settings.hpp"

namespace steadyglow::app {

enum class Answer { yes, no, not_needed };
std::string_view to_word(Answer answer);

struct ReadyItem {
  std::string key;
  std::string title;
  Answer answer = Answer::no;
  std::string reason;
  std::string action;  ///< what a person does about a "no"
};

/// What is known at this moment. Currents in A.
struct ReadySituation {
  std::int64_t utc_ms = 0;
  struct PointNow {
    std::string name;
    bool is_protective = false;
    bool has_limit = false;     ///< a trip or warning limit
    bool is_good = false;       ///< its newest reading is good and fresh
    std::string why;            ///< its quality, if not
  };
  std::vector<PointNow> points;
  std::string clips_touched;      ///< "12 of 14 clips touched ..."; empty when nobody touched any
  std::string profile_checksum;
  bool has_contactor = false;
  bool is_contactor_closed = false;
  ContactFact relay;
  ContactFact contactor;
  bool has_watchdog = false;
  std::optional<std::string> watchdog_trouble;  ///< why it is not fed; empty while it is
  double bench_amperes = 0.0;                   ///< of the other units of the bench
  std::optional<double> unit_amperes;           ///< of this one, measured or nominal
  bool has_smoke_contact = false;
  std::optional<bool> is_smoke;                 ///< empty: its contact cannot be read
  std::vector<std::string> persons;             ///< who can be told, in order
  std::vector<std::string> routes_of_first;     ///< routes of the first of them
  bool was_attended_for_an_hour = false;        ///< this unit, in this or an earlier run, without a trip since
  bool has_heartbeat = false;
};

inline constexpr std::int64_t notify_test_hours_max = 24;
inline constexpr std::int64_t rehearsal_days_max = 30;   ///< common practice, no source
inline constexpr std::int64_t safety_test_days_max = 30; ///< common practice, no source
inline constexpr std::int64_t cautions_days_max = 90;    ///< common practice, no source

std::vector<ReadyItem> ready_to_leave(const UnitSettings& unit, const BenchSettings* bench, const Facts& facts, const std::string& who, const ReadySituation& now);
bool is_ready(const std::vector<ReadyItem>& items);
/// The titles of the red ones with their reasons, for one sentence.
std::string reasons_of(const std::vector<ReadyItem>& items);

}  // namespace steadyglow::app
