#include "card/entry.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <charconv>
#include <chrono>
#include <cmath>

#include "core/decimal.hpp"

namespace steadyglow::card {
namespace {

using Json = nlohmann::ordered_json;

constexpr std::array<std::pair<EntryKind, std::string_view>, 9> kind_words{{
    {EntryKind::unit, "unit"},
    {EntryKind::photo, "photo"},
    {EntryKind::repair, "repair"},
    {EntryKind::tube, "tube"},
    {EntryKind::adjustment, "adjustment"},
    {EntryKind::safety_test, "safety_test"},
    {EntryKind::sold, "sold"},
    {EntryKind::returned, "returned"},
    {EntryKind::remark, "remark"},
}};

constexpr std::string_view row_prefix = "card_";
constexpr std::string_view fact_row = "unit_fact";

enum class FieldKind : std::uint8_t { short_text, text, number, texts, day, flag, digest, symbol };

struct FieldShape {
  std::string_view name;
  FieldKind kind;
  bool is_needed = false;
  double least = 0.0;
  double most = 0.0;
};

constexpr double figure_most = 1e9;
constexpr double volts_most = 1000.0;
constexpr double hertz_least = 16.0, hertz_most = 400.0;
constexpr double bytes_most = 8.0 * 1024 * 1024;
constexpr std::size_t digest_characters = 64;
constexpr std::size_t symbol_bytes_max = 16;

const std::vector<FieldShape>& shapes_of(EntryKind kind) {
  using F = FieldKind;
  static const std::vector<FieldShape> unit{{"title", F::short_text}, {"kind", F::short_text}, {"maker", F::short_text}, {"model", F::short_text}, {"serial", F::short_text},
                                            {"nameplate_volts", F::number, false, 1.0, volts_most}, {"nameplate_hertz", F::number, false, hertz_least, hertz_most}, {"stock_number", F::short_text}};
  static const std::vector<FieldShape> photo{{"sha256", F::digest, true}, {"content_type", F::short_text, true}, {"bytes", F::number, true, 1.0, bytes_most}, {"caption", F::text}, {"point", F::short_text}};
  static const std::vector<FieldShape> repair{{"told", F::text}, {"found", F::text, true}, {"parts_out", F::texts}, {"parts_in", F::texts}};
  static const std::vector<FieldShape> tube{{"socket", F::short_text, true}, {"type", F::short_text, true}, {"identity", F::short_text}, {"prior_hours", F::number, false, 0.0, hours_max}};
  static const std::vector<FieldShape> adjustment{{"what", F::short_text, true}, {"before", F::number, true, -figure_most, figure_most}, {"after", F::number, true, -figure_most, figure_most}, {"uom", F::symbol, true}};
  static const std::vector<FieldShape> text{{"text", F::text, true}};
  static const std::vector<FieldShape> sold{{"day", F::day, true}};
  static const std::vector<FieldShape> returned{{"day", F::day, true}, {"owner_hours", F::number, false, 0.0, hours_max}, {"complaint", F::text, true}, {"found", F::text}, {"is_fault", F::flag, true}};
  switch (kind) {
    case EntryKind::unit: return unit;
    case EntryKind::photo: return photo;
    case EntryKind::repair: return repair;
    case EntryKind::tube: return tube;
    case EntryKind::adjustment: return adjustment;
    case EntryKind::sold: return sold;
    case EntryKind::returned: return returned;
    case EntryKind::safety_test:
    case EntryKind::remark: return text;
  }
  return text;
}

std::string names_of(const std::vector<FieldShape>& shapes) {
  std::string names;
  for (const FieldShape& shape : shapes) names += (names.empty() ? "" : ", ") + std::string(shape.name) + (shape.is_needed ? " (needed)" : "");
  return names;
}

bool is_blank(const std::string& text) { return text.find_first_not_of(' ') == std::string::npos; }
bool has_control(const std::string& text) {
  return std::any_of(text.begin(), text.end(), [](unsigned char c) { return c < 0x20 || c == 0x7f; });
}

Result<void> wrong(const std::string& what, std::string hint = {}) { return fail(Fault::usage, what, std::move(hint)); }

Result<void> check_text(const std::string& name, const Json& value, std::size_t bytes_max) {
  if (!value.is_string()) return wrong("`" + name + "` is no text");
  const auto& text = value.get_ref<const std::string&>();
  if (is_blank(text)) return wrong("`" + name + "` is empty", "leave it out if there is nothing to say");
  if (text.size() > bytes_max) return wrong(fmt::format("`{}` is longer than {} bytes", name, bytes_max));
  if (has_control(text)) return wrong("`" + name + "` has a control character or a new line in it", "one paragraph; another entry for the next");
  return {};
}

Result<void> check_day(const std::string& name, const Json& value, std::int64_t utc_ms) {
  if (auto good = check_text(name, value, short_text_bytes_max); !good) return good;
  const auto ms = day_ms(value.get_ref<const std::string&>());
  if (!ms) return wrong(fmt::format("`{}` is `{}`, which is no day", name, value.get_ref<const std::string&>()), "write it as 2026-01-31");
  if (utc_ms > 0 && *ms > utc_ms + day_slack_ms) return wrong(fmt::format("`{}` is `{}`, which is still to come", name, value.get_ref<const std::string&>()), "a card says what has happened; look at the year");
  return {};
}

Result<void> check_number(const FieldShape& shape, const Json& value) {
  const std::string name(shape.name);
  if (!value.is_number()) return wrong("`" + name + "` is no number", "digits with a point, without a unit");
  const double number = value.get<double>();
  if (std::isfinite(number) && number >= shape.least && number <= shape.most) return {};
  return wrong(fmt::format("`{}` is {}, outside {} to {}", name, to_decimal(number), to_decimal(shape.least), to_decimal(shape.most)));
}

Result<void> check_texts(const std::string& name, const Json& value) {
  if (!value.is_array()) return wrong("`" + name + "` is no list of texts", "[\"C12 220 uF\", \"R7\"]");
  if (value.size() > parts_max) return wrong(fmt::format("`{}` has more than {} parts", name, parts_max), "write the rest as another repair");
  for (const Json& part : value)
    if (auto good = check_text(name, part, short_text_bytes_max); !good) return good;
  return {};
}

Result<void> check_digest(const std::string& name, const Json& value) {
  const bool is_good = value.is_string() && value.get_ref<const std::string&>().size() == digest_characters &&
                       value.get_ref<const std::string&>().find_first_not_of("0123456789abcdef") == std::string::npos;
  return is_good ? Result<void>{} : wrong("`" + name + "` is no SHA-256 in hexadecimal");
}

Result<void> check_symbol(const std::string& name, const Json& value) {
  if (auto good = check_text(name, value, symbol_bytes_max); !good) return good;
  const auto& text = value.get_ref<const std::string&>();
  const bool is_good = std::all_of(text.begin(), text.end(), [](unsigned char c) { return c > 0x20 && c < 0x7f; });
  return is_good ? Result<void>{} : wrong("`" + name + "` is no UCUM symbol", "mV, mA, Cel, deg, Ohm");
}

Result<void> check_field(const FieldShape& shape, const Json& value, std::int64_t utc_ms) {
  const std::string name(shape.name);
  switch (shape.kind) {
    case FieldKind::short_text: return check_text(name, value, short_text_bytes_max);
    case FieldKind::text: return check_text(name, value, text_bytes_max);
    case FieldKind::number: return check_number(shape, value);
    case FieldKind::texts: return check_texts(name, value);
    case FieldKind::day: return check_day(name, value, utc_ms);
    case FieldKind::digest: return check_digest(name, value);
    case FieldKind::symbol: return check_symbol(name, value);
    case FieldKind::flag: break;
  }
  return value.is_boolean() ? Result<void>{} : wrong("`" + name + "` must be true or false");
}

Result<void> check_name(const std::string& name) {
  const auto is_plain = [](unsigned char c) { return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9') || c == '-' || c == '_' || c == '.'; };
  if (!name.empty() && name.size() <= name_bytes_max && std::all_of(name.begin(), name.end(), is_plain)) return {};
  return wrong(fmt::format("`{}` cannot name a card", name), fmt::format("letters, digits, - _ . and at most {} of them, such as wexmere-m50-right", name_bytes_max));
}

std::string joined(const std::vector<std::string>& texts) {
  std::string all;
  for (const std::string& text : texts) all += (all.empty() ? "" : ", ") + text;
  return all;
}

std::string plate_sentence(const Entry& entry) {
  std::string text;
  const auto add = [&](const std::string& part) {
    if (!part.empty()) text += (text.empty() ? "" : ", ") + part;
  };
  add(entry.text("title"));
  add(entry.text("maker"));
  add(entry.text("model"));
  if (!entry.text("serial").empty()) add("serial " + entry.text("serial"));
  add(entry.text("kind"));
  if (const auto volts = entry.number("nameplate_volts")) add(to_decimal(*volts) + " V");
  if (const auto hertz = entry.number("nameplate_hertz")) add(to_decimal(*hertz) + " Hz");
  if (!entry.text("stock_number").empty()) add("stock number " + entry.text("stock_number"));
  return "as plated: " + text;
}

std::string repair_sentence(const Entry& entry) {
  std::string text = entry.text("told").empty() ? "" : "told: " + entry.text("told") + "; ";
  text += "found: " + entry.text("found");
  if (const auto out = entry.texts("parts_out"); !out.empty()) text += "; out: " + joined(out);
  if (const auto in = entry.texts("parts_in"); !in.empty()) text += "; in: " + joined(in);
  return text;
}

std::string return_sentence(const Entry& entry) {
  std::string text = "came back on " + entry.text("day");
  if (const auto hours = entry.number("owner_hours")) text += " after about " + to_decimal(*hours) + " h with the owner";
  text += ": " + entry.text("complaint");
  if (!entry.text("found").empty()) text += "; found: " + entry.text("found");
  return text + (entry.flag("is_fault") ? "; a fault of the unit" : "; no fault of the unit");
}

}  // namespace

std::string_view to_word(EntryKind kind) { return kind_words[static_cast<std::size_t>(kind)].second; }

std::optional<EntryKind> entry_kind_from_word(std::string_view word) {
  for (const auto& [kind, name] : kind_words)
    if (name == word) return kind;
  return std::nullopt;
}

std::string entry_kind_words() {
  std::string words;
  for (const auto& [kind, name] : kind_words) words += (words.empty() ? "" : ", ") + std::string(name);
  return words;
}

std::string Entry::text(const char* field) const {
  const auto found = fields.find(field);
  return found != fields.end() && found->is_string() ? found->get<std::string>() : std::string{};
}

std::optional<double> Entry::number(const char* field) const {
  const auto found = fields.find(field);
  return found != fields.end() && found->is_number() ? std::optional(found->get<double>()) : std::nullopt;
}

std::vector<std::string> Entry::texts(const char* field) const {
  std::vector<std::string> all;
  const auto found = fields.find(field);
  if (found == fields.end() || !found->is_array()) return all;
  for (const Json& text : *found)
    if (text.is_string()) all.push_back(text.get<std::string>());
  return all;
}

bool Entry::flag(const char* field) const {
  const auto found = fields.find(field);
  return found != fields.end() && found->is_boolean() && found->get<bool>();
}

Result<void> check(const Entry& entry) {
  if (auto good = check_name(entry.card); !good) return good;
  if (is_blank(entry.who)) return wrong("`who` is empty", "say who writes it");
  if (entry.who.size() > who_bytes_max || has_control(entry.who)) return wrong(fmt::format("`who` is no name of at most {} bytes", who_bytes_max));
  if (entry.corrects < 0) return wrong("`corrects` is no number of an entry", "the card shows the numbers");
  if (!entry.fields.is_object()) return wrong("`fields` is no object");
  const auto& shapes = shapes_of(entry.kind);
  for (const auto& [name, value] : entry.fields.items()) {
    const auto shape = std::find_if(shapes.begin(), shapes.end(), [&name = name](const FieldShape& one) { return one.name == name; });
    if (shape == shapes.end()) return wrong(fmt::format("a {} has no field `{}`", to_word(entry.kind), name), names_of(shapes));
    if (auto good = check_field(*shape, value, entry.utc_ms); !good) return good;
  }
  for (const FieldShape& shape : shapes)
    if (shape.is_needed && !entry.fields.contains(std::string(shape.name))) return wrong(fmt::format("`{}` is missing", shape.name), names_of(shapes));
  if (entry.fields.empty()) return wrong("there is nothing in it", names_of(shapes));
  return {};
}

std::string sentence_of(const Entry& entry) {
  switch (entry.kind) {
    case EntryKind::unit: return plate_sentence(entry);
    case EntryKind::photo: return "photo" + (entry.text("point").empty() ? "" : " of " + entry.text("point")) + (entry.text("caption").empty() ? "" : ": " + entry.text("caption"));
    case EntryKind::repair: return repair_sentence(entry);
    case EntryKind::tube: {
      const auto hours = entry.number("prior_hours");
      return entry.text("socket") + ": " + entry.text("type") + (entry.text("identity").empty() ? "" : " no. " + entry.text("identity")) + (hours ? ", " + to_decimal(*hours) + " h before" : "");
    }
    case EntryKind::adjustment:
      return fmt::format("{}: {} to {} {}", entry.text("what"), to_decimal(entry.number("before").value_or(0.0)), to_decimal(entry.number("after").value_or(0.0)), entry.text("uom"));
    case EntryKind::safety_test: return "safety test: " + entry.text("text");
    case EntryKind::sold: return "sold on " + entry.text("day");
    case EntryKind::returned: return return_sentence(entry);
    case EntryKind::remark: break;
  }
  return entry.text("text");
}

RowText row_of(const Entry& entry) {
  Json json{{"unit", entry.card}, {"serial", entry.serial}};
  if (entry.kind == EntryKind::safety_test) json["kind"] = to_word(entry.kind);
  json["who"] = entry.who;
  if (entry.corrects > 0) json["corrects"] = entry.corrects;
  if (entry.kind == EntryKind::safety_test) {
    json["text"] = entry.text("text");
    return {std::string(fact_row), json.dump()};
  }
  json["fields"] = entry.fields;
  return {std::string(row_prefix) + std::string(to_word(entry.kind)), json.dump()};
}

std::optional<Entry> entry_of(const Row& row) {
  const bool is_fact = row.kind == fact_row;
  if (!is_fact && !row.kind.starts_with(row_prefix)) return std::nullopt;
  const Json json = Json::parse(row.json, nullptr, false);
  if (!json.is_object()) return std::nullopt;
  const auto text = [&](const char* key) { return json.contains(key) && json[key].is_string() ? json[key].get<std::string>() : std::string{}; };
  Entry entry;
  entry.id = row.seq;
  entry.utc_ms = row.utc_ms;
  entry.card = text("unit");
  entry.serial = text("serial");
  entry.who = text("who");
  if (json.contains("corrects") && json["corrects"].is_number_integer()) entry.corrects = json["corrects"].get<std::int64_t>();
  if (is_fact) {
    if (text("kind") != to_word(EntryKind::safety_test)) return std::nullopt;
    entry.kind = EntryKind::safety_test;
    entry.fields["text"] = text("text");
    return entry;
  }
  const auto kind = entry_kind_from_word(std::string_view(row.kind).substr(row_prefix.size()));
  if (!kind || *kind == EntryKind::safety_test || entry.card.empty()) return std::nullopt;
  entry.kind = *kind;
  if (json.contains("fields") && json["fields"].is_object()) entry.fields = json["fields"];
  return entry;
}

std::optional<std::int64_t> day_ms(std::string_view day) {
  // RFC 3339, 5.6: full-date = 4DIGIT "-" 2DIGIT "-" 2DIGIT
  constexpr std::size_t length = 10, first_dash = 4, second_dash = 7;
  if (day.size() != length || day[first_dash] != '-' || day[second_dash] != '-') return std::nullopt;
  const auto digits = [&](std::size_t from, std::size_t count) -> std::optional<int> {
    int number = 0;
    for (const char c : day.substr(from, count)) {
      if (c < '0' || c > '9') return std::nullopt;
      number = 10 * number + (c - '0');
    }
    return number;
  };
  const auto year = digits(0, 4), month = digits(5, 2), date = digits(8, 2);
  if (!year || !month || !date) return std::nullopt;
  const std::chrono::year_month_day whole{std::chrono::year{*year}, std::chrono::month{static_cast<unsigned>(*month)}, std::chrono::day{static_cast<unsigned>(*date)}};
  if (!whole.ok()) return std::nullopt;
  return std::chrono::duration_cast<std::chrono::milliseconds>(std::chrono::sys_days{whole}.time_since_epoch()).count();
}

}  // namespace steadyglow::card
