#include "document/table.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <numeric>

namespace steadyglow::document {
namespace {

std::string_view kind_word(Node::Kind kind) {
  switch (kind) {
    case Node::Kind::text: return "a text";
    case Node::Kind::integer: return "a whole number";
    case Node::Kind::decimal: return "a number";
    case Node::Kind::boolean: return "true or false";
    case Node::Kind::array: return "a list";
    case Node::Kind::table: return "a table";
    case Node::Kind::other: break;
  }
  return "a date or time";
}

/// Edit distance (insert, delete, replace), row by row.
std::size_t distance(std::string_view a, std::string_view b) {
  std::vector<std::size_t> row(b.size() + 1);
  std::iota(row.begin(), row.end(), std::size_t{0});
  for (std::size_t i = 0; i < a.size(); ++i) {
    std::size_t diagonal = row[0];
    row[0] = i + 1;
    for (std::size_t j = 0; j < b.size(); ++j) {
      const std::size_t replace = diagonal + (a[i] == b[j] ? 0 : 1);
      diagonal = row[j + 1];
      row[j + 1] = std::min({row[j] + 1, row[j + 1] + 1, replace});
    }
  }
  return row[b.size()];
}

std::string joined(const std::vector<std::string_view>& words) { return fmt::format("{}", fmt::join(words, ", ")); }

}  // namespace

std::string nearest(std::string_view word, const std::vector<std::string_view>& words) {
  std::string_view best;
  std::size_t best_distance = std::max<std::size_t>(2, word.size() / 3) + 1;
  for (const std::string_view candidate : words) {
    const std::size_t d = distance(word, candidate);
    if (d < best_distance) {
      best = candidate;
      best_distance = d;
    }
  }
  return std::string(best);
}

Table::Table(const Node& node, std::string_view file, Errors& errors) : node_(&node), file_(file), errors_(&errors) {}

const Node* Table::find(std::string_view key) {
  asked_.emplace(key);
  for (const Member& member : node_->members)
    if (member.key == key) return &member.node;
  return nullptr;
}

const Node* Table::need(std::string_view key) {
  const Node* node = find(key);
  if (node == nullptr) mistake("", fmt::format("`{}` is missing here", key), fmt::format("add a line `{} = ...`", key));
  return node;
}

bool Table::has(std::string_view key) const {
  return std::any_of(node_->members.begin(), node_->members.end(), [&](const Member& m) { return m.key == key; });
}

Place Table::place(std::string_view key) const {
  for (const Member& member : node_->members)
    if (member.key == key) return member.node.place;
  return node_->place;
}

void Table::mistake(std::string_view key, std::string message, std::string hint) {
  errors_->push_back({Fault::config, std::move(message), std::move(hint), place_text(file_, place(key))});
}

void Table::wrong_kind(std::string_view key, const Node& node, std::string_view wanted) {
  std::string hint;
  if (wanted == "a text") hint = fmt::format("write it in quotes: {} = \"...\"", key);
  if (wanted == "a number" && node.kind == Node::Kind::text) hint = "write it without quotes, with a decimal point";
  if (wanted == "a whole number" && node.kind == Node::Kind::text) hint = "write it without quotes";
  if (wanted == "a whole number" && node.kind == Node::Kind::decimal) hint = "write it without a decimal point";
  mistake(key, fmt::format("`{}` must be {}, not {}", key, wanted, kind_word(node.kind)), std::move(hint));
}

std::optional<std::string> Table::maybe_text(std::string_view key) {
  const Node* node = find(key);
  if (node == nullptr) return std::nullopt;
  if (node->kind == Node::Kind::text) return node->text;
  wrong_kind(key, *node, "a text");
  return std::nullopt;
}

std::string Table::text(std::string_view key) { return need(key) == nullptr ? "" : maybe_text(key).value_or(""); }

std::optional<double> Table::figure(std::string_view key, const Node& node, Range range, bool is_whole) {
  const bool is_number = node.kind == Node::Kind::integer || (!is_whole && node.kind == Node::Kind::decimal);
  if (!is_number) {
    wrong_kind(key, node, is_whole ? "a whole number" : "a number");
    return std::nullopt;
  }
  if (std::isfinite(node.number) && node.number >= range.low && node.number <= range.high) return node.number;
  const std::string bounds = std::isinf(range.high)  ? fmt::format("at least {}", range.low)
                             : std::isinf(range.low) ? fmt::format("at most {}", range.high)
                                                     : fmt::format("between {} and {}", range.low, range.high);
  std::string hint;
  if (const double tenth = node.number / 10.0; node.number > range.high && tenth >= range.low && tenth <= range.high)
    hint = fmt::format("did you mean {}?", tenth);
  mistake(key, fmt::format("`{}` is {}, but must be {}", key, node.number, bounds), std::move(hint));
  return std::nullopt;
}

std::optional<double> Table::maybe_number(std::string_view key, Range range) {
  const Node* node = find(key);
  return node == nullptr ? std::nullopt : figure(key, *node, range, false);
}

double Table::number(std::string_view key, Range range) {
  return need(key) == nullptr ? 0.0 : maybe_number(key, range).value_or(0.0);
}

std::optional<int> Table::maybe_whole(std::string_view key, Range range) {
  const Node* node = find(key);
  if (node == nullptr) return std::nullopt;
  const Range fits{std::max(range.low, -2147483648.0), std::min(range.high, 2147483647.0)};
  const auto value = figure(key, *node, fits, true);
  return value ? std::optional<int>(static_cast<int>(*value)) : std::nullopt;
}

int Table::whole(std::string_view key, Range range) {
  return need(key) == nullptr ? 0 : maybe_whole(key, range).value_or(0);
}

std::optional<bool> Table::maybe_flag(std::string_view key) {
  const Node* node = find(key);
  if (node == nullptr) return std::nullopt;
  if (node->kind == Node::Kind::boolean) return node->flag;
  wrong_kind(key, *node, "true or false");
  return std::nullopt;
}

std::vector<std::string> Table::texts(std::string_view key) {
  const Node* node = find(key);
  if (node == nullptr) return {};
  std::vector<std::string> all;
  if (node->kind != Node::Kind::array) {
    wrong_kind(key, *node, "a list of texts");
    return all;
  }
  for (const Node& item : node->items) {
    if (item.kind == Node::Kind::text) all.push_back(item.text);
    else wrong_kind(key, item, "a list of texts");
  }
  return all;
}

std::vector<double> Table::numbers(std::string_view key) {
  const Node* node = find(key);
  if (node == nullptr) return {};
  std::vector<double> all;
  if (node->kind != Node::Kind::array) {
    wrong_kind(key, *node, "a list of numbers");
    return all;
  }
  for (const Node& item : node->items) {
    if (item.kind == Node::Kind::integer || item.kind == Node::Kind::decimal) all.push_back(item.number);
    else wrong_kind(key, item, "a list of numbers");
  }
  return all;
}

std::optional<std::string> Table::maybe_word(std::string_view key, const std::vector<std::string_view>& words) {
  const auto value = maybe_text(key);
  if (!value || std::find(words.begin(), words.end(), *value) != words.end()) return value;
  const std::string near = nearest(*value, words);
  mistake(key, fmt::format("`{}` is \"{}\", which is none of: {}", key, *value, joined(words)),
          near.empty() ? "" : fmt::format("did you mean \"{}\"?", near));
  return std::nullopt;
}

std::string Table::word(std::string_view key, const std::vector<std::string_view>& words) {
  return need(key) == nullptr ? "" : maybe_word(key, words).value_or("");
}

std::optional<Table> Table::maybe_table(std::string_view key) {
  const Node* node = find(key);
  if (node == nullptr) return std::nullopt;
  if (node->kind == Node::Kind::table) return Table(*node, file_, *errors_);
  wrong_kind(key, *node, "a table");
  return std::nullopt;
}

std::vector<Table> Table::tables(std::string_view key) {
  const Node* node = find(key);
  if (node == nullptr) return {};
  std::vector<Table> all;
  if (node->kind != Node::Kind::array) {
    mistake(key, fmt::format("`{}` must be a list of tables", key), fmt::format("write [[{}]] with two brackets", key));
    return all;
  }
  for (const Node& item : node->items) {
    if (item.kind == Node::Kind::table) all.emplace_back(item, file_, *errors_);
    else wrong_kind(key, item, "a table");
  }
  return all;
}

void Table::done() {
  const std::vector<std::string_view> known(asked_.begin(), asked_.end());
  for (const Member& member : node_->members) {
    if (asked_.contains(member.key)) continue;
    const std::string near = nearest(member.key, known);
    errors_->push_back({Fault::config, fmt::format("unknown key `{}`", member.key),
                        near.empty() ? fmt::format("known here: {}", joined(known)) : fmt::format("did you mean `{}`?", near),
                        place_text(file_, member.place)});
  }
}

}  // namespace steadyglow::document
