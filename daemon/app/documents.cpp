#include "app/documents.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <nlohmann/json.hpp>

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

}  // namespace

Result<http::Document> make_document(const std::string& store_file, const http::DocumentRequest& request) {
  auto reader = store::StoreReader::open(store_file);
  if (!reader) return tl::unexpected(reader.error());
  if (request.run == 0) return list_runs(**reader);
  auto run = (*reader)->run(request.run);
  if (!run) return tl::unexpected(run.error());
  if (!*run) return fail(Fault::bad_data, fmt::format("there is no run {}", request.run));
  return fail(Fault::bad_data, fmt::format("a run has no `{}`", request.name), "the addresses are in daemon/http/API.md");
}

}  // namespace steadyglow::app
