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

Result<bool> CsvReader::next(std::vector<std::string>& fields) {
  std::string record;
  record_line_ = next_line_;
  while (std::getline(in_, buffer_)) {
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
