#pragma once
/// What a message says, in the order in which a woken person needs it: which unit, is it off and how is that proven, what
/// moved, alone or with others, mains and room, doubts about meters, what is still charged, smoke and neighbours, and then
/// one word: SLEEP, LOOK or COME. Plain sentences, no markup.
///
///   SLEEP  proven off and nothing burns, or it can wait
///   LOOK   not known: blind, not proven, or a smoke contact that cannot be read
///   COME   ordered off and not off, a contactor that fails, smoke or heat
#include <optional>
#include <string>
#include <vector>

#include "alarm/incidents.hpp"
#include "notify/message.hpp"

namespace steadyglow::notify {

enum class Off : std::uint8_t { on, waiting, proven, failed, unprovable };

/// One unit as it stands when the message is written.
struct UnitSituation {
  std::string name;
  std::string title;
  std::string bench;
  Off off = Off::on;
  std::string off_text;    ///< "off, proven: 0.02 A 1.1 s after the order"
  std::string bleed_text;  ///< "b_plus_v 31 V, below 50 V ..."
  std::string surroundings;  ///< "mains 230 V, room 15.2 degC"
  std::vector<std::string> doubts;      ///< meters and clips that are not to be believed now
  std::vector<std::string> neighbours;  ///< other units of the bench and how they stand
};

struct Situation {
  std::string clock;  ///< "02:43:28", local; for the text
  std::string utc;
  std::vector<UnitSituation> units;  ///< those of the incident
  std::optional<bool> is_smoke;      ///< nothing: no contact, or it cannot be read
  bool has_smoke_contact = false;
};

/// One incident of those that a message tells of.
struct Told {
  const alarm::Incident* incident = nullptr;
  Situation now;
  std::string link;  ///< may be empty
};

Advice advice_of(const alarm::Incident& incident, const Situation& now);
/// Smoke or heat.
bool is_burning(const alarm::Incident& incident, const Situation& now);
/// Fills in advice, utc, subject, text and facts. Several incidents: units of one bench, told in one message.
void write_words(Message& message, const std::vector<Told>& told);
/// The same of one; the priority too.
void write_words(Message& message, const alarm::Incident& incident, const Situation& now);
/// One line for lists: "Brindlecombe 35: OFF, proven".
std::string title_of(const alarm::Incident& incident, const Situation& now);
/// Is a cut among its alarms that is not proven, or that has failed and may yet be made good by the bench contactor?
bool awaits_proof(const Situation& now);

}  // namespace steadyglow::notify
