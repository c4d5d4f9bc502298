#include "app/run_pages.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <filesystem>

#include "card/cards.hpp"
#include "seal/digest.hpp"
#include "seal/key.hpp"
#include "seal/scratch_file.hpp"
#include "seal/seal.hpp"
#include "store/reader.hpp"

namespace steadyglow::app {
namespace {

constexpr std::size_t photo_bytes_most = std::size_t{8} << 20;
/// Clips beyond this make no page better.
constexpr std::size_t clips_most = 24;

/// The code of the data, as the sealed record carries it; empty while the run goes on.
std::string code_of(store::StoreReader& reader, const store::RunRow& run) {
  if (run.state != "ended") return {};
  const auto data = seal::gather(reader, run.id);
  return data ? data->manifest.code : std::string{};
}

/// Of the key that seals this shop's records; empty until there is one: looking at pages makes no key.
std::string fingerprint_of(const std::string& store_file) {
  const std::string file = seal::key_file_of(store_file);
  std::error_code code;
  if (!std::filesystem::exists(file, code)) return {};
  const auto key = seal::SigningKey::at(file);
  return key ? key->public_key().fingerprint() : std::string{};
}

void take_plate(const card::Card& card, record::CardExtract& extract) {
  const card::Plate& plate = card.plate;
  extract.plate = plate.maker.empty() || plate.model.empty() ? plate.maker + plate.model : plate.maker + " " + plate.model;
  if (plate.nameplate_volts) extract.nameplate = fmt::format("{:g} V", *plate.nameplate_volts);
  if (plate.nameplate_hertz) extract.nameplate += fmt::format("{}{:g} Hz", extract.nameplate.empty() ? "" : ", ", *plate.nameplate_hertz);
  extract.stock_number = plate.stock_number;
}

void take_entries(const card::Card& card, record::CardExtract& extract) {
  const auto each = [&](card::EntryKind kind, const auto& what) {
    for (const card::Entry* entry : card.standing(kind)) what(*entry);
  };
  const auto signed_sentence = [](const card::Entry& entry) { return fmt::format("{} ({}, {})", card::sentence_of(entry), entry.who, card::utc_text(entry.utc_ms).substr(0, 10)); };
  each(card::EntryKind::repair, [&](const card::Entry& entry) {
    if (const std::string told = entry.text("told"); !told.empty()) extract.faults.push_back(told);
    extract.done.push_back(signed_sentence(entry));
  });
  each(card::EntryKind::adjustment, [&](const card::Entry& entry) { extract.done.push_back(signed_sentence(entry)); });
  each(card::EntryKind::safety_test, [&](const card::Entry& entry) { extract.safety.push_back(signed_sentence(entry)); });
  for (const card::Entry* entry : card.tubes()) extract.tubes.push_back(card::sentence_of(*entry));
}

void take_photos(const card::Card& card, const std::string& store_file, record::RunFigures& figures, record::PageInput& input) {
  for (const card::Entry* entry : card.standing(card::EntryKind::photo)) {
    const std::string digest = entry->text("sha256"), point = entry->text("point"), caption = entry->text("caption");
    const bool is_clip = !point.empty();
    if (is_clip && input.clips.size() >= clips_most) continue;
    // A name from the journal becomes part of a path: nothing but a digest may.
    const bool is_digest = digest.size() == seal::digest_hex_length && digest.find_first_not_of("0123456789abcdef") == std::string::npos;
    const auto bytes = is_digest ? seal::read_plain_file(store_file + ".photos/" + digest, photo_bytes_most) : fail(Fault::bad_data, "no digest");
    const bool is_whole = bytes && seal::sha256_hex(*bytes) == digest;
    if (!is_whole) {
      figures.doubts.push_back(fmt::format("A photo of the card is gone or damaged: {}.", caption.empty() ? digest : caption));
      continue;
    }
    record::Photo photo{*bytes, caption.empty() ? (is_clip ? "a clip at " + point : "the unit") : caption, is_clip ? point + (caption.empty() ? "" : ": " + caption) : caption};
    if (is_clip) input.clips.push_back(std::move(photo));
    else input.photo = {std::move(photo)};  // the newest stands for the unit
  }
}

Result<void> take_card(store::StoreReader& reader, const std::string& store_file, RunPages& pages) {
  auto journal = reader.journal();
  if (!journal) return tl::unexpected(journal.error());
  card::Cards cards;
  for (const store::JournalRow& row : *journal) cards.take(card::Row{row.seq, row.utc_ms, row.kind, row.json});
  const store::RunRow& run = pages.figures.run;
  card::RunSeen seen;
  seen.id = run.id;
  seen.unit = run.unit;
  seen.title = run.title;
  seen.serial = run.serial;
  seen.kind = pages.figures.profile.kind;
  cards.take(seen);
  const card::Card* card = cards.card_of(run.unit, run.serial);
  if (card == nullptr) return {};
  pages.card = card::to_json(*card).dump(-1, ' ', false, nlohmann::ordered_json::error_handler_t::replace);
  take_plate(*card, pages.input.card);
  take_entries(*card, pages.input.card);
  take_photos(*card, store_file, pages.figures, pages.input);
  return {};
}

}  // namespace

Result<std::unique_ptr<RunPages>> pages_of_run(const std::string& store_file, std::int64_t run, const PageWishes& wishes) {
  auto reader = store::StoreReader::open(store_file);
  if (!reader) return tl::unexpected(reader.error());
  const auto row_of = [&](std::int64_t id) -> Result<store::RunRow> {
    auto row = (*reader)->run(id);
    if (!row) return tl::unexpected(row.error());
    if (!*row) return fail(Fault::bad_data, fmt::format("there is no run {}", id), "the page lists all runs", store_file);
    return std::move(**row);
  };
  const auto row = row_of(run);
  if (!row) return tl::unexpected(row.error());
  const auto events = (*reader)->events(run);
  if (!events) return tl::unexpected(events.error());
  const auto damaged_before = (*reader)->damage().rows;
  auto figures = record::figures_of(*row, [&](const auto& visit) { return (*reader)->for_each_input(run, visit); }, *events);
  if (!figures) return tl::unexpected(figures.error());
  auto pages = std::make_unique<RunPages>();
  pages->figures = std::move(*figures);
  pages->input.figures = &pages->figures;
  pages->input.shop = wishes.shop;
  if (const auto damaged = (*reader)->damage().rows - damaged_before; damaged > 0) pages->figures.doubts.push_back(fmt::format("{} stored rows of this run are damaged and were left out.", damaged));
  if (auto taken = take_card(**reader, store_file, *pages); !taken) return tl::unexpected(taken.error());
  pages->input.short_code = code_of(**reader, *row);
  if (!pages->input.short_code.empty()) pages->input.key_fingerprint = fingerprint_of(store_file);
  for (const std::int64_t id : wishes.sisters) {
    const auto sister = row_of(id);
    if (!sister) return tl::unexpected(sister.error());
    pages->input.sisters.push_back({sister->title, sister->serial, code_of(**reader, *sister)});
  }
  return pages;
}

Result<std::string> page_file(const record::PageInput& input, std::string_view name, std::string_view paper) {
  if (!paper.empty() && paper != "a4" && paper != "letter") return fail(Fault::usage, fmt::format("`{}` is no paper that is known here", paper), "a4 or letter");
  if (name == "page.pdf") return record::page_pdf(input, paper == "letter" ? record::PaperSize::letter : record::PaperSize::a4);
  if (name == "page.html") return record::page_html(input);
  if (name == "page.png") return record::page_png(input);
  if (name == "graph.png") return record::graph_png(input);
  return fail(Fault::usage, fmt::format("the pages have no file `{}`", name), "page.pdf, page.html, page.png or graph.png");
}

Result<std::vector<seal::NamedFile>> record_pages(const RunPages& pages) {
  std::vector<seal::NamedFile> files;
  for (const char* name : {"page.pdf", "page.html", "page.png"}) {
    auto bytes = page_file(pages.input, name);
    if (!bytes) return tl::unexpected(bytes.error());
    files.push_back({name, std::move(*bytes)});
  }
  if (!pages.card.empty()) files.push_back({"card.json", pages.card});
  return files;
}

}  // namespace steadyglow::app
