#pragma once
/// Decides who is told what, when, and how loudly. A value machine: incidents, time and what became of messages go in;
/// messages come out.
///
///   low      nobody is told; the morning sheet has it
///   medium   one silent message to the first person
///   high     one loud message, again every repeat_minutes until somebody acknowledges, then to the next person too
///   highest  all routes of the first person at once, every ring_minutes while it holds; the next person after
///            escalate_minutes
///
/// An incident is told once, and again only when its priority rises, when the advice becomes another one (COME, then
/// SLEEP), or when something loud comes after it was acknowledged. Units of one bench that trip together are told together.
/// A route that refuses gives way to the person's next one; what no route has taken is said again after a restart, what one
/// has taken is not. After a restart the times for repeating and for the next person begin anew.
///
/// More than one wake a week means that the limits are wrong, not that people should sleep less.
#include <cstddef>
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
  static constexpr Duration group_within = std::chrono::seconds{10};   ///< first words of one bench go together
  static constexpr std::size_t group_max = 16;                         ///< incidents in one message
  static constexpr Duration route_rests = std::chrono::minutes{10};    ///< a route that refused is not the first choice
  static constexpr Duration advice_settles = std::chrono::seconds{3};  ///< a milder advice has to hold so long
  static constexpr std::size_t told_max = 1000;
  static constexpr std::size_t cases_max = 1000;

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
    bool was_seen = false;         ///< acknowledged since its last word
    std::optional<Advice> advice;  ///< that was given last
    std::optional<Timestamp> milder_since;
    std::size_t person = 0;        ///< who was told last
    std::optional<Timestamp> first_at;  ///< of this round; nothing after a restart
    std::optional<Timestamp> last_at;
    std::optional<Timestamp> waits_for_proof_since;
  };
  /// A word that is due about one incident.
  struct Due {
    const alarm::Incident* incident = nullptr;
    Purpose purpose = Purpose::alarm;
    alarm::Priority priority = alarm::Priority::low;  ///< how loudly
    bool is_ringing = false;
    bool is_repeat_due = false;  ///< with an escalation: those who were told before hear it again
    std::size_t person = 0;      ///< up to whom
  };
  /// A word that its person has not got: the route refused, or the daemon ended before.
  struct Owed {
    std::vector<std::int64_t> incidents;
    Purpose purpose = Purpose::alarm;
    alarm::Priority priority = alarm::Priority::low;
    std::string person;
    std::vector<std::string> tried;
  };
  using Links = std::function<std::string(std::int64_t)>;

  std::optional<Due> due_of(const alarm::Incident& incident, Case& state, Timestamp now);
  std::optional<Due> first_word(const alarm::Incident& incident, Case& state, alarm::Priority waiting, Timestamp now);
  std::optional<Due> further_word(const alarm::Incident& incident, Case& state, alarm::Priority waiting, Timestamp now);
  bool is_advice_another(const alarm::Incident& incident, Case& state, Timestamp now);
  bool is_held_for_others(const Due& due, const std::deque<alarm::Incident>& incidents, Timestamp now) const;
  bool tell(const std::vector<Due>& group, Timestamp now, const Links& link, std::vector<Message>& out);
  void tell_owed(const std::deque<alarm::Incident>& incidents, Timestamp now, const Links& link, std::vector<Message>& out);
  void write(const std::vector<const alarm::Incident*>& incidents, const Owed& word, const std::string& route, Timestamp now, const Links& link, std::vector<Message>& out);
  std::size_t room(alarm::Priority priority, Purpose purpose, Timestamp now);
  bool is_resting(const std::string& route, Timestamp now) const;
  const PersonSettings* find_person(const std::string& name) const;
  void remember(ToldBefore told);
  void restore_one(const ToldBefore& told);

  std::string mark_;
  std::vector<PersonSettings> persons_;
  CourierTiming timing_;
  std::function<Situation(const alarm::Incident&)> situation_;
  std::map<std::int64_t, Case> cases_;
  std::vector<Owed> owed_;
  std::vector<ToldBefore> told_;      ///< one for each incident that a message tells of
  std::map<std::string, std::vector<std::string>> tried_;  ///< by message: the routes that refused its word before
  std::deque<Timestamp> sent_at_;     ///< but for the highest
  std::uint64_t next_message_ = 1;
  std::map<std::string, Timestamp> refused_at_;        ///< by route
  std::map<std::string, Timestamp> first_word_at_;     ///< by bench and priority
};

}  // namespace steadyglow::notify
