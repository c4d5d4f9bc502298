#include "profile/profile_toml.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cctype>
#include <map>

#include "document/table.hpp"

namespace steadyglow::profile {
namespace {

using document::Range;
using document::Table;

constexpr std::size_t name_length_max = 64;
constexpr double dwell_seconds_max = 3600.0;
constexpr double mains_volts_min = 80.0;
constexpr double mains_volts_max = 440.0;
/// No probe on a bench reads more, and no part of a unit may: a figure beyond is a slip of the decimal point.
constexpr double celsius_max = 200.0;
/// A worse meter than this proves nothing, and a larger figure is a slip.
constexpr double accuracy_percent_max = 50.0;
constexpr double accuracy_counts_max = 10000.0;
constexpr double accuracy_figure_max = 1e6;

bool is_name(std::string_view text) {
  const auto fits = [](unsigned char c) { return std::islower(c) != 0 || std::isdigit(c) != 0 || c == '_'; };
  return !text.empty() && text.size() <= name_length_max && std::all_of(text.begin(), text.end(), fits);
}

Duration from_seconds(double seconds) { return Duration{static_cast<Duration::rep>(seconds * 1000.0 + 0.5)}; }

Band parse_band(Table& point, std::string_view key, Range range) {
  Band band;
  auto table = point.maybe_table(key);
  if (!table) return band;
  band.low = table->maybe_number("low", range);
  band.high = table->maybe_number("high", range);
  table->done();
  if (band.empty()) point.mistake(key, fmt::format("`{}` has neither low nor high", key), "write { low = 300.0, high = 460.0 }, or one of them");
  if (band.low && band.high && *band.low >= *band.high)
    point.mistake(key, fmt::format("`{}` is impossible: low {} is not below high {}", key, *band.low, *band.high),
                  "swap them?");
  return band;
}

/// A statement that is there must say something, and each half of a product wants the other.
std::optional<Accuracy> parse_accuracy(Table& point) {
  auto table = point.maybe_table("accuracy");
  if (!table) return std::nullopt;
  bool all_read = true;
  const auto figure = [&](std::string_view key, double most) {
    const auto value = table->maybe_number(key, {0.0, most});
    all_read = all_read && (value || !table->has(key));
    return value.value_or(0.0);
  };
  const Accuracy accuracy{.percent_of_reading = figure("percent_of_reading", accuracy_percent_max),
                          .counts = figure("counts", accuracy_counts_max),
                          .resolution = figure("resolution", accuracy_figure_max),
                          .percent_of_range = figure("percent_of_range", accuracy_percent_max),
                          .range = figure("range", accuracy_figure_max),
                          .fixed = figure("fixed", accuracy_figure_max)};
  table->done();
  if (!all_read) return std::nullopt;
  if (accuracy.counts > 0.0 && accuracy.resolution == 0.0)
    point.mistake("accuracy", "`counts` without `resolution`: nobody knows what a count is", "add resolution = what the last digit steps by, in the point's uom");
  if (accuracy.percent_of_range > 0.0 && accuracy.range == 0.0)
    point.mistake("accuracy", "`percent_of_range` without `range`", "add range = full scale of the range in use, in the point's uom");
  if (accuracy.range > 0.0 && accuracy.percent_of_range == 0.0)
    point.mistake("accuracy", "`range` without `percent_of_range`", "add percent_of_range, or leave range out");
  const bool says_something = accuracy.percent_of_reading > 0.0 || accuracy.counts > 0.0 || accuracy.resolution > 0.0 || accuracy.percent_of_range > 0.0 ||
                              accuracy.range > 0.0 || accuracy.fixed > 0.0;
  if (!says_something)
    point.mistake("accuracy", "`accuracy` says nothing", "write what the data sheet says: { percent_of_reading = 0.5, counts = 3, resolution = 0.1 } or { fixed = 1.5 }");
  return accuracy;
}

void check_limits(Table& table, const Point& point) {
  if (point.warn.high && point.trip.high && *point.trip.high < *point.warn.high)
    table.mistake("trip", fmt::format("the trip at {} would come before the warning at {}", *point.trip.high, *point.warn.high),
                  "trip.high must be at or above warn.high");
  if (point.warn.low && point.trip.low && *point.trip.low > *point.warn.low)
    table.mistake("trip", fmt::format("the trip at {} would come before the warning at {}", *point.trip.low, *point.warn.low),
                  "trip.low must be at or below warn.low");
  if (!point.nominal) return;
  const auto outside = [&](const Band& band) {
    return (band.high && *point.nominal >= *band.high) || (band.low && *point.nominal <= *band.low);
  };
  if (outside(point.warn)) table.mistake("nominal", fmt::format("nominal {} is already outside the warn limits", *point.nominal), "a healthy unit would alarm at once");
  else if (outside(point.trip)) table.mistake("nominal", fmt::format("nominal {} is already outside the trip limits", *point.nominal), "a healthy unit would trip at once");
}

std::vector<std::string_view> quantity_words() {
  std::vector<std::string_view> words;
  for (std::uint8_t i = 0; i < quantity_count; ++i) words.push_back(to_word(static_cast<Quantity>(i)));
  return words;
}

Point parse_point(Table& table) {
  Point point;
  point.name = table.text("name");
  if (!point.name.empty() && !is_name(point.name))
    table.mistake("name", fmt::format("`{}` is not a point name", point.name), "use a-z, 0-9 and _ only");
  const auto quantity = quantity_from_word(table.word("quantity", quantity_words()));
  const std::string symbol = table.text("uom");
  Range range;
  if (quantity) {
    point.quantity = *quantity;
    if (const auto uom = find_uom(*quantity, symbol)) point.uom = *uom;
    else if (!symbol.empty())
      table.mistake("uom", fmt::format("`{}` is no unit of measure for {}", symbol, to_word(*quantity)),
                    fmt::format("one of: {}", uoms_of(*quantity)));
    if (*quantity == Quantity::temperature) range = {-60.0, celsius_max};
  }
  if (const auto role = role_from_word(table.word("role", role_words()))) point.role = *role;
  point.nominal = table.maybe_number("nominal", range);
  point.warn = parse_band(table, "warn", range);
  point.trip = parse_band(table, "trip", range);
  if (const auto s = table.maybe_number("warn_dwell_seconds", {0.0, dwell_seconds_max})) point.warn_dwell = from_seconds(*s);
  if (const auto s = table.maybe_number("trip_dwell_seconds", {0.0, dwell_seconds_max})) point.trip_dwell = from_seconds(*s);
  if (const auto ohms = table.maybe_number("sense_ohms", {1e-4, 1e7})) point.sense = Ohms{*ohms};
  if (const auto watts = table.maybe_number("rated_watts", {0.01, 5000.0})) point.rated = Watts{*watts};
  point.accuracy = parse_accuracy(table);
  const bool has_trip = !point.trip.empty();
  point.is_protective = table.maybe_flag("protective").value_or(has_trip);
  point.source = table.maybe_text("source").value_or("");
  point.note = table.maybe_text("note").value_or("");
  check_limits(table, point);
  return point;
}

void match_points(Profile& profile, std::vector<Table>& tables, const std::vector<std::vector<std::string>>& wanted) {
  std::vector<std::string_view> names;
  for (const Point& point : profile.points) names.push_back(point.name);
  for (std::size_t i = 0; i < wanted.size(); ++i) {
    for (const std::string& name : wanted[i]) {
      const auto other = profile.find(name);
      if (!other) {
        const std::string near = document::nearest(name, names);
        tables[i].mistake("matched_with", fmt::format("there is no point `{}`", name), near.empty() ? "" : fmt::format("did you mean `{}`?", near));
      } else if (other->index == i) {
        tables[i].mistake("matched_with", "a point cannot be matched with itself");
      } else if (profile.points[other->index].uom.symbol != profile.points[i].uom.symbol) {
        tables[i].mistake("matched_with", fmt::format("`{}` is in another unit of measure", name), "matched points need the same uom");
      } else {
        profile.points[i].matched_with.push_back(*other);
      }
    }
  }
}

/// A technician writes a match once; it holds both ways, and whoever is matched with one of a set belongs to the set.
void complete_matches(Profile& profile) {
  const std::size_t count = profile.points.size();
  std::vector<std::size_t> set(count);
  for (std::size_t i = 0; i < count; ++i) set[i] = i;
  const auto join = [&](std::size_t a, std::size_t b) {
    const std::size_t from = set[a];
    const std::size_t to = set[b];
    std::replace(set.begin(), set.end(), from, to);
  };
  for (std::size_t i = 0; i < count; ++i)
    for (const PointId other : profile.points[i].matched_with) join(i, other.index);
  for (std::size_t i = 0; i < count; ++i) {
    profile.points[i].matched_with.clear();
    for (std::size_t j = 0; j < count; ++j)
      if (j != i && set[j] == set[i]) profile.points[i].matched_with.push_back(PointId{static_cast<std::uint16_t>(j)});
  }
}

}  // namespace

std::optional<Profile> parse_profile(std::string_view text, std::string_view file, Errors& errors) {
  const std::size_t errors_before = errors.size();
  const document::Node root = document::parse(text, file, errors);
  if (errors.size() > errors_before) return std::nullopt;
  Table top(root, file, errors);
  Profile profile;
  if (auto head = top.maybe_table("profile")) {
    profile.kind = head->text("kind");
    profile.title = head->maybe_text("title").value_or(profile.kind);
    profile.source = head->maybe_text("source").value_or("");
    if (const auto volts = head->maybe_number("mains_nominal_volts", {mains_volts_min, mains_volts_max})) profile.mains_nominal = Volts{*volts};
    const std::string drive = head->maybe_word("drive", {"idle", "steady", "programme"}).value_or("idle");
    profile.drive = drive == "steady" ? Drive::steady : drive == "programme" ? Drive::programme : Drive::idle;
    if (const auto minutes = head->maybe_number("warm_up_minutes", {0.0, 24.0 * 60.0})) profile.warm_up = from_seconds(*minutes * 60.0);
    head->done();
  } else if (!top.has("profile")) {
    top.mistake("", "there is no [profile] table", "begin with [profile] and kind = \"...\"");
  }
  auto tables = top.tables("point");
  top.done();
  if (tables.empty()) top.mistake("point", "a profile needs at least one [[point]]");
  if (tables.size() > points_max) top.mistake("point", fmt::format("{} points are more than {}", tables.size(), points_max));
  std::map<std::string, document::Place> seen;
  std::vector<std::vector<std::string>> matches;
  for (Table& table : tables) {
    profile.points.push_back(parse_point(table));
    matches.push_back(table.texts("matched_with"));
    const auto [first, is_new] = seen.emplace(profile.points.back().name, table.place("name"));
    if (!is_new && !first->first.empty())
      table.mistake("name", fmt::format("point `{}` stands here twice", first->first), fmt::format("the first is at line {}", first->second.line));
    table.done();
  }
  match_points(profile, tables, matches);
  if (errors.size() > errors_before) return std::nullopt;
  complete_matches(profile);
  return profile;
}

}  // namespace steadyglow::profile
