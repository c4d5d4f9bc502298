#include "card/advice.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "core/decimal.hpp"
#include "reliability/bounds.hpp"

namespace steadyglow::card {
namespace {

using Json = nlohmann::ordered_json;
using reliability::next_hours;
using reliability::SoakYield;

constexpr double per_cent = 100.0;

std::string figure(double value) { return value == 0.0 ? "0" : to_figure(value, 2); }
std::string share_text(double share) { return share >= 0.0995 ? fmt::format("{:.0f} %", per_cent * share) : figure(per_cent * share) + " %"; }
std::string hours_text(double hours) { return to_figure(hours, hours < 100.0 ? 2 : 3) + " h"; }
std::string counted(std::size_t number, const char* one, const char* many) { return fmt::format("{} {}", number, number == 1 ? one : many); }

double longest_failure(const reliability::SurvivalCurve& curve) { return curve.steps.empty() ? 0.0 : curve.steps.back().hours; }

std::string yield_sentence(const SoakYield& yield) {
  std::string text = fmt::format("Of 100 that start, the hours from {} to {} would find about {} more; of those still running by then {}, and with 95 % confidence {} to {}", figure(yield.from_hours), figure(yield.to_hours),
                                 figure(per_cent * yield.of_started), share_text(yield.of_running), share_text(yield.of_running_interval.low), share_text(yield.of_running_interval.high));
  if (yield.is_extrapolated) text += "; extrapolated: no repair of this shop has been seen so long";
  if (yield.is_guess) text += "; a guess, from few failures";
  return text + ".";
}

std::string shape_sentence(const reliability::Weibull& fit) {
  const std::string figures = fmt::format("Weibull shape {}, with 95 % confidence {} to {}, from {} failures{}", figure(fit.shape), figure(fit.shape_interval.low), figure(fit.shape_interval.high), fit.failures,
                                          fit.is_guess ? ": fewer than ten, a guess" : "");
  if (fit.shape_interval.high < 1.0) return figures + ". Below 1: the weak repairs fail early, and each further hour finds fewer.";
  if (fit.shape_interval.low > 1.0) return figures + ". Above 1: failures grow more frequent with the hours. That looks like wear, and a longer soak wears as well as finds.";
  return figures + ". That leaves 1 inside: whether they fail early or at any time cannot be told apart yet.";
}

void tell_survival(Advice& advice, const std::vector<reliability::Life>& lives) {
  if (advice.failures == 0) return;
  advice.sentences.push_back(fmt::format("{} failed among {}, the latest of them at {}.", advice.failures, counted(advice.units, "repair", "repairs"), hours_text(longest_failure(advice.survival))));
  if (advice.planned_hours > advice.survival.last_hours) return;
  const auto step = reliability::survival_at(advice.survival, advice.planned_hours);
  if (step.failures == 0) {
    const auto ran = std::count_if(lives.begin(), lives.end(), [&](const reliability::Life& life) { return life.hours >= advice.planned_hours; });
    return advice.sentences.push_back(fmt::format("None failed within {0}; {1} ran for {0}.", hours_text(advice.planned_hours), counted(static_cast<std::size_t>(ran), "repair", "repairs")));
  }
  advice.sentences.push_back(fmt::format("{} are still running after {} (with 95 % confidence {} to {}).", share_text(step.survival), hours_text(advice.planned_hours), share_text(step.band.low), share_text(step.band.high)));
}

void tell_no_failure(Advice& advice, const std::vector<reliability::Life>& lives) {
  if (advice.failures > 0 || advice.units == 0) return;
  const auto ran = static_cast<std::size_t>(std::count_if(lives.begin(), lives.end(), [&](const reliability::Life& life) { return life.hours >= advice.planned_hours; }));
  const auto bound = ran > 0 ? reliability::bad_share_at_most(0, ran, confidence) : Result<double>(tl::unexpected(Error{}));
  if (!bound) {
    advice.cannot_say.push_back(fmt::format("None of {} failed, but none ran for {} either: nothing bounds what that would find.", counted(advice.units, "repair", "repairs"), hours_text(advice.planned_hours)));
    return;
  }
  advice.no_failure = NoFailure{ran, *bound};
  advice.sentences.push_back(fmt::format("None of the {} that ran for {} failed: with 95 % confidence, at most {} of such repairs fail within them. That is a bound, not a promise.", ran, hours_text(advice.planned_hours), share_text(*bound)));
}

void tell_returns(Advice& advice, const Lives& lives) {
  if (lives.sold == 0 && lives.returned == 0) return;
  // Those that came back were sold, whether somebody wrote it down or not.
  const std::size_t sold = std::max(lives.sold, lives.returned);
  const auto interval = reliability::bad_share(lives.returned, sold, confidence);
  if (!interval) return;
  advice.returns = Returns{sold, lives.returned, lives.returned_without_hours, static_cast<double>(lives.returned) / static_cast<double>(sold), *interval};
  advice.sentences.push_back(fmt::format("{} of {} sold came back with a fault: {}, with 95 % confidence {} to {}.", lives.returned, sold, share_text(advice.returns->share), share_text(interval->low), share_text(interval->high)));
  if (lives.returned_without_hours > 0)
    advice.cannot_say.push_back(fmt::format("Of {} that came back nobody knows the owner's hours: the curve takes them as well when they left.", lives.returned_without_hours));
}

void tell_yields(Advice& advice, const std::vector<reliability::Life>& lives) {
  // More than yields_max steps: the last of them, next to the plan.
  const double first = std::max(0.0, std::ceil((advice.planned_hours + next_hours) / next_hours - static_cast<double>(yields_max))) * next_hours;
  for (double from = first; from < advice.planned_hours + next_hours && advice.yields.size() < yields_max; from += next_hours)
    if (const auto yield = reliability::soak_yield(lives, from, from + next_hours, confidence)) advice.yields.push_back(*yield);
  const auto next = reliability::yield_of_next_hours(lives, advice.planned_hours, confidence);
  if (next) {
    advice.next = *next;
    if (advice.failures > 0) advice.sentences.push_back(yield_sentence(*next));
  } else if (advice.units > 0) {
    advice.cannot_say.push_back(fmt::format("What the hours from {} to {} would find: no repair has run so long, and {} failures are too few to draw a curve there.", figure(advice.planned_hours),
                                            figure(advice.planned_hours + next_hours), advice.failures));
  }
}

void tell_shape(Advice& advice, const std::vector<reliability::Life>& lives) {
  if (advice.units == 0) return;
  if (advice.failures < reliability::weibull_failures_min) {
    advice.cannot_say.push_back(fmt::format("Whether failures come early, at any time or by wear: that needs {} of them, and there {} {}.", reliability::weibull_failures_min, advice.failures == 1 ? "is" : "are", advice.failures));
    return;
  }
  if (const auto fit = reliability::fit_weibull(lives, confidence)) {
    advice.weibull = *fit;
    advice.sentences.push_back(shape_sentence(*fit));
  } else {
    advice.cannot_say.push_back("No curve goes through these failures: " + fit.error().message + ".");
  }
}

std::string line_of(const Advice& advice) {
  if (advice.units == 0) return "No repair like this one has finished a run here yet: nothing speaks for more hours or for fewer.";
  const std::string so_far = fmt::format("{} of {} failed here", advice.failures, counted(advice.units, "repair like this", "repairs like this"));
  if (advice.failures == 0) {
    if (!advice.no_failure) return so_far + fmt::format(", none of them soaked for {}.", hours_text(advice.planned_hours));
    return so_far + fmt::format("; at most {} fail within {} (95 %).", share_text(advice.no_failure->share_at_most), hours_text(advice.planned_hours));
  }
  if (!advice.next) return so_far + fmt::format("; what the hours after {} would find is not known.", hours_text(advice.planned_hours));
  const SoakYield& next = *advice.next;
  return so_far + fmt::format("; twelve hours more than {} would find {} of those still running ({} to {}){}{}.", hours_text(advice.planned_hours), share_text(next.of_running), share_text(next.of_running_interval.low),
                              share_text(next.of_running_interval.high), next.is_extrapolated ? ", extrapolated" : "", next.is_guess ? ", a guess from few failures" : "");
}

Json to_json(const SoakYield& yield) {
  return {{"from_hours", yield.from_hours}, {"to_hours", yield.to_hours}, {"per_100_started", per_cent * yield.of_started}, {"per_100_running", per_cent * yield.of_running},
          {"low_per_100_running", per_cent * yield.of_running_interval.low}, {"high_per_100_running", per_cent * yield.of_running_interval.high},
          {"is_by_curve", yield.is_by_curve}, {"is_guess", yield.is_guess}, {"is_extrapolated", yield.is_extrapolated}};
}

Json to_json(const reliability::Weibull& fit) {
  return {{"shape", fit.shape}, {"shape_low", fit.shape_interval.low}, {"shape_high", fit.shape_interval.high}, {"scale_hours", fit.scale_hours},
          {"scale_low_hours", fit.scale_interval.low}, {"scale_high_hours", fit.scale_interval.high}, {"is_guess", fit.is_guess}};
}

}  // namespace

Advice advise(const Lives& given, double planned_hours) {
  const std::vector<reliability::Life> lives = given.lives();
  Advice advice;
  advice.planned_hours = planned_hours;
  advice.units = lives.size();
  advice.failures = reliability::count_failures(lives);
  advice.hours = reliability::total_hours(lives);
  if (const auto curve = reliability::kaplan_meier(lives, confidence)) advice.survival = *curve;
  tell_survival(advice, lives);
  tell_no_failure(advice, lives);
  tell_yields(advice, lives);
  tell_shape(advice, lives);
  tell_returns(advice, given);
  if (planned_hours > advice.survival.last_hours && advice.units > 0)
    advice.cannot_say.push_back(fmt::format("The longest that a repair was seen here is {}: beyond it the curve says nothing.", hours_text(advice.survival.last_hours)));
  advice.cannot_say.push_back("How long this one unit lasts: these are shares of many repairs. A soak shows that it ran; it promises no life.");
  advice.line = line_of(advice);
  return advice;
}

nlohmann::ordered_json to_json(const Advice& advice) {
  Json json{{"planned_hours", advice.planned_hours}, {"line", advice.line}, {"sentences", advice.sentences}, {"cannot_say", advice.cannot_say}, {"units", advice.units},
            {"failures", advice.failures}, {"hours", advice.hours}, {"last_hours", advice.survival.last_hours}, {"survival", Json::array()}};
  for (const auto& step : advice.survival.steps)
    json["survival"].push_back({{"hours", step.hours}, {"at_risk", step.at_risk}, {"failures", step.failures}, {"survival", step.survival}, {"low", step.band.low}, {"high", step.band.high}});
  json["weibull"] = advice.weibull ? to_json(*advice.weibull) : Json(nullptr);
  json["next_hours"] = advice.next ? to_json(*advice.next) : Json(nullptr);
  json["yields"] = Json::array();
  for (const SoakYield& yield : advice.yields) json["yields"].push_back(to_json(yield));
  json["no_failure"] = advice.no_failure ? Json{{"units", advice.no_failure->units}, {"share_at_most", advice.no_failure->share_at_most}, {"confidence", confidence}} : Json(nullptr);
  json["returns"] = advice.returns ? Json{{"sold", advice.returns->sold}, {"returned", advice.returns->returned}, {"share", advice.returns->share}, {"low", advice.returns->interval.low},
                                          {"high", advice.returns->interval.high}, {"without_hours", advice.returns->without_hours}}
                                   : Json(nullptr);
  return json;
}

}  // namespace steadyglow::card
