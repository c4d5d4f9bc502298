#pragma once
#include <cstdint>
#include <istream>
#include <string>
#include <vector>

#include "core/result.hpp"

namespace steadyglow::app {

/// Reads comma-separated records after RFC 4180: quoted fields, doubled quotes, line breaks inside quotes, CRLF or LF.
/// A byte-order mark at the start is skipped. One record is kept at a time, and no longer one than record_bytes_max.
class CsvReader {
 public:
  static constexpr std::size_t record_bytes_max = 256 * 1024;

  CsvReader(std::istream& in, std::string file) : in_(in), file_(std::move(file)) {}

  /// Reads the next record into `fields`. False at the end; an Error names the line.
  Result<bool> next(std::vector<std::string>& fields);
  /// Line on which the record of the last next() began, from 1.
  std::uint64_t line() const { return record_line_; }
  std::string where() const { return file_ + ":" + std::to_string(record_line_); }

 private:
  Result<bool> next_line();  ///< into buffer_, without its end
  std::istream& in_;
  std::string file_;
  std::string buffer_;
  std::uint64_t next_line_ = 1;
  std::uint64_t record_line_ = 0;
};

}  // namespace steadyglow::app
