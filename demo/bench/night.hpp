#pragma once
/// What happens on the virtual bench in one night: a script, read strictly from TOML.
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "core/result.hpp"

namespace steadyglow::demo {

/// The units that the bench can simulate; each has its own place at the meters.
enum class Model : std::uint8_t { brindlecombe35, fennimark120, hollin_p4 };
inline constexpr std::size_t model_count = 3;
std::string_view to_word(Model model);

enum class FaultKind : std::uint8_t {
  gassy_tube,    ///< one tube's grid draws current through its feed resistor, ever more of it
  bias_creep,    ///< one channel's idle current rises slowly and evenly
  welded_relay,  ///< the contact stays closed whatever the coil says
};

/// Times are seconds of bench time; bench time 0 is the night's start.
struct ScriptedFault {
  Model unit = Model::brindlecombe35;
  FaultKind kind = FaultKind::gassy_tube;
  double at = 0.0;
  int tube = 1;                   ///< gassy_tube: 1 to 4
  double doubling_minutes = 0.0;  ///< gassy_tube: of the gas at nominal dissipation; a hotter tube is faster
  bool is_left = true;            ///< bias_creep
  double percent_per_hour = 0.0;  ///< bias_creep: of the nominal idle current
};

struct MainsStep {
  double at = 0.0;
  double volts = 0.0;  ///< added from then on
};

struct MainsSag {
  double at = 0.0;
  double seconds = 0.0;
  double percent = 0.0;  ///< of the voltage that is missing meanwhile
};

/// The supply of the whole bench fails: meters and relays are dead meanwhile, and come back with their contacts open.
struct MainsFailure {
  double at = 0.0;
  double minutes = 0.0;
};

struct MainsScript {
  double nominal_volts = 230.0;
  double low_volts = 0.0;   ///< apart from sags it stays within these
  double high_volts = 400.0;
  double wander_volts = 0.0;  ///< standard deviation of the slow wander
  std::vector<MainsStep> steps;
  std::vector<MainsSag> sags;
  std::vector<MainsFailure> failures;
};

/// Warm or cold air that comes for a while and goes again: a thermostat, a door.
struct RoomEvent {
  double at = 0.0;
  double minutes = 0.0;
  double kelvin = 0.0;
};

struct RoomScript {
  double evening_celsius = 23.0;
  double night_celsius = 23.0;
  double heating_off_at = 0.0;
  double heating_on_at = 0.0;
  std::vector<RoomEvent> events;
};

/// How badly the wires behave. Shares of all requests; the delay is in real time.
struct LinkScript {
  double dropped_share = 0.0;
  double late_share = 0.0;
  double late_seconds = 0.0;
};

/// What the relay module does besides its eight outlets.
struct WiringScript {
  bool has_contactor = false;        ///< all units hang behind the bench contactor too
  double watchdog_seconds = 10.0;    ///< real time: once it was fed, it opens every contact when the feeding stops
  std::optional<double> smoke_at;    ///< the smoke contact opens
};

struct Night {
  std::string title;
  double starts_seconds = 0.0;  ///< of the day
  std::uint64_t seed = 1;
  std::vector<Model> units;
  MainsScript mains;
  RoomScript room;
  LinkScript link;
  WiringScript wiring;
  std::vector<ScriptedFault> faults;

  bool has(Model model) const;
};

inline constexpr std::size_t events_max = 256;
inline constexpr double day_seconds = 86400.0;

/// Reads a night. Every mistake goes into `errors` with file:line:column and a hint; nothing comes back if there was any.
std::optional<Night> parse_night(std::string_view text, std::string_view file, Errors& errors);

/// "02:40:00", the time of day at `seconds` of bench time.
std::string time_of_day(const Night& night, double seconds);

}  // namespace steadyglow::demo
