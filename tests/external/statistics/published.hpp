#pragma once
/// Published figures beside ours, and how many digits agree.
#include <algorithm>
#include <cmath>
#include <string>
#include <vector>

#include "external/sensors/reference_rows.hpp"

namespace steadyglow::reference {

inline std::vector<Row> published(const std::string& name) { return rows("../statistics/data/" + name); }

inline std::vector<double> numbers(const std::vector<Row>& rows, const std::string& column) {
  std::vector<double> found;
  for (const Row& row : rows) found.push_back(row.number(column));
  return found;
}

inline std::vector<Row> of_dataset(const std::string& name, const std::string& dataset) {
  std::vector<Row> found;
  for (const Row& row : published(name))
    if (row.text("dataset") == dataset) found.push_back(row);
  return found;
}

/// Log relative error: the digits that agree, -log10 |ours - certified| / |certified|; 15 for all that doubles hold.
inline double digits(double ours, double certified) {
  const double error = std::fabs(ours - certified) / std::fabs(certified);
  return error > 0.0 ? std::clamp(-std::log10(error), 0.0, 15.0) : 15.0;
}

inline double worst_digits(const std::vector<double>& ours, const std::vector<double>& certified) {
  double worst = 15.0;
  for (std::size_t i = 0; i < certified.size(); ++i) worst = std::min(worst, digits(ours.at(i), certified[i]));
  return worst;
}

}  // namespace steadyglow::reference
