#include "store/export.hpp"

#include <cmath>
#include <cstdio>
#include <limits>
#include <nlohmann/json.hpp>

#include "core/decimal.hpp"

namespace steadyglow::store {
namespace {

std::string quoted(const std::string& field) {
  if (field.find_first_of(",\"\r\n") == std::string::npos) return field;
  std::string out = "\"";
  for (const char c : field) out += c == '"' ? std::string("\"\"") : std::string(1, c);
  return out + '"';
}

std::string seconds_text(Timestamp at) {
  const std::int64_t ms = ms_of(at);
  const std::int64_t size = ms < 0 ? -ms : ms;
  const std::string fraction = std::to_string(1000 + size % 1000);
  return (ms < 0 ? "-" : "") + std::to_string(size / 1000) + '.' + fraction.substr(1);
}

std::string cell(const Reading& reading) {
  if (!reading.is_good()) return std::string(to_word(reading.quality()));
  return std::isfinite(reading.value()) ? to_decimal(reading.value()) : std::string(to_word(Quality::implausible));
}

void write_row(std::ostream& out, Timestamp at, std::vector<std::string>& cells) {
  out << seconds_text(at);
  for (std::string& one : cells) {
    out << ',' << one;
    one.clear();
  }
  out << "\r\n";
}

}  // namespace

Result<CsvSummary> write_csv(StoreReader& reader, std::int64_t run, std::ostream& out) {
  const auto row = reader.run(run);
  if (!row) return tl::unexpected(row.error());
  if (!*row) return fail(Fault::bad_data, "there is no run " + std::to_string(run), "the runs of the store are numbered from 1");
  out << "time_s";
  for (const std::string& name : (*row)->points) out << ',' << quoted(name);
  out << "\r\n";

  CsvSummary summary;
  std::vector<std::string> cells((*row)->points.size());
  std::uint64_t unknown_points = 0;
  const std::uint64_t damaged_before = reader.damage().rows;
  const auto write_batch = [&](const InputRow& input) {
    if (input.kind != input_kind_readings) return;
    ++summary.batches;
    for (const Reading& reading : input.readings) {
      if (reading.point().index >= cells.size()) {
        ++unknown_points;
        continue;
      }
      std::string& into = cells[reading.point().index];
      // The same point twice in one batch: a second row of the same time.
      if (!into.empty()) write_row(out, input.at, cells);
      into = cell(reading);
    }
    write_row(out, input.at, cells);
  };
  if (auto read = reader.for_each_input(run, write_batch); !read) return tl::unexpected(read.error());
  out.flush();
  if (!out) return fail(Fault::io, "the readings could not be written to their end", "is the disk full?");
  if (unknown_points > 0) return fail(Fault::bad_data, std::to_string(unknown_points) + " readings belong to no point of the run", "the store is inconsistent; keep it for salvage");
  summary.damaged_rows = reader.damage().rows - damaged_before;
  return summary;
}

namespace {

using Json = nlohmann::ordered_json;

Json json_value(const Reading& reading) {
  const Json value = std::isfinite(reading.as_met()) ? Json(reading.as_met()) : Json(nullptr);
  if (reading.is_good()) return value;
  return {{"quality", to_word(reading.quality())}, {"as_met", value}};
}

/// The JSON of a row; a row that holds none (damage that fits its checksum) as a text.
Json parsed(const std::string& text) {
  Json json = Json::parse(text, nullptr, false);
  return json.is_discarded() ? Json(text) : json;
}

}  // namespace

Result<CsvSummary> write_json_lines(StoreReader& reader, std::int64_t run, std::ostream& out) {
  const auto row = reader.run(run);
  if (!row) return tl::unexpected(row.error());
  if (!*row) return fail(Fault::bad_data, "there is no run " + std::to_string(run), "the runs of the store are numbered from 1");
  const RunRow& r = **row;
  const auto line = [&](const Json& json) { out << json.dump(-1, ' ', false, Json::error_handler_t::replace) << '\n'; };
  line({{"what", "run"}, {"run", r.id}, {"unit", r.unit}, {"title", r.title}, {"serial", r.serial}, {"started_utc", r.started_utc}, {"ended_utc", r.ended_utc},
        {"started_by", r.started_by}, {"is_imported", r.is_imported()}, {"points", r.points}, {"profile_name", r.profile_name}, {"profile_text", r.profile_text},
        {"plan_name", r.plan_name}, {"plan_text", r.plan_text}});

  CsvSummary summary;
  const std::uint64_t damaged_before = reader.damage().rows;
  const auto events = reader.events(run);
  if (!events) return tl::unexpected(events.error());
  auto event = events->begin();
  const auto events_before = [&](std::int64_t seq) {
    for (; event != events->end() && event->seq < seq; ++event)
      line({{"what", "event"}, {"seq", event->seq}, {"time_s", seconds_of(event->at)}, {"kind", event->kind}, {"json", parsed(event->json)}});
  };
  std::uint64_t unknown_points = 0;
  const auto write_batch = [&](const InputRow& input) {
    ++summary.batches;
    Json values = Json::object();
    const auto flush = [&] {
      line({{"what", "readings"}, {"seq", input.seq}, {"time_s", seconds_of(input.at)}, {"values", std::move(values)}});
      values = Json::object();
    };
    for (const Reading& reading : input.readings) {
      if (reading.point().index >= r.points.size()) {
        ++unknown_points;
        continue;
      }
      const std::string& name = r.points[reading.point().index];
      if (values.contains(name)) flush();
      values[name] = json_value(reading);
    }
    flush();
  };
  const auto write_input = [&](const InputRow& input) {
    events_before(input.seq);
    if (input.kind == input_kind_readings) return write_batch(input);
    line({{"what", "input"}, {"seq", input.seq}, {"time_s", seconds_of(input.at)}, {"kind", input.kind}, {"json", parsed(input.json)}});
  };
  if (auto read = reader.for_each_input(run, write_input); !read) return tl::unexpected(read.error());
  events_before(std::numeric_limits<std::int64_t>::max());
  out.flush();
  if (!out) return fail(Fault::io, "the run could not be written to its end", "is the disk full?");
  if (unknown_points > 0) return fail(Fault::bad_data, std::to_string(unknown_points) + " readings belong to no point of the run", "the store is inconsistent; keep it for salvage");
  summary.damaged_rows = reader.damage().rows - damaged_before;
  return summary;
}

}  // namespace steadyglow::store
