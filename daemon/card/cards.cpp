#include "card/cards.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <map>

namespace steadyglow::card {
namespace {

bool contains(const std::string& text, const std::string& part) { return !part.empty() && text.find(part) != std::string::npos; }

/// Do these two titles speak of one model? A title that is missing says nothing against it.
bool are_alike(const std::string& one, const std::string& other) { return one.empty() || other.empty() || contains(one, other) || contains(other, one); }

bool has_serial(const Card& card, const std::string& serial) { return !serial.empty() && card.serials.contains(serial); }
/// Nothing that is known of its serial number speaks against this one.
bool may_have_serial(const Card& card, const std::string& serial) { return serial.empty() || card.serials.empty() || card.serials.contains(serial); }

void fill(std::string& field, const std::string& text) {
  if (field.empty()) field = text;
}

/// What was written stands; the rest is what the configuration and the runs say.
Plate plate_of(const Card& card) {
  Plate plate;
  const auto put = [](std::string& field, const std::string& text) {
    if (!text.empty()) field = text;
  };
  for (const Entry* entry : card.standing(EntryKind::unit)) {
    put(plate.title, entry->text("title"));
    put(plate.kind, entry->text("kind"));
    put(plate.maker, entry->text("maker"));
    put(plate.model, entry->text("model"));
    put(plate.serial, entry->text("serial"));
    put(plate.stock_number, entry->text("stock_number"));
    if (const auto volts = entry->number("nameplate_volts")) plate.nameplate_volts = volts;
    if (const auto hertz = entry->number("nameplate_hertz")) plate.nameplate_hertz = hertz;
  }
  fill(plate.title, card.seen.title);
  fill(plate.kind, card.seen.kind);
  fill(plate.serial, card.seen.serial);
  return plate;
}

/// The first word about it counts.
void see(Card& card, const std::string& title, const std::string& serial, const std::string& kind) {
  fill(card.seen.title, title);
  fill(card.seen.serial, serial);
  fill(card.seen.kind, kind);
  if (const std::string short_serial = squeezed(serial); !short_serial.empty()) card.serials.insert(short_serial);
  card.plate = plate_of(card);
}

constexpr int rank_whole = 3, rank_begins = 2, rank_within = 1;

int rank_of(const std::string& field, const std::string& wanted) {
  if (field == wanted) return rank_whole;
  if (field.starts_with(wanted)) return rank_begins;
  return contains(field, wanted) ? rank_within : 0;
}

/// Numbers that name one piece weigh more than what many have in common.
struct Searched {
  const char* field;
  std::string text;
  int weight;
};
constexpr int weight_number = 4, weight_name = 2, weight_common = 1;

std::vector<Searched> searched_of(const Card& card) {
  std::vector<Searched> all{{"serial", card.plate.serial, weight_number}, {"stock_number", card.plate.stock_number, weight_number}, {"title", card.title(), weight_name},
                            {"model", card.plate.model, weight_name},     {"name", card.name, weight_name},                         {"maker", card.plate.maker, weight_common},
                            {"kind", card.plate.kind, weight_common}};
  for (const RunSeen& run : card.runs) {
    if (squeezed(run.serial) != squeezed(card.plate.serial)) all.push_back({"serial", run.serial, weight_number});
    if (run.title != card.title()) all.push_back({"title", run.title, weight_name});
  }
  // Those that were once in it too: a tube is looked for where it was.
  for (const Entry* tube : card.standing(EntryKind::tube)) {
    all.push_back({"tube", tube->text("identity"), weight_number});
    all.push_back({"tube", tube->text("type"), weight_common});
  }
  return all;
}

std::vector<std::string> words_of(std::string_view text) {
  std::vector<std::string> words;
  while (!text.empty()) {
    const std::size_t end = std::min(text.find(' '), text.size());
    if (std::string word = squeezed(text.substr(0, end)); !word.empty()) words.push_back(std::move(word));
    text.remove_prefix(std::min(end + 1, text.size()));
  }
  return words;
}

void note(std::vector<FoundBy>& by, const Searched& one) {
  if (std::none_of(by.begin(), by.end(), [&](const FoundBy& other) { return other.field == one.field && other.text == one.text; })) by.push_back({one.field, one.text});
}

/// The best field for what is wanted; 0: none has it.
int best_of(const std::vector<Searched>& fields, const std::string& wanted, std::vector<FoundBy>& by) {
  int best = 0;
  const Searched* where = nullptr;
  for (const Searched& one : fields) {
    const int rank = one.weight * rank_of(squeezed(one.text), wanted);
    if (rank > best) {
      best = rank;
      where = &one;
    }
  }
  if (where != nullptr) note(by, *where);
  return best;
}

}  // namespace

std::string_view to_word(Whereabouts whereabouts) {
  switch (whereabouts) {
    case Whereabouts::in_shop: return "in_shop";
    case Whereabouts::sold: return "sold";
    case Whereabouts::returned: break;
  }
  return "returned";
}

std::string squeezed(std::string_view text) {
  std::string out;
  for (const char c : text) {
    const auto byte = static_cast<unsigned char>(c);
    if (c >= 'A' && c <= 'Z') out += static_cast<char>(c - 'A' + 'a');
    else if ((c >= 'a' && c <= 'z') || (c >= '0' && c <= '9') || byte >= 0x80) out += c;
  }
  return out;
}

std::vector<const Entry*> Card::standing(EntryKind kind) const {
  std::vector<const Entry*> all;
  for (const Entry& entry : entries)
    if (entry.kind == kind && entry.corrected_by == 0) all.push_back(&entry);
  return all;
}

std::vector<const Entry*> Card::tubes() const {
  std::map<std::string, const Entry*> by_socket;
  for (const Entry* tube : standing(EntryKind::tube)) by_socket[squeezed(tube->text("socket"))] = tube;
  std::vector<const Entry*> all;
  for (const auto& [socket, tube] : by_socket) all.push_back(tube);
  return all;
}

Whereabouts Card::whereabouts() const {
  Whereabouts now = Whereabouts::in_shop;
  for (const Entry& entry : entries) {
    if (entry.corrected_by != 0) continue;
    if (entry.kind == EntryKind::sold) now = Whereabouts::sold;
    if (entry.kind == EntryKind::returned) now = Whereabouts::returned;
  }
  return now;
}

std::int64_t Card::changed_ms() const {
  std::int64_t newest = 0;
  for (const Entry& entry : entries) newest = std::max(newest, entry.utc_ms);
  for (const RunSeen& run : runs) newest = std::max(newest, run.started_ms);
  return newest;
}

std::string Card::title() const {
  if (!plate.title.empty()) return plate.title;
  if (!plate.model.empty()) return plate.maker.empty() ? plate.model : plate.maker + " " + plate.model;
  return name;
}

const Card* Cards::find_card(std::string_view name) const {
  const auto found = std::find_if(cards_.begin(), cards_.end(), [&](const Card& card) { return card.name == name; });
  return found == cards_.end() ? nullptr : &*found;
}

std::optional<std::size_t> Cards::index_of(std::string_view unit, std::string_view given_serial, std::string_view given_title) const {
  const std::string serial = squeezed(given_serial), title = squeezed(given_title);
  const auto first = [&](const auto& claim) -> std::optional<std::size_t> {
    const auto found = std::find_if(cards_.begin(), cards_.end(), claim);
    return found == cards_.end() ? std::nullopt : std::optional(static_cast<std::size_t>(found - cards_.begin()));
  };
  // The number on the plate first: a name in the configuration is used again for the next unit.
  if (const auto same = first([&](const Card& card) { return has_serial(card, serial) && (card.name == unit || card.units.contains(std::string(unit)) || are_alike(squeezed(card.title()), title)); })) return same;
  if (const auto named = first([&](const Card& card) { return card.name == unit && may_have_serial(card, serial); })) return named;
  if (serial.empty()) return std::nullopt;
  const std::string longer = std::string(unit) + "-" + serial;
  return first([&](const Card& card) { return card.name == longer && may_have_serial(card, serial); });
}

const Card* Cards::card_of(std::string_view unit, std::string_view serial) const {
  const auto index = index_of(unit, serial, {});
  return index ? &cards_[*index] : nullptr;
}

std::size_t Cards::card_named(const std::string& name) {
  for (std::size_t i = 0; i < cards_.size(); ++i)
    if (cards_[i].name == name) return i;
  cards_.push_back({});
  cards_.back().name = name;
  return cards_.size() - 1;
}

std::size_t Cards::attach(const std::string& unit, const std::string& serial, const std::string& title) {
  const auto known = index_of(unit, serial, title);
  const std::size_t index = known ? *known : card_named(find_card(unit) == nullptr ? unit : unit + "-" + squeezed(serial));
  cards_[index].units.insert(unit);
  return index;
}

void Cards::write(Card& card, Entry entry) {
  if (entry.corrects != 0)
    for (Entry& old : card.entries)
      if (old.id == entry.corrects && old.corrected_by == 0) old.corrected_by = entry.id;
  if (const std::string serial = squeezed(entry.text("serial")); entry.kind == EntryKind::unit && !serial.empty()) card.serials.insert(serial);
  card.entries.push_back(std::move(entry));
}

void Cards::take(const Row& row) {
  auto entry = entry_of(row);
  if (!entry) return;
  // A fact carries the name of the configuration; an entry that of the card.
  const std::size_t index = row.kind.starts_with("card_") ? card_named(entry->card) : attach(entry->card, entry->serial, {});
  Card& card = cards_[index];
  see(card, {}, entry->serial, {});
  entry->card = card.name;
  write(card, std::move(*entry));
  card.plate = plate_of(card);
}

void Cards::take(const ConfiguredUnit& unit) {
  Card& card = cards_[attach(unit.name, unit.serial, unit.title)];
  card.configured_as = unit.name;
  see(card, unit.title, unit.serial, unit.kind);
}

void Cards::take(const RunSeen& run) {
  Card& card = cards_[attach(run.unit, run.serial, run.title)];
  see(card, run.title, run.serial, run.kind);
  card.runs.push_back(run);
}

std::vector<Found> Cards::find(std::string_view text) const {
  const std::string whole = squeezed(text.substr(0, find_text_bytes_max));
  const std::vector<std::string> words = words_of(text.substr(0, find_text_bytes_max));
  std::vector<Found> all;
  if (whole.empty()) return all;
  constexpr int whole_weight = 16;  // all of it in one field beats its words here and there
  for (const Card& card : cards_) {
    const auto fields = searched_of(card);
    Found found{&card, 0, {}};
    if (const int rank = best_of(fields, whole, found.by); rank > 0) {
      found.rank = whole_weight * rank;
    } else {
      for (const std::string& word : words) {
        const int one = best_of(fields, word, found.by);
        if (one == 0) {
          found.rank = 0;
          break;
        }
        found.rank += one;
      }
    }
    if (found.rank > 0) all.push_back(std::move(found));
  }
  std::stable_sort(all.begin(), all.end(), [](const Found& a, const Found& b) { return a.rank != b.rank ? a.rank > b.rank : a.card->changed_ms() > b.card->changed_ms(); });
  return all;
}

Result<void> Cards::accepts(const Entry& entry) const {
  if (auto good = check(entry); !good) return good;
  if (entry.corrects == 0) return {};
  const Card* card = find_card(entry.card);
  const auto none = [&] { return fail(Fault::bad_data, fmt::format("the card {} has no entry {}", entry.card, entry.corrects), "the card shows the number of each entry"); };
  if (card == nullptr) return none();
  const auto old = std::find_if(card->entries.begin(), card->entries.end(), [&](const Entry& one) { return one.id == entry.corrects; });
  if (old == card->entries.end()) return none();
  if (old->corrected_by != 0) return fail(Fault::permission, fmt::format("entry {} was corrected before, by entry {}", entry.corrects, old->corrected_by), fmt::format("correct entry {}", old->corrected_by));
  if (old->kind == entry.kind) return {};
  if (old->kind == EntryKind::safety_test) return fail(Fault::usage, "a safety test is corrected by a safety test alone", "write the new one; the old one stays, struck through");
  if (entry.kind == EntryKind::remark) return {};
  return fail(Fault::usage, fmt::format("entry {} is a {}, not a {}", entry.corrects, to_word(old->kind), to_word(entry.kind)), "correct it by its own kind, or withdraw it by a remark that says why");
}

}  // namespace steadyglow::card
