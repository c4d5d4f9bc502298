#pragma once
#include <limits>
#include <optional>
#include <set>
#include <string>
#include <string_view>
#include <vector>

#include "core/result.hpp"
#include "document/document.hpp"

namespace steadyglow::document {

struct Range {
  double low = -std::numeric_limits<double>::infinity();
  double high = std::numeric_limits<double>::infinity();
};

/// Reads one table key by key. Mistakes go into `errors`; a mistaken value comes back as empty, and reading goes on,
/// so that one pass finds them all. Call done() last: what nobody asked for is an unknown key.
/// Contract: node, file and errors outlive it; one Table per node.
class Table {
 public:
  Table(const Node& node, std::string_view file, Errors& errors);

  std::string text(std::string_view key);
  std::optional<std::string> maybe_text(std::string_view key);
  double number(std::string_view key, Range range = {});
  std::optional<double> maybe_number(std::string_view key, Range range = {});
  int whole(std::string_view key, Range range = {});
  std::optional<int> maybe_whole(std::string_view key, Range range = {});
  std::optional<bool> maybe_flag(std::string_view key);
  std::vector<std::string> texts(std::string_view key);
  std::vector<double> numbers(std::string_view key);
  /// One of the words; a wrong one is a mistake that lists them.
  std::optional<std::string> maybe_word(std::string_view key, const std::vector<std::string_view>& words);
  std::string word(std::string_view key, const std::vector<std::string_view>& words);
  std::optional<Table> maybe_table(std::string_view key);
  /// The tables of [[key]]; none if absent.
  std::vector<Table> tables(std::string_view key);

  bool has(std::string_view key) const;
  /// Where a key's value stands, or the table itself if the key is absent.
  Place place(std::string_view key) const;
  Place place() const { return node_->place; }
  const std::string& file() const { return file_; }
  /// Adds a mistake at the value of `key` (or at the table, if `key` is empty or absent).
  void mistake(std::string_view key, std::string message, std::string hint = {});
  /// Reports every key that nobody asked for.
  void done();

 private:
  const Node* find(std::string_view key);
  const Node* need(std::string_view key);
  void wrong_kind(std::string_view key, const Node& node, std::string_view wanted);
  std::optional<double> figure(std::string_view key, const Node& node, Range range, bool is_whole);

  const Node* node_;
  std::string file_;
  Errors* errors_;
  std::set<std::string, std::less<>> asked_;
};

/// The word nearest to `word` (a typing mistake of at most a third of its letters), or empty.
std::string nearest(std::string_view word, const std::vector<std::string_view>& words);

}  // namespace steadyglow::document
