#include "seal/readings_csv.hpp"

#include <array>
#include <charconv>
#include <cmath>

namespace steadyglow::seal {
namespace {

constexpr std::string_view not_finite = "not_finite";

void put_number(std::string& out, auto number) {
  std::array<char, 32> buffer{};
  const auto [end, status] = std::to_chars(buffer.data(), buffer.data() + buffer.size(), number);
  out.append(buffer.data(), end);
}

void put_seconds(std::string& out, Timestamp at) {
  const std::int64_t ms = ms_of(at);
  const std::uint64_t size = ms < 0 ? 0 - static_cast<std::uint64_t>(ms) : static_cast<std::uint64_t>(ms);
  if (ms < 0) out += '-';
  put_number(out, size / 1000);
  const std::string fraction = std::to_string(1000 + size % 1000);
  out += '.';
  out += std::string_view(fraction).substr(1);
}

/// Names come from a profile and are a-z, 0-9 and _; a record of a stranger may say otherwise.
std::string as_cell(std::string_view text) {
  std::string cell;
  if (!text.empty() && std::string_view("=+-@\t\r'").find(text.front()) != std::string_view::npos) cell = "'";
  bool is_quoted = false;
  for (const char c : text) {
    is_quoted |= c == '"' || c == ',' || c == '\r' || c == '\n';
    cell += c;
    if (c == '"') cell += '"';
  }
  return is_quoted ? '"' + cell + '"' : cell;
}

struct Row {
  std::vector<const Reading*> cells;

  explicit Row(std::size_t points) : cells(points, nullptr) {}
  void put(const RunFace& face, Timestamp at, std::string& out) {
    put_seconds(out, at);
    std::string not_good;
    for (std::size_t p = 0; p < cells.size(); ++p) {
      out += ',';
      const Reading* reading = cells[p];
      cells[p] = nullptr;
      if (reading == nullptr) continue;
      if (reading->is_good() && std::isfinite(reading->value())) {
        put_number(out, reading->value());
        continue;
      }
      if (!not_good.empty()) not_good += "; ";
      not_good += face.points[p].name;
      not_good += ": ";
      not_good += reading->is_good() ? not_finite : to_word(reading->quality());
    }
    out += ',';
    out += as_cell(not_good);
    out += "\r\n";
  }
};

}  // namespace

std::string csv_header(const RunFace& face) {
  std::string out = "time_s [s]";
  for (const PointFace& point : face.points) out += ',' + as_cell(point.name + " [" + point.uom + "]");
  return out + ",not_good\r\n";
}

void add_csv_row(const RunFace& face, const store::InputRow& batch, std::string& out) {
  Row row(face.points.size());
  for (const Reading& reading : batch.readings) {
    const Reading*& cell = row.cells[reading.point().index];
    if (cell != nullptr) row.put(face, batch.at, out);
    cell = &reading;
  }
  row.put(face, batch.at, out);
}

}  // namespace steadyglow::seal
