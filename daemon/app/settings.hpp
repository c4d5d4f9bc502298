#pragma once
/// The daemon's configuration as values: which meters hang on which bus, which point is read where, what may be switched.
#include <optional>
#include <string>
#include <vector>

#include "core/result.hpp"
#include "drivers/registry.hpp"
#include "profile/plan.hpp"
#include "profile/profile.hpp"

namespace steadyglow::app {

struct PointBinding {
  PointId point;
  std::size_t bus = 0;
  std::size_t meter = 0;
  std::size_t channel = 0;
  double factor = 1.0;  ///< value in the point's uom = factor * value in the channel's uom
};

struct OutletBinding {
  std::size_t bus = 0;
  std::size_t meter = 0;
  std::size_t output = 0;
};

struct UnitSettings {
  std::string name;
  std::string title;
  std::string serial;
  std::string bench;
  std::string profile_name;
  std::string profile_text;  ///< as read, for the record
  std::string plan_name;
  std::string plan_text;
  profile::Profile profile;
  profile::Plan plan;
  std::optional<OutletBinding> outlet;
  std::vector<PointBinding> points;
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
  std::vector<UnitSettings> units;
};

inline constexpr std::size_t units_max = 32;
inline constexpr std::size_t buses_max = 32;

/// Reads the file and all that it names. Every mistake of every file goes into `errors`, each once.
std::optional<Settings> load_settings(const std::string& file, Errors& errors);

}  // namespace steadyglow::app
