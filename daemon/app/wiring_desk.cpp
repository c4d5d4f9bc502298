#include "app/wiring_desk.hpp"

#include <boost/asio/post.hpp>
#include <fmt/format.h>

#include <algorithm>
#include <chrono>

#include "app/bench_clock.hpp"
#include "app/clip_list.hpp"
#include "app/found_devices.hpp"
#include "app/found_devices_json.hpp"
#include "app/text_file.hpp"
#include "core/decimal.hpp"

namespace steadyglow::app {
namespace {

using Json = nlohmann::ordered_json;

/// A meter at ten readings a second for the longest window of the wiggle test.
constexpr std::size_t kept_max = 1000;
constexpr double kept_seconds = wiggle_reference_seconds_max + 2.0 * wiggle_recent_seconds;

double seconds_of(Boottime at) { return std::chrono::duration<double>(at).count(); }

/// What a touch moves at least, in the quantity's base unit; below that a meter's last digit flips. Common practice, no source.
double least_move(Quantity quantity) {
  switch (quantity) {
    case Quantity::voltage: return 1e-4;
    case Quantity::current: return 1e-3;
    case Quantity::power: return 0.2;
    case Quantity::temperature: return 0.1;
    case Quantity::frequency: return 0.02;
    case Quantity::resistance: return 0.05;
    case Quantity::speed: case Quantity::ratio: case Quantity::energy: case Quantity::state: break;
  }
  return 1e-3;
}

const char* to_word(WiggleState state) {
  switch (state) {
    case WiggleState::unread: return "unread";
    case WiggleState::quiet: return "quiet";
    case WiggleState::moved: return "moved";
    case WiggleState::went: return "went";
    case WiggleState::came: break;
  }
  return "came";
}

Json or_null(const std::optional<double>& value) { return value ? Json(*value) : Json(nullptr); }

}  // namespace

WiringDesk::WiringDesk(std::string config_file, const Settings& settings, const Facts& facts, std::function<std::int64_t(const std::string& kind, const std::string& json)> remember)
    : config_file_(std::move(config_file)), settings_(settings), facts_(facts), remember_(std::move(remember)), search_(settings.buses), devices_pool_(std::make_unique<boost::asio::thread_pool>(1)) {
  for (const UnitSettings& unit : settings_.units) kept_.emplace_back(unit.points.size());
  last_alone_.resize(kept_.size());
}

void WiringDesk::stop() {
  // Not waited for here: its question may take longer than the loop can stand still.
  search_.stop();
  devices_pool_->stop();
  devices_pool_->join();
}

void WiringDesk::take(const acquire::MeterBatch& batch) {
  const double at_s = seconds_of(batch.taken_at);
  for (std::size_t u = 0; u < settings_.units.size(); ++u) {
    const auto& points = settings_.units[u].points;
    for (std::size_t p = 0; p < points.size(); ++p) {
      if (points[p].bus != batch.bus || points[p].meter != batch.meter || points[p].channel >= batch.reply.channels.size()) continue;
      const auto& said = batch.reply.channels[points[p].channel];
      auto& kept = kept_[u][p];
      kept.push_back({at_s, said.value, said.quality});
      while (kept.size() > kept_max || kept.front().at_s < at_s - kept_seconds) kept.pop_front();
    }
  }
}

// ---- looking for meters ----

void WiringDesk::devices(std::function<void(Result<http::Document>)> reply) {
  boost::asio::post(*devices_pool_, [config = config_file_, reply = std::move(reply)] {
    FoundDevices found = find_devices("/");
    // The file may have been changed since the daemon read it: what stands in it now is what counts for the next start.
    if (const auto text = read_text_file(config)) {
      Errors errors;
      const document::Node node = document::parse(*text, config, errors);
      if (errors.empty()) note_configured(found, node, config, "/");
    }
    reply(http::Document{"application/json", {}, to_json(found).dump(-1, ' ', false, Json::error_handler_t::replace), false});
  });
}

Json WiringDesk::search(const std::function<std::string(const char*)>& value) {
  Expected expected;
  expected.value = parse_decimal(value("expect"));
  if (const std::string name = value("name"); !name.empty()) expected.name = name;
  if (const std::string quantity = value("quantity"); !quantity.empty()) expected.quantity = quantity;
  if (const std::string uom = value("uom"); !uom.empty()) expected.uom = uom;
  return search_.state(expected);
}

Result<Json> WiringDesk::carry_out(const http::Order& order) {
  if (order.verb == "stop") search_.stop();
  if (order.verb == "look")
    if (auto begun = search_.begin(order.body); !begun) return tl::unexpected(begun.error());
  return search_.state({});
}

// ---- clips ----

const drivers::ChannelInfo& WiringDesk::channel(const PointBinding& binding) const { return settings_.buses[binding.bus].meters[binding.meter].channels[binding.channel]; }

std::string WiringDesk::channel_name(const PointBinding& binding) const { return settings_.buses[binding.bus].meters[binding.meter].name + "." + channel(binding).name; }

Json WiringDesk::clips(std::size_t u) const {
  const UnitSettings& unit = settings_.units[u];
  Json list = Json::array();
  for (const Clip& clip : clip_list(unit, settings_.buses)) {
    const ClipFact* fact = facts_.clip(unit.name, unit.serial, clip.point);
    // A tick is for the wire that was touched: one that hangs on another channel now is not ticked.
    const bool is_ticked = fact != nullptr && fact->channel == clip.channel;
    Json tick = nullptr;
    if (is_ticked) tick = {{"who", fact->who}, {"utc", utc_label(fact->utc_ms)}, {"is_seen", fact->is_seen}, {"text", fact->text}};
    list.push_back({{"point", clip.point}, {"channel", clip.channel}, {"bus", clip.bus}, {"where", clip.where}, {"chain", clip.chain}, {"between", clip.between},
                    {"sign", to_word(clip.sign)}, {"sign_words", clip.sign_words}, {"reference", to_word(clip.reference)}, {"reference_words", clip.reference_words},
                    {"quantity", clip.quantity}, {"shown_uom", clip.shown_uom}, {"nominal", or_null(clip.nominal)}, {"expected_volts", or_null(clip.expected_volts)},
                    {"at_worst_volts", or_null(clip.at_worst_volts)}, {"is_protective", clip.is_protective}, {"is_mains", clip.is_mains}, {"cautions", clip.cautions}, {"ticked", std::move(tick)}});
  }
  return {{"unit", unit.name}, {"title", unit.title}, {"serial", unit.serial}, {"bench", unit.bench}, {"kind", unit.profile.kind}, {"cautions", clip_cautions()}, {"clips", std::move(list)}};
}

WiggleAnswer WiringDesk::answer(std::size_t u) const {
  std::vector<WiggleTrace> traces;
  for (std::size_t p = 0; p < kept_[u].size(); ++p) {
    const auto& info = channel(settings_.units[u].points[p]);
    const auto uom = find_uom(info.quantity, info.uom);
    WiggleTrace trace;
    trace.least = least_move(info.quantity) / (uom ? uom->to_base : 1.0);
    for (const Kept& kept : kept_[u][p]) trace.samples.push_back({kept.at_s, kept.value, kept.quality == Quality::good});
    traces.push_back(std::move(trace));
  }
  return who_moved(traces, seconds_of(boottime_now()));
}

Json WiringDesk::wiggle(std::size_t u) {
  const UnitSettings& unit = settings_.units[u];
  const WiggleAnswer told = answer(u);
  const double now_s = seconds_of(boottime_now());
  last_alone_[u].take(told, now_s);
  const auto point_name = [&](std::size_t p) { return Json(unit.profile.point(unit.points[p].point).name); };
  const auto alone = last_alone_[u].mover(now_s);
  Json points = Json::array();
  for (std::size_t p = 0; p < told.points.size(); ++p) {
    const WigglePoint& point = told.points[p];
    const auto& info = channel(unit.points[p]);
    const auto uom = find_uom(info.quantity, info.uom);
    Json age_s = Json::array(), value = Json::array();
    for (const Kept& kept : kept_[u][p]) {
      if (now_s - kept.at_s > wiggle_reference_seconds + wiggle_recent_seconds && kept_[u][p].size() > 60) continue;
      age_s.push_back(std::round(10.0 * (now_s - kept.at_s)) / 10.0);
      value.push_back(kept.quality == Quality::good ? Json(kept.value) : Json(nullptr));
    }
    points.push_back({{"point", unit.profile.point(unit.points[p].point).name}, {"channel", channel_name(unit.points[p])}, {"shown_uom", uom ? uom->shown : ""}, {"state", to_word(point.state)},
                      {"moved_by", point.moved_by}, {"noise", point.noise}, {"times_noise", point.times_noise}, {"age_s", std::move(age_s)}, {"value", std::move(value)}});
  }
  return {{"unit", unit.name}, {"movers", told.movers}, {"mover", told.mover ? point_name(*told.mover) : Json(nullptr)},
          {"alone", alone ? Json{{"point", point_name(alone->point)}, {"age_s", std::round(10.0 * (now_s - alone->last_s)) / 10.0}, {"since_s", std::round(10.0 * (now_s - alone->first_s)) / 10.0}} : Json(nullptr)}, {"points", std::move(points)}};
}

Result<Json> WiringDesk::touched(std::size_t u, const http::Order& order) {
  const UnitSettings& unit = settings_.units[u];
  const std::string point = order.text("point");
  const auto binding = std::find_if(unit.points.begin(), unit.points.end(), [&](const PointBinding& one) { return unit.profile.point(one.point).name == point; });
  if (binding == unit.points.end()) return fail(Fault::bad_data, fmt::format("this unit has no point `{}`", point));
  const double now_s = seconds_of(boottime_now());
  last_alone_[u].take(answer(u), now_s);
  const auto alone = last_alone_[u].mover(now_s);
  // A person may tick what they saw in another way; the journal says whether the trace was seen to move by itself just before.
  const bool is_seen = alone && alone->point == static_cast<std::size_t>(binding - unit.points.begin());
  std::string text = order.text("text");
  if (text.empty()) text = is_seen ? "its trace moved, alone" : "ticked by eye";
  remember_("clip_touched", Json{{"unit", unit.name}, {"serial", unit.serial}, {"point", point}, {"channel", channel_name(*binding)}, {"who", order.who()}, {"text", std::move(text)},
                                 {"is_seen", is_seen}}.dump());
  return clips(u);
}

std::string WiringDesk::touched_words(const UnitSettings& unit) const {
  std::size_t ticked = 0, seen = 0;
  const ClipFact* oldest = nullptr;
  const ClipFact* newest = nullptr;
  for (const PointBinding& binding : unit.points) {
    const ClipFact* fact = facts_.clip(unit.name, unit.serial, unit.profile.point(binding.point).name);
    if (fact == nullptr || fact->channel != channel_name(binding)) continue;
    ++ticked;
    if (fact->is_seen) ++seen;
    if (oldest == nullptr || fact->utc_ms < oldest->utc_ms) oldest = fact;
    if (newest == nullptr || fact->utc_ms >= newest->utc_ms) newest = fact;
  }
  if (ticked == 0) return {};
  // A tick of months ago is for clips that came off since: the dates let a person see that.
  return fmt::format("{} of {} clips touched and ticked, {} of them seen to move alone; the first {}, the last {} by {}", ticked, unit.points.size(), seen, utc_label(oldest->utc_ms), utc_label(newest->utc_ms), newest->who);
}

}  // namespace steadyglow::app
