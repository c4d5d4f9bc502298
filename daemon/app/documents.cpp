#include "app/documents.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <nlohmann/json.hpp>

#include "app/run_pages.hpp"
#include "core/decimal.hpp"
#include "record/compare_json.hpp"
#include "seal/seal.hpp"
#include "store/reader.hpp"

namespace steadyglow::app {
namespace {

using Json = nlohmann::ordered_json;

/// What was proposed last, and who signed last.
struct Ending {
  std::string verdict;
  std::string signed_by;
};

Result<Ending> ending_of(store::StoreReader& reader, std::int64_t run) {
  auto events = reader.events(run);
  if (!events) return tl::unexpected(events.error());
  Ending ending;
  for (const store::EventRow& event : *events) {
    if (event.kind != "verdict" && event.kind != "signature") continue;
    const Json json = Json::parse(event.json, nullptr, false);
    if (!json.is_object()) continue;
    ending.verdict = json.value("word", ending.verdict);
    if (event.kind == "signature") ending.signed_by = json.value("who", "");
  }
  return ending;
}

Json text_or_null(const std::string& text) { return text.empty() ? Json(nullptr) : Json(text); }

Result<http::Document> list_runs(store::StoreReader& reader) {
  auto runs = reader.runs();
  if (!runs) return tl::unexpected(runs.error());
  Json list = Json::array();
  for (auto run = runs->rbegin(); run != runs->rend() && list.size() < runs_listed_max; ++run) {
    auto ending = ending_of(reader, run->id);
    if (!ending) return tl::unexpected(ending.error());
    list.push_back({{"id", run->id}, {"unit", run->unit}, {"title", run->title}, {"serial", run->serial}, {"plan", run->plan_name}, {"started_utc", run->started_utc},
                    {"ended_utc", text_or_null(run->ended_utc)}, {"state", run->state}, {"verdict", text_or_null(ending->verdict)}, {"signed_by", text_or_null(ending->signed_by)}});
  }
  return http::Document{"application/json", {}, Json{{"runs", std::move(list)}}.dump(), false};
}

std::string query_of(const http::DocumentRequest& request, const char* key) {
  const auto found = request.query.find(key);
  return found == request.query.end() ? std::string{} : found->second;
}

/// What a browser calls the file: the serial number, or the unit's name, as far as a file may be called so.
std::string file_name(const store::RunRow& run, std::string_view extension) {
  std::string name = run.serial.empty() ? run.unit : run.serial;
  const auto is_plain = [](unsigned char c) { return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9') || c == '-' || c == '_'; };
  std::replace_if(name.begin(), name.end(), [&](char c) { return !is_plain(static_cast<unsigned char>(c)); }, '_');
  return fmt::format("{}-run-{}.{}", name, run.id, extension);
}

struct PageKind {
  std::string_view name;
  std::string_view type;
};
constexpr PageKind page_kinds[] = {{"page.pdf", "application/pdf"}, {"page.html", "text/html; charset=utf-8"}, {"page.png", "image/png"}, {"graph.png", "image/png"}};

Result<http::Document> make_page(const std::string& store_file, const store::RunRow& run, const PageKind& kind, const std::string& paper) {
  // What can be sealed shows whose key seals it; without one the page is whole all the same.
  if (run.state == "ended") (void)seal::SigningKey::of_store(store_file);
  const auto pages = pages_of_run(store_file, run.id);
  if (!pages) return tl::unexpected(pages.error());
  auto bytes = page_file((*pages)->input, kind.name, paper);
  if (!bytes) return tl::unexpected(bytes.error());
  return http::Document{std::string(kind.type), file_name(run, kind.name.substr(kind.name.find('.') + 1)), std::move(*bytes), false};
}

Result<http::Document> make_record(const std::string& store_file, store::StoreReader& reader, const store::RunRow& run) {
  // The key first: the pages show its fingerprint.
  const auto key = seal::SigningKey::of_store(store_file);
  if (!key) return tl::unexpected(key.error());
  auto data = seal::gather(reader, run.id);
  if (!data) return tl::unexpected(data.error());
  const auto pages = pages_of_run(store_file, run.id);
  if (!pages) return tl::unexpected(pages.error());
  auto files = record_pages(**pages);
  if (!files) return tl::unexpected(files.error());
  auto sealed = seal::sealed_files(std::move(*data), std::move(*files), *key);
  if (!sealed) return tl::unexpected(sealed.error());
  auto zip = seal::zip_of(*sealed);
  if (!zip) return tl::unexpected(zip.error());
  return http::Document{"application/zip", file_name(run, "zip"), std::move(*zip), true};
}

Result<http::Document> make_seal(const std::string& store_file, store::StoreReader& reader, const store::RunRow& run) {
  const auto key = seal::SigningKey::of_store(store_file);
  if (!key) return tl::unexpected(key.error());
  const auto data = seal::gather(reader, run.id);
  if (!data) return tl::unexpected(data.error());
  return http::Document{"application/json", {}, Json{{"run", run.id}, {"code", data->manifest.code}, {"key_fingerprint", key->public_key().fingerprint()}}.dump(), false};
}

Result<http::Document> make_comparison(const std::string& store_file, const store::RunRow& run, const std::string& with) {
  const auto other = parse_decimal(with);
  if (!other || *other < 1.0 || *other != static_cast<double>(static_cast<std::int64_t>(*other))) return fail(Fault::usage, "`with` is no number of a run", "?with=1");
  const auto first = pages_of_run(store_file, static_cast<std::int64_t>(*other));
  if (!first) return tl::unexpected(first.error());
  const auto second = pages_of_run(store_file, run.id);
  if (!second) return tl::unexpected(second.error());
  const bool is_later = (*first)->figures.run.id > run.id;
  const record::RunFigures& earlier = is_later ? (*second)->figures : (*first)->figures;
  const record::RunFigures& later = is_later ? (*first)->figures : (*second)->figures;
  return http::Document{"application/json", {}, record::to_json(record::compare(earlier, later)).dump(-1, ' ', false, Json::error_handler_t::replace), false};
}

}  // namespace

Result<http::Document> make_document(const std::string& store_file, const http::DocumentRequest& request) {
  auto reader = store::StoreReader::open(store_file);
  if (!reader) return tl::unexpected(reader.error());
  if (request.run == 0) return list_runs(**reader);
  auto run = (*reader)->run(request.run);
  if (!run) return tl::unexpected(run.error());
  if (!*run) return fail(Fault::bad_data, fmt::format("there is no run {}", request.run));
  for (const PageKind& kind : page_kinds)
    if (request.name == kind.name) return make_page(store_file, **run, kind, query_of(request, "paper"));
  if (request.name == "record.zip") return make_record(store_file, **reader, **run);
  if (request.name == "seal") return make_seal(store_file, **reader, **run);
  if (request.name == "compare") return make_comparison(store_file, **run, query_of(request, "with"));
  return fail(Fault::bad_data, fmt::format("a run has no `{}`", request.name), "the addresses are in daemon/http/API.md");
}

}  // namespace steadyglow::app
