#pragma once
/// A first configuration round meters that were just found: one bus as `scan` or `probe` prints it, and one unit whose points are all
/// channels of its meters. The points are looked at and have no limit: nothing is watched until a person has written what is normal.
#include <string>
#include <vector>

#include "core/result.hpp"
#include "drivers/bus_spec.hpp"

namespace steadyglow::app {

struct StarterInstrument {
  std::string name;              ///< as a meter names it
  drivers::InstrumentText text;  ///< `file`: for its mistakes
};

struct StarterParts {
  std::string bus_file;   ///< for its mistakes
  std::string bus_text;   ///< one or more [[bus]]
  std::vector<StarterInstrument> instruments;  ///< those that were found
  std::string instrument_folder;  ///< where the bus's other instruments are; may be empty
  std::string listen = "127.0.0.1:8460";
};

/// A module whose registers were found one by one, by `scan`: where it is, and its [[channel]] lines as they were printed.
struct FoundModule {
  std::string place_lines;    ///< keys of a [[bus]]: driver, host and port, or driver, device and so on
  int address = 1;
  std::string channels_file;  ///< for its mistakes
  std::string channels_text;
  double timeout_seconds = 0.5;
};
inline constexpr const char* found_instrument = "found-module";
/// The [[bus]] and the instrument file for it.
StarterParts parts_of(const FoundModule& module);

struct StarterFile {
  std::string name;  ///< below the new folder
  std::string text;
};

inline constexpr const char* starter_config = "steadyglow.toml";

/// Every mistake of the bus and its instruments goes into `errors`; then no file comes back.
std::vector<StarterFile> starter_files(const StarterParts& parts, Errors& errors);

}  // namespace steadyglow::app
