#include "app/csv.hpp"

namespace steadyglow::app {
namespace {

enum class Scan { whole, inside_quotes, stray_quote };

/// Splits one record; says so when it ends inside quotes (the record goes on in the next line).
Scan split(const std::string& text, std::vector<std::string>& fields) {
  fields.clear();
  std::size_t at = 0;
  while (true) {
    std::string field;
    if (at < text.size() && text[at] == '"') {
      ++at;
      while (true) {
        if (at >= text.size()) return Scan::inside_quotes;
        if (text[at] != '"') field += text[at++];
        else if (at + 1 < text.size() && text[at + 1] == '"') field += text[at], at += 2;
        else break;
      }
      ++at;
      if (at < text.size() && text[at] != ',') return Scan::stray_quote;
    } else {
      const std::size_t end = std::min(text.find(',', at), text.size());
      field = text.substr(at, end - at);
      if (field.find('"') != std::string::npos) return Scan::stray_quote;
      at = end;
    }
    fields.push_back(std::move(field));
    if (at >= text.size()) return Scan::whole;
    ++at;
  }
}

}  // namespace

Result<bool> CsvReader::next_line() {
  buffer_.clear();
  std::streambuf& bytes = *in_.rdbuf();
  // A getline() would take a line of any length into memory before it could be refused.
  for (int c = bytes.sbumpc(); c != std::char_traits<char>::eof(); c = bytes.sbumpc()) {
    if (c == '\n') return true;
    if (c == 0)
      return fail(Fault::bad_data, "a NUL byte stands in this line", "this is no text: export the readings as CSV in UTF-8 (not UTF-16)", file_ + ":" + std::to_string(next_line_));
    if (buffer_.size() == record_bytes_max)
      return fail(Fault::bad_data, "a line is longer than " + std::to_string(record_bytes_max) + " bytes", "is this a CSV file?", file_ + ":" + std::to_string(next_line_));
    buffer_ += static_cast<char>(c);
  }
  return !buffer_.empty();
}

Result<bool> CsvReader::next(std::vector<std::string>& fields) {
  std::string record;
  record_line_ = next_line_;
  while (true) {
    const auto line = next_line();
    if (!line) return line;
    if (!*line) break;
    if (next_line_ == 1 && buffer_.starts_with("\xEF\xBB\xBF")) buffer_.erase(0, 3);
    ++next_line_;
    if (!buffer_.empty() && buffer_.back() == '\r') buffer_.pop_back();
    if (record.empty() && buffer_.empty()) {
      record_line_ = next_line_;
      continue;
    }
    if (!record.empty()) record += '\n';
    record += buffer_;
    if (record.size() > record_bytes_max)
      return fail(Fault::bad_data, "a record is longer than " + std::to_string(record_bytes_max) + " bytes", "a quote that is never closed?", where());
    const Scan scan = split(record, fields);
    if (scan == Scan::whole) return true;
    if (scan == Scan::stray_quote) return fail(Fault::bad_data, "a quote stands in the middle of a field", "quote the whole field and double the quotes inside (RFC 4180)", where());
  }
  if (!record.empty()) return fail(Fault::bad_data, "the file ends inside a quoted field", "close the quote", where());
  return false;
}

}  // namespace steadyglow::app
