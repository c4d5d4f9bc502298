#include <fmt/chrono.h>
#include <fmt/format.h>

#include <cmath>
#include <ctime>

#include "card/cards.hpp"

namespace steadyglow::card {
namespace {

using Json = nlohmann::ordered_json;

constexpr double seconds_per_hour = 3600.0;

Json text_or_null(const std::string& text) { return text.empty() ? Json(nullptr) : Json(text); }
Json number_or_null(const std::optional<double>& number) { return number ? Json(*number) : Json(nullptr); }
Json id_or_null(std::int64_t id) { return id == 0 ? Json(nullptr) : Json(id); }

/// Hours as seconds, to the millisecond.
Json seconds_or_null(const std::optional<double>& hours) { return hours ? Json(std::round(*hours * seconds_per_hour * 1000.0) / 1000.0) : Json(nullptr); }

Json to_json(const Entry& entry) {
  return {{"id", entry.id},         {"utc", utc_text(entry.utc_ms)},           {"who", entry.who}, {"kind", to_word(entry.kind)}, {"fields", entry.fields},
          {"corrects", id_or_null(entry.corrects)}, {"corrected_by", id_or_null(entry.corrected_by)}, {"text", sentence_of(entry)}};
}

}  // namespace

std::string utc_text(std::int64_t utc_ms) { return fmt::format("{:%Y-%m-%dT%H:%M:%SZ}", fmt::gmtime(static_cast<std::time_t>(utc_ms / 1000))); }

Json to_json(const RunSeen& run) {
  return {{"id", run.id},       {"unit", run.unit},   {"title", run.title},           {"serial", run.serial},
          {"plan", run.plan},   {"started_utc", run.started_utc}, {"ended_utc", text_or_null(run.ended_utc)}, {"state", run.state},
          {"verdict", text_or_null(run.word)}, {"signed_by", text_or_null(run.signed_by)}, {"counted_s", seconds_or_null(run.counted_hours)}, {"powered_s", seconds_or_null(run.powered_hours)},
          {"failed_s", seconds_or_null(run.failed_hours)}};
}

Json to_list_json(const Card& card, const std::vector<FoundBy>& by) {
  const std::int64_t changed = card.changed_ms();
  Json json{{"name", card.name},   {"title", card.title()},      {"kind", card.plate.kind}, {"maker", card.plate.maker}, {"model", card.plate.model}, {"serial", card.plate.serial},
            {"nameplate_volts", number_or_null(card.plate.nameplate_volts)}, {"nameplate_hertz", number_or_null(card.plate.nameplate_hertz)}, {"stock_number", card.plate.stock_number},
            {"state", to_word(card.whereabouts())}, {"is_configured", !card.configured_as.empty()}, {"unit", card.configured_as},
            {"changed_utc", changed == 0 ? Json(nullptr) : Json(utc_text(changed))}, {"runs", card.runs.size()}};
  if (!by.empty()) {
    json["found_by"] = Json::array();
    for (const FoundBy& one : by) json["found_by"].push_back({{"field", one.field}, {"text", one.text}});
  }
  return json;
}

Json to_json(const Card& card) {
  Json json = to_list_json(card);
  json["photos"] = Json::array();
  for (const Entry* photo : card.standing(EntryKind::photo))
    json["photos"].push_back({{"sha256", photo->text("sha256")}, {"content_type", photo->text("content_type")}, {"caption", photo->text("caption")}, {"point", photo->text("point")}, {"entry", photo->id}});
  json["tubes"] = Json::array();
  for (const Entry* tube : card.tubes())
    json["tubes"].push_back({{"socket", tube->text("socket")}, {"type", tube->text("type")}, {"identity", tube->text("identity")}, {"prior_hours", number_or_null(tube->number("prior_hours"))}, {"entry", tube->id}});
  json["runs"] = Json::array();
  for (auto run = card.runs.rbegin(); run != card.runs.rend(); ++run) json["runs"].push_back(to_json(*run));
  json["entries"] = Json::array();
  for (const Entry& entry : card.entries) json["entries"].push_back(to_json(entry));
  return json;
}

}  // namespace steadyglow::card
