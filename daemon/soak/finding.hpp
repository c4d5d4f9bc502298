#pragma once
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "alarm/fact.hpp"
#include "core/ids.hpp"
#include "core/timestamp.hpp"

namespace steadyglow::soak {

/// What the analysis noticed. The words are part of the outside surface.
enum class Kind : std::uint8_t {
  limit, drift, runaway, imbalance, step, intermittent, rise, settling, sensor, no_data, mains, outlet, speed
};
inline constexpr std::uint8_t kind_count = 13;
std::string_view to_word(Kind kind);

/// note: for the morning sheet; warn: a person should look; trip: the outlet is opened.
enum class Severity : std::uint8_t { note, warn, trip };
std::string_view to_word(Severity severity);

/// Which of a point's figures a finding speaks of: they come and go apart. meter: what its readings say of the meter.
enum class Aspect : std::uint8_t { reading, dissipation, meter };

struct Finding {
  Kind kind = Kind::limit;
  Severity severity = Severity::note;
  bool is_raised = true;         ///< false: what was raised before is over
  Timestamp at{};
  std::vector<PointId> points;   ///< the one that it is about first; empty: the unit as a whole
  std::optional<double> value;   ///< in uom
  std::optional<double> limit;   ///< in uom
  std::string_view uom;          ///< static storage; empty when there is no value
  Aspect aspect = Aspect::reading;
  std::string message;           ///< one sentence that a person can believe or check
  std::optional<alarm::Priority> priority{};  ///< of its alarm; empty: what its severity asks for
};

}  // namespace steadyglow::soak
