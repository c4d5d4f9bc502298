#include "store/export.hpp"

#include <cmath>
#include <cstdio>

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

}  // namespace steadyglow::store
