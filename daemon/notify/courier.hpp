#pragma once
/// Decides who is told what, when, and how loudly. A value machine: incidents, time and what became of messages go in;
/// messages come out.
///
///   low      nobody is told; the morning sheet has it
///   medium   one silent message to the first person
///   high     one loud message, again every repeat_minutes until somebody acknowledges, then to the next person
///   highest  all routes of the first person at once, every ring_minutes while it holds; the next person after
///            escalate_minutes
///
/// When the advice becomes another one (COME, then SLEEP), whoever was told is told that too.
///
/// More than one wake a week means that the limits are wrong, not that people should sleep less.
#include <cstdint>
#include <deque>
#include <functional>
#include <map>
#include <optional>
#include <string>
#include <vector>

#include "alarm/incidents.hpp"
#include "notify/message.hpp"
#include "notify/routes_toml.hpp"
#include "notify/sender.hpp"
#include "notify/words.hpp"

namespace steadyglow::notify {

/// A message that was once written: all that matters of it after a restart.
struct ToldBefore {
  std::string id;
  std::int64_t incident = 0;
  std::string person;
  std::string route;
  Purpose purpose = Purpose::alarm;
  alarm::Priority priority = alarm::Priority::low;
  std::string utc;
  bool is_delivered = false;
};

class Courier {
 public:
  /// `situation` is asked when a message is written. `mark` begins every id: it tells this installation from another.
  Courier(std::string mark, std::vector<PersonSettings> persons, CourierTiming timing, std::function<Situation(const alarm::Incident&)> situation);

  static constexpr std::size_t flood_messages = 10;            ///< in flood_period, besides `highest`
  static constexpr Duration flood_period = std::chrono::minutes{10};

  /// Call after every change of an incident and with time; sends what is due. `link` gives the address for an incident.
  std::vector<Message> step(const std::deque<alarm::Incident>& incidents, Timestamp now, const std::function<std::string(std::int64_t)>& link);
  void delivered(const Delivery& delivery, Timestamp now);
  /// One message to each route of every person.
  std::vector<Message> test(const std::string& who, const std::string& utc);

  /// Before the first step: what was said in an earlier life. What nobody took is told again.
  void restore(const std::vector<ToldBefore>& told);
  const std::vector<ToldBefore>& told() const { return told_; }
  const std::vector<PersonSettings>& persons() const { return persons_; }

 private:
  /// What was done about one incident.
  struct Case {
    alarm::Priority priority = alarm::Priority::low;  ///< that was told
    bool is_told = false;
    bool is_delivered = false;
    bool is_over_told = false;
    std::optional<Advice> advice;  ///< that was given last
    std::size_t person = 0;      ///< who was told last
    std::size_t refused = 0;     ///< how many routes have refused the word that is due
    Timestamp first_at{};
    Timestamp last_at{};
    std::optional<Timestamp> waits_for_proof_since;
  };
  void tell(const alarm::Incident& incident, Case& state, Purpose purpose, Timestamp now, const std::function<std::string(std::int64_t)>& link, std::vector<Message>& out);
  void write(const alarm::Incident& incident, const Situation& situation, Purpose purpose, const PersonSettings& person, const std::string& route, const std::string& link, std::vector<Message>& out);
  bool is_flooded(alarm::Priority priority, Purpose purpose, Timestamp now);

  std::string mark_;
  std::vector<PersonSettings> persons_;
  CourierTiming timing_;
  std::function<Situation(const alarm::Incident&)> situation_;
  std::map<std::int64_t, Case> cases_;
  std::vector<ToldBefore> told_;
  std::deque<Timestamp> sent_at_;
  std::uint64_t next_message_ = 1;
  std::vector<std::string> failed_routes_;   ///< on which a loud message was refused since; the next route is tried
};

}  // namespace steadyglow::notify
