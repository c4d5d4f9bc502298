#include "soak/verdict.hpp"

#include <fmt/format.h>

#include <algorithm>

#include "analysis/uncertainty.hpp"
#include "soak/words.hpp"

namespace steadyglow::soak {
namespace {

/// Findings about the bench or the supply speak of conditions, not of the unit.
bool is_about_the_unit(Kind kind) { return kind != Kind::mains && kind != Kind::no_data && kind != Kind::outlet && kind != Kind::settling; }

std::string reason_of(const Finding& finding) { return fmt::format("{}: {}", to_word(finding.kind), finding.message); }

constexpr std::size_t reasons_max = 12;
constexpr Duration level_window = std::chrono::minutes{15};
/// About 95 % for a normal distribution; the usual one.
constexpr double coverage_factor = 2.0;

}  // namespace

Verdict weigh(const Stages& stages, const FindingBook& book, const std::vector<PointWatch>& points, bool is_tripped, Timestamp at, const Remarks& remarks) {
  Verdict verdict{at, VerdictWord::pass, {}};
  const double counted = hours_of(stages.counted());
  const double planned = hours_of(stages.plan().counted_planned());
  verdict.reasons.push_back(fmt::format("{:.1f} h counted of {:.1f} h planned", counted, planned));
  const auto worsen = [&](VerdictWord word, std::string reason) {
    verdict.word = std::max(verdict.word, word);
    if (verdict.reasons.size() < reasons_max && std::find(verdict.reasons.begin(), verdict.reasons.end(), reason) == verdict.reasons.end())
      verdict.reasons.push_back(std::move(reason));
  };
  if (is_tripped) worsen(VerdictWord::fail, "the unit was cut");
  for (const Finding* finding : book.standing())
    if (finding->severity != Severity::note && is_about_the_unit(finding->kind)) worsen(VerdictWord::fail, reason_of(*finding));
  if (stages.counted() < stages.plan().counted_planned()) worsen(VerdictWord::incomplete, "it ended before the planned hours were counted");
  if (remarks.unplanned_interruptions > interruptions_most) worsen(VerdictWord::incomplete, fmt::format("{} unplanned interruptions, at most {} are allowed", remarks.unplanned_interruptions, interruptions_most));
  if (remarks.unseen_share > unseen_share_most) worsen(VerdictWord::incomplete, fmt::format("{:.0f} % of the time nobody saw it", 100.0 * remarks.unseen_share));
  else if (remarks.unseen_share > unseen_share_unsaid) worsen(VerdictWord::pass_with_remarks, fmt::format("its protective points were seen for {:.0f} % of the time", 100.0 * (1.0 - remarks.unseen_share)));
  for (const std::string& other : remarks.others) worsen(VerdictWord::pass_with_remarks, other);
  if (!remarks.touched.empty()) worsen(VerdictWord::incomplete, remarks.touched);
  for (const Finding& finding : book.history())
    if (finding.is_raised && finding.severity != Severity::note && is_about_the_unit(finding.kind))
      worsen(VerdictWord::pass_with_remarks, reason_of(finding));
  for (const PointWatch& watch : points) {
    const profile::Point& point = watch.point();
    const auto level = watch.recent_raw_level(level_window);
    if (!point.accuracy || point.warn.empty() || !level) continue;
    const double expanded = coverage_factor * analysis::standard_uncertainty(*point.accuracy, *level);
    constexpr auto rule = analysis::DecisionRule::guarded_acceptance;
    if (analysis::judge_conformity(*level, point.warn, expanded, rule) != analysis::Conformity::undecided) continue;
    worsen(VerdictWord::pass_with_remarks, fmt::format("{} ended at {} +/- {}: too near its limit for this meter to say on which side it is ({})", point.name, figure(point, *level),
                                                       figure(point, expanded), analysis::statement_of(rule)));
  }
  if (verdict.word == VerdictWord::pass) verdict.reasons.push_back(fmt::format("{} points, no event that would need an explanation", points.size()));
  return verdict;
}

}  // namespace steadyglow::soak
