#pragma once
/// The instruments of one bus: each file is parsed once for all of its meters, and each of its mistakes is told once for all buses.
#include <map>
#include <optional>
#include <string>
#include <utility>

#include "drivers/bus_spec.hpp"
#include "drivers/instrument_toml.hpp"

namespace steadyglow::drivers {

template <class Instrument>
class ParsedOnce {
 public:
  /// `parse(text, file, errors)`: the driver's own reader. Nothing comes back if the file had any mistake.
  template <class Parse>
  const std::optional<Instrument>& get(const InstrumentText& instrument, Errors& errors, Parse parse) {
    const auto known = instruments_.find(instrument.file);
    if (known != instruments_.end()) return known->second;
    Errors found;
    auto parsed = parse(instrument.text, instrument.file, found);
    append_new(errors, std::move(found));
    return instruments_.emplace(instrument.file, std::move(parsed)).first->second;
  }

 private:
  std::map<std::string, std::optional<Instrument>> instruments_;
};

}  // namespace steadyglow::drivers
