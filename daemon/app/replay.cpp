#include "app/replay.hpp"

#include <fmt/format.h>

#include <charconv>
#include <chrono>
#include <cmath>
#include <memory>

#include "app/csv.hpp"
#include "core/decimal.hpp"
#include "document/table.hpp"

namespace steadyglow::app {
namespace {

/// A hundred days: more is a wrong unit (milliseconds as seconds, say).
constexpr double recording_seconds_max = 100.0 * 86400.0;

std::optional<int> digits(std::string_view text, std::size_t at, std::size_t count) {
  if (at + count > text.size()) return std::nullopt;
  int value = 0;
  for (std::size_t i = at; i < at + count; ++i) {
    if (text[i] < '0' || text[i] > '9') return std::nullopt;
    value = value * 10 + (text[i] - '0');
  }
  return value;
}

std::string trimmed(std::string_view text) {
  const auto first = text.find_first_not_of(" \t");
  if (first == std::string_view::npos) return {};
  return std::string(text.substr(first, text.find_last_not_of(" \t") - first + 1));
}

/// A cell as it may stand in a message: short, and without what moves a terminal.
std::string shown(const std::string& cell) {
  constexpr std::size_t shown_max = 40;
  std::string out = cell.size() > shown_max ? cell.substr(0, shown_max) + "..." : cell;
  for (char& c : out)
    if (static_cast<unsigned char>(c) < ' ' || c == 0x7f) c = '?';
  return out;
}

bool has_digit(const std::string& cell) { return cell.find_first_of("0123456789") != std::string::npos; }

/// What may have been meant by a cell that is no number and no quality.
std::string hint_for(const std::string& cell) {
  if (cell.front() == '=' || cell.front() == '@' || ((cell.front() == '+' || cell.front() == '-') && !has_digit(cell.substr(1, 1))))
    return "this looks like a formula of a spreadsheet: export values, not formulas; nothing was computed";
  if (has_digit(cell) && cell.find(',') != std::string::npos) return "write a decimal point, as in 379.5, and nothing between the thousands";
  if (has_digit(cell) && cell.find(';') != std::string::npos) return "part the fields with commas (RFC 4180), not with semicolons";
  return "leave the cell empty where there is no reading; qualities: over_range open_sensor stale no_answer refused implausible contact_lost other_meter";
}

/// A header that came as one field, or nearly: how were the fields parted?
std::string hint_for_header(const std::string& first) {
  if (first.find(';') != std::string::npos) return "the fields are parted by semicolons: export with commas between fields and a decimal point in numbers (RFC 4180)";
  if (first.find('\t') != std::string::npos) return "the fields are parted by tabs: export with commas between fields (RFC 4180)";
  return "it must be time_s (seconds from the start) or time (RFC 3339)";
}

}  // namespace

std::optional<double> parse_rfc3339(std::string_view text) {
  const auto year = digits(text, 0, 4), month = digits(text, 5, 2), day = digits(text, 8, 2);
  const auto hour = digits(text, 11, 2), minute = digits(text, 14, 2), second = digits(text, 17, 2);
  if (!year || !month || !day || !hour || !minute || !second) return std::nullopt;
  if (text[4] != '-' || text[7] != '-' || text[13] != ':' || text[16] != ':') return std::nullopt;
  if (text[10] != 'T' && text[10] != 't' && text[10] != ' ') return std::nullopt;
  const std::chrono::year_month_day date{std::chrono::year{*year}, std::chrono::month{static_cast<unsigned>(*month)}, std::chrono::day{static_cast<unsigned>(*day)}};
  if (!date.ok() || *hour > 23 || *minute > 59 || *second > 60) return std::nullopt;
  double seconds = 86400.0 * static_cast<double>(std::chrono::sys_days{date}.time_since_epoch().count()) + 3600.0 * *hour + 60.0 * *minute + *second;
  std::size_t at = 19;
  if (at < text.size() && text[at] == '.') {
    std::size_t end = at + 1;
    while (end < text.size() && text[end] >= '0' && text[end] <= '9') ++end;
    if (end == at + 1) return std::nullopt;
    seconds += *parse_decimal("0" + std::string(text.substr(at, end - at)));
    at = end;
  }
  const std::string_view zone = text.substr(std::min(at, text.size()));
  if (zone == "Z" || zone == "z") return seconds;
  const auto zone_hour = digits(zone, 1, 2), zone_minute = digits(zone, 4, 2);
  if (zone.size() != 6 || (zone[0] != '+' && zone[0] != '-') || zone[3] != ':' || !zone_hour || !zone_minute) return std::nullopt;
  return seconds - (zone[0] == '-' ? -1.0 : 1.0) * (3600.0 * *zone_hour + 60.0 * *zone_minute);
}

struct RecordingReader::Impl {
  CsvReader csv;
  std::string file;
  const profile::Profile& profile;
  RecordingHeader header;
  std::vector<std::string> fields;
  std::optional<double> first_utc;
};

RecordingReader::RecordingReader(std::istream& in, std::string file, const profile::Profile& profile)
    : impl_(std::make_shared<Impl>(Impl{CsvReader(in, file), file, profile, {}, {}, std::nullopt})) {}

Result<void> RecordingReader::read_header(std::vector<std::string>& missing) {
  const auto row = impl_->csv.next(impl_->fields);
  if (!row) return tl::unexpected(row.error());
  if (!*row) return fail(Fault::bad_data, "the recording is empty", "the first row names the columns: time_s, then points of the profile", impl_->file);
  const std::string first = trimmed(impl_->fields.front());
  if (first != "time_s" && first != "time")
    return fail(Fault::bad_data, fmt::format("the first column is `{}`", shown(first)), hint_for_header(impl_->fields.front()), impl_->csv.where());
  impl_->header.is_utc = first == "time";
  std::vector<std::string_view> names;
  for (const profile::Point& point : impl_->profile.points) names.push_back(point.name);
  std::vector<bool> seen(names.size());
  for (std::size_t i = 1; i < impl_->fields.size(); ++i) {
    const std::string name = trimmed(impl_->fields[i]);
    const auto point = impl_->profile.find(name);
    if (!point) {
      const std::string near = document::nearest(name, names);
      return fail(Fault::bad_data, fmt::format("column {} is `{}`, which is no point of the profile", i + 1, shown(name)),
                  near.empty() ? "rename the column, or add the point to the profile" : fmt::format("did you mean `{}`?", near), impl_->csv.where());
    }
    if (seen[point->index]) return fail(Fault::bad_data, fmt::format("point `{}` has two columns", name), "remove one", impl_->csv.where());
    seen[point->index] = true;
    impl_->header.columns.push_back(point);
  }
  for (std::size_t i = 0; i < names.size(); ++i)
    if (!seen[i]) missing.emplace_back(names[i]);
  if (impl_->header.columns.empty()) return fail(Fault::bad_data, "there is no column besides the time", "", impl_->csv.where());
  return {};
}

std::string RecordingReader::where() const { return impl_->csv.where(); }
bool RecordingReader::has_dates() const { return impl_->header.is_utc; }
std::optional<double> RecordingReader::began_utc_seconds() const { return impl_->first_utc; }

Result<Timestamp> RecordingReader::parse_time(const std::string& cell) {
  std::optional<double> seconds;
  if (impl_->header.is_utc) {
    seconds = parse_rfc3339(cell);
    if (!seconds) return fail(Fault::bad_data, fmt::format("`{}` is no RFC 3339 time", shown(cell)), "write 2026-01-31T22:00:00Z, or with an offset like +01:00", impl_->csv.where());
    if (!impl_->first_utc) impl_->first_utc = *seconds;
    seconds = std::max(0.0, *seconds - *impl_->first_utc);
  } else {
    seconds = parse_decimal(cell);
    if (!seconds) return fail(Fault::bad_data, fmt::format("`{}` is no number of seconds", shown(cell)), "use a decimal point and no unit", impl_->csv.where());
  }
  if (*seconds < 0.0 || *seconds > recording_seconds_max)
    return fail(Fault::bad_data, fmt::format("time {} s is outside 0 to {} s", *seconds, recording_seconds_max), "time_s counts seconds from the start", impl_->csv.where());
  return at_ms(std::llround(*seconds * 1000.0));
}

Result<bool> RecordingReader::next(Timestamp& at, std::vector<Reading>& readings) {
  readings.clear();
  auto& fields = impl_->fields;
  const auto row = impl_->csv.next(fields);
  if (!row || !*row) return row;
  const auto& columns = impl_->header.columns;
  if (fields.size() != columns.size() + 1)
    return fail(Fault::bad_data, fmt::format("this row has {} fields, the header {}", fields.size(), columns.size() + 1),
                fields.size() > columns.size() + 1 ? "a decimal comma parts one value into two: export with a decimal point" : "an empty cell still needs its comma", impl_->csv.where());
  const auto time = parse_time(trimmed(fields[0]));
  if (!time) return tl::unexpected(time.error());
  at = *time;
  for (std::size_t i = 0; i < columns.size(); ++i) {
    const std::string cell = trimmed(fields[i + 1]);
    if (cell.empty()) continue;
    if (const auto value = parse_decimal(cell)) readings.push_back(Reading::good(*columns[i], at, *value));
    else if (const auto quality = quality_from_word(cell); quality && *quality != Quality::good) readings.push_back(Reading::bad(*columns[i], at, *quality));
    else
      return fail(Fault::bad_data, fmt::format("`{}` in column {} is neither a number nor a quality", shown(cell), i + 2), hint_for(cell), impl_->csv.where());
  }
  return true;
}

Result<ReplaySummary> replay(RecordingReader& recording, soak::Engine& engine, const std::function<void(const soak::Event&)>& hear) {
  ReplaySummary summary;
  Timestamp at{};
  Timestamp last{};
  std::vector<Reading> readings;
  while (true) {
    const auto row = recording.next(at, readings);
    if (!row) return tl::unexpected(row.error());
    if (!*row) break;
    ++summary.rows;
    if (at < last) ++summary.out_of_order;
    last = std::max(last, at);
    summary.readings += readings.size();
    for (const Reading& reading : readings) summary.bad_readings += reading.is_good() ? 0 : 1;
    const auto events = readings.empty() ? engine.advance(at) : engine.take(readings);
    for (const soak::Event& event : events) hear(event);
  }
  summary.length = last.time_since_epoch();
  return summary;
}

}  // namespace steadyglow::app
