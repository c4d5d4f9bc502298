#include "record/compare_pages.hpp"

#include <fmt/format.h>

#include <algorithm>

namespace steadyglow::record {
namespace {

/// More graphs than this tell nobody more.
constexpr std::size_t figures_max = 6;

std::string run_words(const RunLabel& label) {
  std::string text = fmt::format("run {}, {}", label.run, label.started_utc.substr(0, 10));
  if (!label.serial.empty()) text += ", serial number " + label.serial;
  text += fmt::format(", {:.1f} h counted", label.counted_hours);
  if (!label.verdict.empty()) text += ", " + label.verdict;
  return text;
}

std::string standing_words(Standing standing) {
  switch (standing) {
    case Standing::inside: return "inside";
    case Standing::beyond: return "BEYOND";
    case Standing::beyond_wander: break;
  }
  return "moved; meter not stated";
}

Trace trace_of(std::string name, const OverlayLine& line) {
  Trace trace{std::move(name), {}};
  for (std::size_t i = 0; i < line.hours.size(); ++i) {
    const double value = line.values[i].value_or(0.0);
    trace.steps.push_back({line.hours[i], value, value, value, line.values[i].has_value()});
  }
  return trace;
}

Figure figure_of(const Overlay& overlay, const Comparison& made) {
  Chart chart;
  chart.title = overlay.words + ", hours since switch-on";
  chart.uom = overlay.uom;
  chart.alt = fmt::format("{} in run {} and in run {}, brought to the same conditions, by hours since the unit was switched on", overlay.words, made.earlier.run, made.later.run);
  chart.traces = {trace_of(fmt::format("run {}", made.earlier.run), overlay.earlier_by_switch_on), trace_of(fmt::format("run {}", made.later.run), overlay.later_by_switch_on)};
  chart.to = 0.0;
  for (const Trace& trace : chart.traces)
    if (!trace.steps.empty()) chart.to = std::max(chart.to, trace.steps.back().x);
  if (chart.to <= 0.0) chart.to = 1.0;
  Figure figure;
  figure.chart = std::move(chart);
  figure.is_half = true;
  figure.height = 140.0;
  return figure;
}

void put_remarks(const std::vector<std::string>& remarks, std::vector<Block>& blocks) {
  if (remarks.empty()) return;
  blocks.push_back(Heading{2, "What makes this weaker"});
  blocks.push_back(ItemList{remarks, true});
}

const char* how_text =
    "U is the expanded uncertainty of the difference, k = 2 (about 95 %), combined after JCGM 100:2008 (GUM) 5.1.2 from what the meters may be off by, how much each figure wandered, and what "
    "the way it follows the mains and the room leave open. Errors of the two runs are taken as knowing nothing of each other; one meter in both would make U smaller than it says.";

}  // namespace

Pages comparison_pages(const Comparison& made) {
  Pages pages;
  pages.title = fmt::format("{}: run {} and run {} side by side", made.later.title, made.earlier.run, made.later.run);
  pages.subject = "Two soak runs compared at equal mains";
  pages.keywords = made.later.serial;
  pages.made_utc = made.later.started_utc;
  pages.foot = pages.title;
  std::vector<Block>& blocks = pages.buyer;
  blocks.push_back(Heading{1, pages.title});
  blocks.push_back(Paragraph{"Earlier: " + run_words(made.earlier)});
  blocks.push_back(Paragraph{"Later: " + run_words(made.later)});
  for (const std::string& sentence : made.sentences) blocks.push_back(Paragraph{sentence, Paragraph::Tone::strong});
  put_remarks(made.remarks, blocks);

  Table table;
  table.caption = "Each point, at equal conditions";
  table.columns = {{"Point", 2.2, false}, {"Earlier", 1.0, true}, {"Later", 1.0, true}, {"Difference", 1.1, true}, {"U (k = 2)", 1.0, true}, {"", 0.6, false}, {"Standing", 1.3, false}, {"How", 3.2, false}};
  for (const PointDifference& d : made.points) {
    const double u = d.expanded_uncertainty;
    const std::string how = fmt::format("{}; exponent {}, {}", d.conditions, figure_words(d.mains_exponent, 0.1), d.is_exponent_learned ? "learned" : "usual");
    table.rows.push_back({d.words, figure_words(d.earlier.value, u), figure_words(d.later.value, u), figure_words(d.difference, u), figure_words(u, u), d.uom, standing_words(d.standing), how});
  }
  table.is_small = true;
  blocks.push_back(Heading{2, "Figures"});
  blocks.push_back(std::move(table));
  blocks.push_back(Paragraph{how_text, Paragraph::Tone::small});
  if (!made.only_earlier.empty()) blocks.push_back(Paragraph{fmt::format("Only in run {}: {}", made.earlier.run, fmt::join(made.only_earlier, ", "))});
  if (!made.only_later.empty()) blocks.push_back(Paragraph{fmt::format("Only in run {}: {}", made.later.run, fmt::join(made.only_later, ", "))});

  std::vector<std::size_t> order;
  for (const bool wants_beyond : {true, false})
    for (std::size_t i = 0; i < made.points.size(); ++i)
      if ((made.points[i].standing != Standing::inside) == wants_beyond) order.push_back(i);
  blocks.push_back(Heading{2, "Both runs over time"});
  for (std::size_t i = 0; i < std::min(order.size(), figures_max); ++i) blocks.push_back(figure_of(made.overlays[order[i]], made));
  if (order.size() > figures_max) blocks.push_back(Paragraph{fmt::format("{} more points are in the table only", order.size() - figures_max), Paragraph::Tone::small});
  return pages;
}

Pages comparison_pages(const ModelComparison& made) {
  Pages pages;
  pages.title = fmt::format("{}: run {} among good units of its model", made.later.title, made.later.run);
  pages.subject = "A soak run compared with earlier good runs of the model";
  pages.keywords = made.later.serial;
  pages.made_utc = made.later.started_utc;
  pages.foot = pages.title;
  std::vector<Block>& blocks = pages.buyer;
  blocks.push_back(Heading{1, pages.title});
  blocks.push_back(Paragraph{"This unit: " + run_words(made.later)});
  for (const std::string& sentence : made.sentences) blocks.push_back(Paragraph{sentence, Paragraph::Tone::strong});
  put_remarks(made.remarks, blocks);
  Table table;
  table.caption = "Each point at the mains of this unit";
  table.columns = {{"Point", 2.0, false}, {"This unit", 1.0, true}, {"Median", 1.0, true}, {"From", 1.0, true}, {"To", 1.0, true}, {"", 0.6, false}, {"Units", 0.6, true}, {"Standing", 1.3, false}, {"What from and to are", 2.6, false}};
  for (const ModelPoint& p : made.points) {
    const double u = std::max(p.expanded_uncertainty, p.spread / 10.0);
    table.rows.push_back({p.words, figure_words(p.later.value, u), figure_words(p.median, u), figure_words(p.low, u), figure_words(p.high, u), p.uom, std::to_string(p.earlier.size()), standing_words(p.standing),
                          p.is_tolerance_interval ? "95 % of good units, confidence 95 %" : "lowest and highest seen"});
  }
  table.is_small = true;
  blocks.push_back(Heading{2, "Figures"});
  blocks.push_back(std::move(table));
  std::vector<std::string> runs;
  for (const RunLabel& run : made.earlier) runs.push_back(run_words(run));
  blocks.push_back(Heading{2, "Compared with"});
  blocks.push_back(ItemList{std::move(runs), true});
  return pages;
}

}  // namespace steadyglow::record
