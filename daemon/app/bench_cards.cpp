#include "app/bench_cards.hpp"

#include <boost/asio/post.hpp>
#include <fmt/format.h>
#include <spdlog/spdlog.h>

#include <sys/resource.h>
#include <unistd.h>

#include <algorithm>
#include <map>
#include <nlohmann/json.hpp>

#include "app/bench_clock.hpp"
#include "card/advice.hpp"
#include "core/decimal.hpp"

namespace steadyglow::app {
namespace {

using Json = nlohmann::ordered_json;

constexpr int worker_niceness = 10;

card::Row seen_from_cards(const store::JournalRow& row) { return {row.seq, row.utc_ms, row.kind, row.json}; }

card::Cards put_together(const card::Cards& written, const std::vector<card::ConfiguredUnit>& units, const std::vector<card::RunSeen>& runs) {
  card::Cards whole = written;
  for (const auto& unit : units) whole.take(unit);
  for (const auto& run : runs) whole.take(run);
  return whole;
}

std::string value_of(const http::DocumentRequest& request, const char* key) {
  const auto found = request.query.find(key);
  return found == request.query.end() ? std::string{} : found->second;
}

Result<void> only_these(const http::DocumentRequest& request, std::initializer_list<const char*> known) {
  for (const auto& [key, value] : request.query)
    if (std::none_of(known.begin(), known.end(), [&key = key](const char* one) { return key == one; })) return fail(Fault::usage, "unknown field `" + key + "`");
  return {};
}

http::Document as_json(const Json& json) { return {"application/json", {}, json.dump(-1, ' ', false, Json::error_handler_t::replace), false}; }

Result<http::Document> list_cards(const card::Cards& whole, const http::DocumentRequest& request) {
  if (auto known = only_these(request, {"find"}); !known) return tl::unexpected(known.error());
  const std::string text = value_of(request, "find");
  if (text.size() > card::find_text_bytes_max) return fail(Fault::usage, fmt::format("`find` is longer than {} bytes", card::find_text_bytes_max));
  std::vector<card::Found> found;
  if (request.query.contains("find")) {
    found = whole.find(text);
  } else {
    for (const card::Card& one : whole.all()) found.push_back({&one, 0, {}});
    std::stable_sort(found.begin(), found.end(), [](const card::Found& a, const card::Found& b) { return a.card->changed_ms() > b.card->changed_ms(); });
  }
  Json list = Json::array();
  for (const card::Found& one : found) {
    if (list.size() == cards_listed_max) break;
    list.push_back(card::to_list_json(*one.card, one.by));
  }
  const std::size_t left_out = found.size() - list.size();
  return as_json({{"cards", std::move(list)}, {"left_out", left_out}});
}

Result<http::Document> show_card(const card::Cards& whole, const http::DocumentRequest& request) {
  const card::Card* one = whole.find_card(request.name);
  if (one == nullptr) return fail(Fault::bad_data, fmt::format("there is no card `{}`", request.name), "look for it: /api/v1/cards?find=TEXT");
  return as_json({{"card", card::to_json(*one)}});
}

/// Every kind that the shop has had, with how many repairs of it are behind the figures.
Json kinds_of(const card::Cards& whole) {
  std::map<std::string, std::pair<std::size_t, std::size_t>> kinds;
  for (const card::RepairLife& life : card::lives_of(whole).all) {
    auto& [units, failures] = kinds[life.kind];
    ++units;
    failures += life.life.has_failed ? 1 : 0;
  }
  Json list = Json::array();
  for (const auto& [kind, counts] : kinds) list.push_back({{"kind", kind}, {"units", counts.first}, {"failures", counts.second}});
  return list;
}

Result<http::Document> remember_together(const card::Cards& whole, const http::DocumentRequest& request) {
  if (auto known = only_these(request, {"kind", "model", "hours"}); !known) return tl::unexpected(known.error());
  double hours = card::planned_hours_usual;
  if (const std::string text = value_of(request, "hours"); !text.empty()) {
    const auto number = parse_decimal(text);
    if (!number || *number <= 0.0 || *number > card::planned_hours_max) return fail(Fault::usage, fmt::format("`hours` is `{}`, no number above 0 and up to {}", text, card::planned_hours_max), "counted hours of the plan: ?hours=24");
    hours = *number;
  }
  const card::Which which{value_of(request, "kind"), value_of(request, "model")};
  const card::Lives lives = card::lives_of(whole, which);
  Json json{{"kind", which.kind}, {"model", which.model}};
  json.update(card::to_json(card::advise(lives, hours)));
  json["kinds"] = kinds_of(whole);
  json["runs_unread"] = lives.runs_unread;
  return as_json(json);
}

}  // namespace

BenchCards::BenchCards(std::string store_file, std::vector<card::ConfiguredUnit> units, boost::asio::io_context& loop, Remember remember)
    : store_file_(std::move(store_file)),
      units_(std::move(units)),
      loop_(loop),
      remember_(std::move(remember)),
      reading_(std::make_shared<card::Cards>()),
      worker_(std::make_unique<boost::asio::thread_pool>(1)) {
  // On Linux a thread's own: what guards goes before what is looked up.
  boost::asio::post(*worker_, [] { setpriority(PRIO_PROCESS, static_cast<id_t>(gettid()), worker_niceness); });
}

void BenchCards::take(const store::JournalRow& row) {
  if (auto hours = run_hours_from(row)) {
    known_.hours.try_emplace(hours->run, std::move(*hours));
    return;
  }
  const card::Row seen = seen_from_cards(row);
  if (reading_) return reading_->take(seen);
  if (!card::entry_of(seen)) return;
  card::Cards next = *written_;
  next.take(seen);
  written_ = std::make_shared<const card::Cards>(std::move(next));
}

void BenchCards::begin() {
  written_ = std::move(reading_);
  reading_.reset();
  work([this, known = known_] {
    const auto pass = pass_over_runs(store_file_, known, telling_patience);
    if (!pass) return spdlog::warn("the stored runs cannot be read for the cards: {}", pass.error().text());
    boost::asio::post(loop_, [this, pass = *pass] { learn(pass); });
  });
}

void BenchCards::stop() {
  is_stopping_ = true;
  worker_->stop();
  worker_->join();
}

void BenchCards::work(std::function<void()> job) { boost::asio::post(*worker_, std::move(job)); }

/// What a pass found is kept: a run is told again once only.
void BenchCards::learn(const RunsPass& pass) {
  if (is_stopping_) return;
  runs_ = pass.runs;
  known_.unreadable.insert(pass.unreadable.begin(), pass.unreadable.end());
  for (const RunHours& hours : pass.fresh)
    if (!known_.hours.contains(hours.run)) remember_(std::string(run_hours_row), hours.row_json());
  for (const card::RunSeen& run : runs_)
    if (run.state != "running" && !run.signed_by.empty() && known_.hours.contains(run.id)) known_.settled.insert_or_assign(run.id, run);
}

void BenchCards::run_was_signed(std::int64_t run) { known_.settled.erase(run); }

card::Cards BenchCards::whole() const { return put_together(*written_, units_, runs_); }

Json BenchCards::answer_for(const std::string& name) const {
  const card::Cards all = whole();
  const card::Card* one = all.find_card(name);
  return {{"card", one == nullptr ? Json(nullptr) : card::to_json(*one)}};
}

/// Returns the entry's number.
Result<std::int64_t> BenchCards::write(card::Entry entry) {
  entry.utc_ms = utc_now_ms();
  const card::Cards all = whole();
  if (auto accepted = all.accepts(entry); !accepted) return tl::unexpected(accepted.error());
  const card::Card* one = all.find_card(entry.card);
  if (one != nullptr && one->standing(card::EntryKind::photo).size() >= photos_per_card_max && entry.kind == card::EntryKind::photo)
    return fail(Fault::permission, fmt::format("this card has {} photos already", photos_per_card_max), "withdraw one that shows little, by a remark");
  entry.serial = one != nullptr ? one->plate.serial : entry.text("serial");
  // The list before leaving looks for the unit by its name in the configuration.
  if (entry.kind == card::EntryKind::safety_test && one != nullptr && !one->configured_as.empty()) entry.card = one->configured_as;
  const card::RowText row = card::row_of(entry);
  const std::int64_t number = remember_(row.kind, row.json);
  if (number == 0) return fail(Fault::io, "it could not be stored: the disk fails, and the memory is full", "write it on paper, and look at the state of the store");
  return number;
}

Result<nlohmann::ordered_json> BenchCards::add(const http::Order& order) {
  card::Entry entry;
  entry.card = order.name;
  entry.who = order.who();
  const auto kind = card::entry_kind_from_word(order.text("kind"));
  if (!kind) return fail(Fault::usage, fmt::format("`{}` is no kind of entry", order.text("kind")), card::entry_kind_words());
  if (*kind == card::EntryKind::photo) return fail(Fault::usage, "a photo comes by its own address", "POST /api/v1/cards/NAME/photos");
  entry.kind = *kind;
  if (!order.body.contains("fields") || !order.body["fields"].is_object()) return fail(Fault::usage, "`fields` is no object", "{\"text\": \"...\"}");
  entry.fields = order.body["fields"];
  if (order.body.contains("corrects")) {
    if (!order.body["corrects"].is_number_integer() || order.body["corrects"].get<std::int64_t>() < 1) return fail(Fault::usage, "`corrects` is no number of an entry", "the card shows the numbers");
    entry.corrects = order.body["corrects"].get<std::int64_t>();
  }
  const auto written = write(std::move(entry));
  if (!written) return tl::unexpected(written.error());
  return answer_for(order.name);
}

void BenchCards::add_photo(http::Photo photo, std::function<void(Result<nlohmann::ordered_json>)> reply) {
  card::Entry entry;
  entry.utc_ms = utc_now_ms();
  entry.card = photo.card;
  entry.who = photo.who;
  entry.kind = card::EntryKind::photo;
  const std::string type = picture_type(photo.bytes);
  if (type.empty()) return reply(fail(Fault::usage, "this is neither a JPEG nor a PNG", "by its first bytes; a telephone may be set to take JPEG"));
  entry.fields = {{"sha256", std::string(64, '0')}, {"content_type", type}, {"bytes", photo.bytes.size()}};
  if (!photo.caption.empty()) entry.fields["caption"] = photo.caption;
  if (!photo.point.empty()) entry.fields["point"] = photo.point;
  if (auto good = card::check(entry); !good) return reply(tl::unexpected(good.error()));
  if (waiting_ >= questions_waiting_max) return reply(fail(Fault::unavailable, "too many are being looked up", "ask again in a moment"));
  ++waiting_;
  work([this, entry = std::move(entry), bytes = std::move(photo.bytes), reply = std::move(reply)]() mutable {
    auto digest = keep_photo(store_file_, bytes);
    boost::asio::post(loop_, [this, entry = std::move(entry), digest = std::move(digest), reply = std::move(reply)]() mutable {
      --waiting_;
      if (!digest) return reply(tl::unexpected(digest.error()));
      const std::string name = entry.card;
      entry.fields["sha256"] = *digest;
      const auto written = write(std::move(entry));
      reply(written ? Result<nlohmann::ordered_json>(answer_for(name)) : tl::unexpected(written.error()));
    });
  });
}

void BenchCards::make(http::DocumentRequest request, std::function<void(Result<http::Document>)> reply) {
  if (waiting_ >= questions_waiting_max) return reply(fail(Fault::unavailable, "too many are being looked up", "ask again in a moment"));
  ++waiting_;
  work([this, request = std::move(request), reply = std::move(reply), written = written_, known = known_] {
    const auto done = [this](RunsPass pass, bool has_passed) {
      boost::asio::post(loop_, [this, pass = std::move(pass), has_passed] {
        --waiting_;
        if (has_passed) learn(pass);
      });
    };
    if (request.what == "photos") {
      reply(read_photo(store_file_, request.name));
      return done({}, false);
    }
    auto pass = pass_over_runs(store_file_, known, telling_patience);
    if (!pass) {
      reply(tl::unexpected(pass.error()));
      return done({}, false);
    }
    const card::Cards whole = put_together(*written, units_, pass->runs);
    reply(request.what == "memory" ? remember_together(whole, request) : request.name.empty() ? list_cards(whole, request) : show_card(whole, request));
    done(std::move(*pass), true);
  });
}

}  // namespace steadyglow::app
