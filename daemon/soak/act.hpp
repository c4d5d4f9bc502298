#pragma once
/// What somebody did to a run: a person at the page or the command line, or the bench itself. Stored as an input of the
/// run, so that feeding the store again gives the same.
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "core/result.hpp"
#include "core/timestamp.hpp"

namespace steadyglow::soak {

enum class ActKind : std::uint8_t {
  // of a person
  acknowledge,     ///< alarm
  reset,           ///< alarm: a latched one that was acknowledged
  shelve,          ///< alarm, minutes (at most shelf_max)
  unshelve,        ///< alarm
  out_of_service,  ///< alarm
  into_service,    ///< alarm
  stop,            ///< off for good: the run ends, incomplete
  pause,           ///< off; the run waits
  go_on,           ///< on again after a pause, a lost supply or a bench that was opened: by a person
  touch,           ///< a screwdriver: points, control, before, after
  replace_part,    ///< points (those it feeds; empty: all), control: what was replaced
  move,            ///< to another bench: bench
  remark,          ///< a word for the record
  leave,           ///< the run becomes unattended, or its policy is changed: policy
  sign,            ///< a person accepts or changes the proposed verdict: word
  // of the bench
  resume,          ///< the daemon was away until now
  relay_open,      ///< after such an absence the relay was found open, or the machine has restarted: the unit has lost its supply
  bench_opened,    ///< the bench contactor was opened for another unit
  supply_steady,   ///< the bench's mains have been steady for long enough
};
std::string_view to_word(ActKind kind);

inline constexpr Duration shelf_max = std::chrono::hours{12};

struct Act {
  ActKind kind = ActKind::remark;
  std::string who{};                  ///< a name; of the bench's own acts: "steadyglowd"
  std::string why{};
  std::int64_t alarm = 0;           ///< within the run
  double minutes = 0.0;             ///< shelve
  std::vector<std::string> points{};  ///< names in the profile
  std::string control{};              ///< the trimmer or part, in the person's words
  std::optional<double> before{};     ///< in the first point's uom
  std::optional<double> after{};
  std::string bench{};
  std::string word{};                 ///< sign: a verdict word
  std::string policy{};               ///< leave: a Policy as JSON text (policy.hpp)
};

/// The JSON object that is stored and that the page sends (without "kind"); strict both ways.
std::string to_json_text(const Act& act);
Result<Act> act_from_json(std::string_view kind, const std::string& text);

}  // namespace steadyglow::soak
