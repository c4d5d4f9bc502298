#pragma once
/// The daemon's configuration as values: which meters hang on which bus, which point is read where, what may be switched.
#include <chrono>
#include <optional>
#include <string>
#include <vector>

#include "core/result.hpp"
#include "drivers/registry.hpp"
#include "notify/routes_toml.hpp"
#include "profile/plan.hpp"
#include "profile/profile.hpp"
#include "record/wiring.hpp"
#include "sensor/chain.hpp"

namespace steadyglow::app {

/// The channel that measures the terminals of a thermocouple.
struct JunctionBinding {
  std::size_t bus = 0;
  std::size_t meter = 0;
  std::size_t channel = 0;
  double to_celsius = 1.0;               ///< Celsius per uom of the channel
  std::chrono::milliseconds age_max{};   ///< run time; an older figure stands for nothing
};

/// A terminals' temperature is taken for so many of its meter's own poll periods.
inline constexpr int junction_polls_most = 3;

struct PointBinding {
  PointId point;
  std::size_t bus = 0;
  std::size_t meter = 0;
  std::size_t channel = 0;
  double factor = 1.0;  ///< of a chain without a sensor: value in the point's uom = factor * value in the channel's uom + offset
  sensor::Chain chain;  ///< from the channel's value to the point's
  std::optional<JunctionBinding> junction;
  sensor::RawBand plausible;  ///< of the channel
};

struct OutletBinding {
  std::size_t bus = 0;
  std::size_t meter = 0;
  std::size_t output = 0;
  friend bool operator==(const OutletBinding&, const OutletBinding&) = default;
};

/// A channel that belongs to the bench, not to a unit.
struct ChannelBinding {
  std::size_t bus = 0;
  std::size_t meter = 0;
  std::size_t channel = 0;
  sensor::Chain chain;  ///< to the quantity's base unit
};

inline constexpr double breaker_share_default = 0.8;  ///< of the breaker for a load of 3 h and more: NEC 210.20(A), seen second-hand; local code decides
inline constexpr double mains_steady_minutes_default = 10.0;
inline constexpr double stagger_seconds_default = 60.0;

/// One bench: what breaks all of its units, what breaks it when this program hangs, and what feeds it.
struct BenchSettings {
  std::string name;
  std::optional<OutletBinding> contactor;
  std::optional<OutletBinding> watchdog;
  double watchdog_every = 2.0;         ///< seconds, real time
  double watchdog_drops_after = 10.0;  ///< seconds, real time: as the device is set
  std::optional<ChannelBinding> smoke;  ///< a contact; behind its chain 0 is a closed loop, and anything else smoke, heat or a broken wire
  std::optional<ChannelBinding> mains;  ///< volts before the outlets
  std::optional<double> mains_nominal_volts;
  std::optional<double> breaker_amperes;
  double breaker_share = breaker_share_default;
  double mains_steady_minutes = mains_steady_minutes_default;  ///< before a policy may switch on again
  double stagger_seconds = stagger_seconds_default;            ///< between two units that a policy switches on
  std::string person_on_call;
};

struct UnitSettings {
  std::string name;
  std::string title;
  std::string serial;
  std::string bench;
  std::optional<std::size_t> bench_index;  ///< into Settings::benches; empty: no [[bench]] describes it
  std::string profile_name;
  std::string profile_text;  ///< as read, for the record
  std::string plan_name;
  std::string plan_text;
  profile::Profile profile;
  profile::Plan plan;
  std::optional<OutletBinding> outlet;
  std::vector<PointBinding> points;
  record::Wiring wiring;  ///< the same for the record: which meter reads what, and what is known of it
  bool starts_at_once = false;  ///< the demo's units only
};

struct Settings {
  std::string store_file;
  std::string listen_host;
  std::uint16_t listen_port = 0;
  std::optional<std::string> password_hash;
  std::vector<std::string> allowed_hosts;
  double clock_rate = 1.0;  ///< above 1 in the demo alone
  std::vector<drivers::BusSpec> buses;
  std::optional<notify::NotifySettings> notify;  ///< empty: nobody is told anything
  std::vector<BenchSettings> benches;
  std::vector<UnitSettings> units;
  std::vector<std::string> notes;  ///< what is no mistake and may still be meant otherwise
};

inline constexpr std::size_t units_max = 32;
inline constexpr std::size_t buses_max = 32;
inline constexpr std::size_t benches_max = 8;

/// Reads the file and all that it names. Every mistake of every file goes into `errors`, each once. `wants_units`: one without any is a mistake.
std::optional<Settings> load_settings(const std::string& file, Errors& errors, bool wants_units = true);

}  // namespace steadyglow::app
