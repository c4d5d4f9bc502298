#include "app/facts.hpp"

#include <sodium.h>

#include <array>
#include <nlohmann/json.hpp>

namespace steadyglow::app {
namespace {

using Json = nlohmann::json;

template <class Map>
const typename Map::mapped_type* find_in(const Map& map, const std::string& key) {
  const auto found = map.find(key);
  return found == map.end() ? nullptr : &found->second;
}

}  // namespace

std::string checksum_of(const std::string& text) {
  std::array<unsigned char, crypto_generichash_BYTES_MIN> sum{};
  crypto_generichash(sum.data(), sum.size(), reinterpret_cast<const unsigned char*>(text.data()), text.size(), nullptr, 0);
  std::array<char, 2 * crypto_generichash_BYTES_MIN + 1> hex{};
  sodium_bin2hex(hex.data(), hex.size(), sum.data(), sum.size());
  return hex.data();
}

void Facts::take(const store::JournalRow& row) {
  const Json json = Json::parse(row.json, nullptr, false);
  if (!json.is_object()) return;
  const auto text = [&](const char* key) { return json.value(key, std::string{}); };
  if (row.kind == "contact") contacts_[text("output")] = {json.value("is_defective", false), json.value("is_unproven", false), text("why")};
  if (row.kind == "interlock") {
    if (json.value("is_locked", true)) interlocks_[text("output")] = text("why");
    else interlocks_.erase(text("output"));
  }
  if (row.kind == "rehearsal")
    rehearsals_[text("bench") + '/' + text("unit")] = {text("bench"), text("unit"), json.value("is_passed", false), text("text"), text("who"), row.utc_ms};
  if (row.kind == "unit_fact")
    units_[text("unit") + '/' + text("serial") + '/' + text("kind")] = {text("unit"), text("serial"), text("kind"), text("who"), text("text"), text("of"), row.utc_ms};
  if (row.kind == "clip_touched")
    clips_[text("unit") + '/' + text("serial") + '/' + text("point")] = {text("unit"), text("serial"), text("point"), text("channel"), text("who"), text("text"), json.value("is_seen", false), row.utc_ms};
  if (row.kind == "notify_test") notify_tests_[text("route")] = {text("route"), json.value("is_delivered", false), text("error"), row.utc_ms};
  if (row.kind == "cautions") cautions_[text("who")] = {text("who"), json.value("accepted", std::vector<std::string>{}), row.utc_ms};
  if (row.kind == "tick") ticks_.try_emplace(text("item"), TickFact{text("item"), text("who"), row.utc_ms});
}

ContactFact Facts::contact(const std::string& output) const {
  const auto* found = find_in(contacts_, output);
  return found ? *found : ContactFact{};
}

std::optional<std::string> Facts::interlock(const std::string& output) const {
  const auto* why = find_in(interlocks_, output);
  return why ? std::optional(*why) : std::nullopt;
}

const RehearsalFact* Facts::rehearsal(const std::string& bench, const std::string& unit) const { return find_in(rehearsals_, bench + '/' + unit); }
const UnitFact* Facts::unit(const std::string& unit, const std::string& serial, const std::string& kind) const { return find_in(units_, unit + '/' + serial + '/' + kind); }
const ClipFact* Facts::clip(const std::string& unit, const std::string& serial, const std::string& point) const { return find_in(clips_, unit + '/' + serial + '/' + point); }
const CautionsFact* Facts::cautions(const std::string& who) const { return find_in(cautions_, who); }
const TickFact* Facts::tick(const std::string& item) const { return find_in(ticks_, item); }

}  // namespace steadyglow::app
