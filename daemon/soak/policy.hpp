#pragma once
/// What a person decided for one run before they left it.
#include <optional>
#include <string>

#include "core/result.hpp"
#include "core/timestamp.hpp"

namespace steadyglow::soak {

/// After the supply was lost: nothing switches on by itself, unless the person wanted just that for this run.
enum class AfterMains : std::uint8_t { stay_off, staged };
/// A limit will be reached before a person is back.
enum class OnForecast : std::uint8_t { tell, cut };

struct Policy {
  std::string set_by;                            ///< a name; empty: nobody set anything, the defaults hold
  bool is_unattended = false;                    ///< false: somebody stays near it, and the record says so
  std::optional<Timestamp> person_back_at;       ///< run time; empty: not known
  AfterMains after_mains = AfterMains::stay_off;
  OnForecast on_forecast = OnForecast::tell;
  double cut_at_share = 0.9;                     ///< of the way to the trip limit, when on_forecast is cut: common practice, no source
  bool is_cut_when_stuck = false;                ///< a deck whose tape or motor stands while it draws the power of play
  bool wakes_for_forecast = false;               ///< the person wants to be woken for a forecast cut of this unit
};

/// One JSON object as text, and back; unknown or wrong fields are errors with a hint.
std::string to_json_text(const Policy& policy);
Result<Policy> policy_from_json(const std::string& text);

}  // namespace steadyglow::soak
