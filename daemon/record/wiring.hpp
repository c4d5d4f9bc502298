#pragma once
/// Which meter read which point of a run, and what was known of that meter: one event of the run, written at its start.
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "core/result.hpp"
#include "profile/profile.hpp"

namespace steadyglow::record {

inline constexpr std::string_view event_kind_wiring = "wiring";

/// Every text may be empty: not stated.
struct Meter {
  std::string name;             ///< as in the configuration
  std::string instrument;       ///< its register map
  std::string where;            ///< bus and address or device, for people
  std::string serial;
  std::string identification;   ///< what it answers when asked who it is
  std::string calibrated;       ///< RFC 3339 full-date
  std::string calibration_due;  ///< RFC 3339 full-date
  friend bool operator==(const Meter&, const Meter&) = default;
};

/// How far a point can be off at one of its values: standard uncertainty, in the point's uom.
struct ValueDoubt {
  double value = 0.0;
  double standard = 0.0;
  friend bool operator==(const ValueDoubt&, const ValueDoubt&) = default;
};

/// One point of the profile at one channel.
struct Wire {
  std::string point;
  std::size_t meter = 0;  ///< into Wiring::meters
  std::string channel;
  double factor = 1.0;    ///< value in the point's uom = factor * value in the channel's, where no sensor stands between
  std::optional<profile::Accuracy> accuracy;  ///< of the meter, in the point's uom; behind a sensor only its resolution
  std::string chain{};                    ///< what stands between them, in words; empty: nothing
  std::vector<ValueDoubt> doubts{};       ///< rising by value; empty: `accuracy` says it all
  std::vector<std::string> doubt_without{};  ///< what was not stated, and is in neither

  /// Between two values the line between their doubts. Nothing beyond the outermost, and when there are none.
  std::optional<double> standard_uncertainty(double value) const;
};

struct Wiring {
  double clock_rate = 1.0;  ///< above 1 in the demo alone
  std::vector<Meter> meters;
  std::vector<Wire> wires;

  const Wire* find(std::string_view point) const;
};

/// One JSON object as text, and back. An event of a newer program may have more keys: they are let pass.
std::string to_json_text(const Wiring& wiring);
Result<Wiring> wiring_from_json(const std::string& text);

}  // namespace steadyglow::record
