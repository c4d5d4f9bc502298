#pragma once
/// What the shop's own repairs say about how long to soak, and what they do not say.
#include <nlohmann/json.hpp>
#include <optional>
#include <string>
#include <vector>

#include "card/lives.hpp"
#include "reliability/soak_yield.hpp"
#include "reliability/survival.hpp"
#include "reliability/weibull.hpp"

namespace steadyglow::card {

inline constexpr double confidence = 0.95;         ///< of every band and bound here
inline constexpr double planned_hours_usual = 24.0;
inline constexpr double planned_hours_max = 1000.0;
inline constexpr std::size_t yields_max = 12;      ///< steps of twelve hours that are looked at

/// None of `units` that ran for the planned hours failed: at most this share fails within them.
struct NoFailure {
  std::size_t units = 0;
  double share_at_most = 0.0;
};

struct Returns {
  std::size_t sold = 0;
  std::size_t returned = 0;
  std::size_t without_hours = 0;
  double share = 0.0;
  reliability::Interval interval;  ///< exact (Clopper and Pearson)
};

/// Figures are there only where the data carry them; `cannot_say` says what is missing.
struct Advice {
  double planned_hours = planned_hours_usual;
  std::size_t units = 0;      ///< repairs
  std::size_t failures = 0;
  double hours = 0.0;         ///< of all together
  reliability::SurvivalCurve survival;
  std::optional<reliability::Weibull> weibull;
  std::optional<reliability::SoakYield> next;      ///< the twelve hours after the plan
  std::vector<reliability::SoakYield> yields;      ///< from the start, twelve hours each, to twelve beyond the plan
  std::optional<NoFailure> no_failure;
  std::optional<Returns> returns;
  std::string line;                    ///< all of it in one sentence
  std::vector<std::string> sentences;
  std::vector<std::string> cannot_say;
};

/// Never fails: where there is nothing to go by, it says so. `planned_hours` counted hours, above 0 to planned_hours_max.
/// Formulas and their sources: daemon/reliability.
Advice advise(const Lives& lives, double planned_hours);

/// The object of API.md, without `kind`, `model` and `kinds`.
nlohmann::ordered_json to_json(const Advice& advice);

}  // namespace steadyglow::card
