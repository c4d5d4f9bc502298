#pragma once
/// The rows of a table of check values: lines with # are its source, the first other line names the columns.
#include <gtest/gtest.h>

#include <fstream>
#include <map>
#include <sstream>
#include <string>
#include <vector>

#include "core/decimal.hpp"

namespace steadyglow::reference {

class Row {
 public:
  explicit Row(std::map<std::string, std::string> cells) : cells_(std::move(cells)) {}
  const std::string& text(const std::string& column) const { return cells_.at(column); }
  bool has(const std::string& column) const { return !text(column).empty(); }
  double number(const std::string& column) const { return parse_decimal(text(column)).value(); }

 private:
  std::map<std::string, std::string> cells_;
};

inline std::vector<std::string> cells_of(const std::string& line) {
  std::vector<std::string> cells(1);
  for (const char c : line) {
    if (c == ',') cells.emplace_back();
    else cells.back() += c;
  }
  return cells;
}

inline std::vector<Row> rows(const std::string& name) {
  std::ifstream file(std::string(STEADYGLOW_SOURCE_DIR) + "/tests/external/sensors/" + name);
  EXPECT_TRUE(file.is_open()) << name;
  std::vector<std::string> columns;
  std::vector<Row> found;
  for (std::string line; std::getline(file, line);) {
    if (line.empty() || line[0] == '#') continue;
    const auto cells = cells_of(line);
    if (columns.empty()) {
      columns = cells;
      continue;
    }
    EXPECT_EQ(cells.size(), columns.size()) << name << ": " << line;
    std::map<std::string, std::string> row;
    for (std::size_t i = 0; i < columns.size(); ++i) row[columns[i]] = cells[i];
    found.emplace_back(std::move(row));
  }
  return found;
}

}  // namespace steadyglow::reference
