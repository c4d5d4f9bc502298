#include "http/routes.hpp"

#include <boost/asio/post.hpp>
#include <nlohmann/json.hpp>

#include <charconv>
#include <optional>

#include "core/decimal.hpp"
#include "http/json.hpp"
#include "http/metrics.hpp"
#include "http/orders.hpp"

namespace steadyglow::http {
namespace {

using Json = nlohmann::ordered_json;

constexpr const char* json_type = "application/json";

Response ok_text(std::string text) {
  Response response;
  response.content_type = json_type;
  response.text = std::move(text);
  return response;
}

Response ok(const Json& json) { return ok_text(to_line(json)); }

Response refused(const Error& error) { return refusal(status_of(error.fault), error.message, error.hint); }

Response wrong_method(const char* allowed) {
  Response response = refusal(405, "this address does not know that method");
  response.fields.emplace_back("Allow", allowed);
  return response;
}

Response nothing_here() { return refusal(404, "there is nothing at this address", "the addresses are in daemon/http/API.md"); }

std::optional<std::int64_t> read_id(const std::string& text) {
  std::int64_t id = 0;
  const auto [end, status] = std::from_chars(text.data(), text.data() + text.size(), id);
  if (status != std::errc{} || end != text.data() + text.size()) return std::nullopt;
  return id;
}

/// "cards", "cards/NAME", "photos/DIGEST", "memory" or "wiring/devices": where it is read from.
std::optional<DocumentRequest> book_request(const std::vector<std::string>& parts) {
  const bool is_list = parts.size() == 3 && (parts[2] == "cards" || parts[2] == "memory");
  const bool is_one = parts.size() == 4 && (parts[2] == "cards" || parts[2] == "photos" || (parts[2] == "wiring" && parts[3] == "devices"));
  if (!is_list && !is_one) return std::nullopt;
  const auto name = is_one ? decode(parts[3], false) : std::string{};
  if (!name || (is_one && name->empty())) return std::nullopt;
  return DocumentRequest{.run = 0, .name = *name, .query = {}, .what = parts[2]};
}

/// Either the request or what is wrong with it.
Result<HistoryRequest> read_history_request(const std::string& unit, const Target& target) {
  HistoryRequest request;
  request.unit = unit;
  request.points = split(target.value("points").value_or(""), ',');
  std::erase(request.points, "");
  if (request.points.empty()) return fail(Fault::usage, "`points` names no point", "?points=a,b&from_s=0&to_s=86400&buckets=600");
  if (request.points.size() > history_points_max) return fail(Fault::usage, "at most " + std::to_string(history_points_max) + " points at once");
  if (const auto from = target.value("from_s")) {
    const auto seconds = parse_decimal(*from);
    if (!seconds || *seconds < 0.0) return fail(Fault::usage, "`from_s` is no time in seconds");
    request.from_s = *seconds;
  }
  if (const auto to = target.value("to_s")) {
    request.to_s = parse_decimal(*to);
    if (!request.to_s || *request.to_s <= request.from_s) return fail(Fault::usage, "`to_s` is no time in seconds after `from_s`");
  }
  if (const auto buckets = target.value("buckets")) {
    const auto count = read_id(std::string(*buckets));
    if (!count || *count < 1 || *count > history_buckets_max) return fail(Fault::usage, "`buckets` must be 1 to " + std::to_string(history_buckets_max));
    request.buckets = static_cast<int>(*count);
  }
  return request;
}

}  // namespace

Response refusal(unsigned status, std::string message, std::string hint) {
  Response response;
  response.status = status;
  response.content_type = json_type;
  response.text = to_line(to_json(Error{Fault::usage, std::move(message), std::move(hint), {}}));
  return response;
}

Routes::Routes(boost::asio::io_context& loop, Backend backend, std::function<ServerFigures()> figures)
    : loop_(loop), backend_(std::move(backend)), figures_(std::move(figures)) {}

void Routes::handle(const Request& request, Reply reply) const {
  const auto target = read_target(request.target);
  if (!target) return reply(refusal(400, "this is no address"));
  const auto parts = split(std::string_view(target->path).substr(1), '/');  // "api", "v1", what, name, verb
  const bool is_api = parts.size() >= 3 && parts[0] == "api" && parts[1] == "v1";
  const auto is_verb = [&](const char* what, const char* verb) { return is_api && parts.size() == 5 && parts[2] == what && parts[4] == verb; };

  if (is_verb("units", "history")) return request.is_read_only() ? history(parts[3], *target, std::move(reply)) : reply(wrong_method("GET, HEAD"));
  if (is_api && parts[2] == "runs" && (parts.size() == 3 || parts.size() == 5)) return request.is_read_only() ? document(parts, *target, std::move(reply)) : reply(wrong_method("GET, HEAD"));
  if (const auto book = is_api ? book_request(parts) : std::nullopt) return request.is_read_only() ? make(*book, *target, std::move(reply)) : reply(wrong_method("GET, HEAD"));
  if (is_photo_address(request.target)) return request.is_read_only() ? reply(wrong_method("POST")) : photo(parts[3], *target, request, std::move(reply));
  // The page of a message's link is at the same address as the order that it sends.
  if (!is_order(parts) || (parts.size() == 1 && request.is_read_only())) {
    Response response = read(*target, request);
    return reply(response.status == 404 || request.is_read_only() ? std::move(response) : wrong_method("GET, HEAD"));
  }
  if (request.method != "POST") return reply(wrong_method("POST"));
  reply(carry_out(parts, request.body, backend_));
}

/// What needs no waiting and changes nothing.
Response Routes::read(const Target& target, const Request& request) const {
  const std::string& path = target.path;
  if (path == "/healthz") return health();
  if (path == "/metrics") {
    Response response;
    response.content_type = metrics_type;
    response.text = metrics_text(backend_.bench(), read_process_figures(), figures_());
    return response;
  }
  if (path == "/api/v1/bench") return ok(to_json(backend_.bench()));
  if (path == "/api/v1/alarms") {
    Json alarms = Json::array();
    for (const AlarmView& alarm : backend_.bench().alarms) alarms.push_back(to_json(alarm));
    return ok({{"alarms", std::move(alarms)}});
  }
  if (path == "/api/v1/stream") {
    Response response;
    response.content_type = "text/event-stream";
    response.is_stream = true;
    return response;
  }
  const auto parts = split(path, '/');
  if (path.starts_with("/api/v1/units/") && parts.size() == 6 && parts[5] == "findings") {
    const auto findings = backend_.findings(parts[4]);
    return findings ? ok_text(to_line(*findings)) : refused(findings.error());
  }
  const bool is_of_unit = path.starts_with("/api/v1/units/") && parts.size() == 6 && (parts[5] == "ready" || parts[5] == "clips" || parts[5] == "wiggle");
  if (is_of_unit || path == "/api/v1/morning" || path == "/api/v1/cautions" || path == "/api/v1/wiring/search") {
    const auto value = [&](const char* key) { return std::string(target.value(key).value_or("")); };
    const auto answer = backend_.ask(is_of_unit ? parts[5] : parts[3], is_of_unit ? parts[4] : std::string{}, value);
    return answer ? ok(*answer) : refused(answer.error());
  }
  return asset(path == "/answer" ? "/answer.html" : path, request.if_none_match);
}

void Routes::history(const std::string& unit, const Target& target, Reply reply) const {
  auto request = read_history_request(unit, target);
  if (!request) return reply(refusal(400, request.error().message, request.error().hint));
  // The worker answers from its own thread, and the megabytes become text there; the rest belongs to the loop.
  const auto on_worker = [&loop = loop_, reply = std::move(reply)](const Result<nlohmann::json>& answer) {
    Response response = answer ? ok_text(to_line(*answer)) : refused(answer.error());
    boost::asio::post(loop, [response = std::move(response), reply]() mutable { reply(std::move(response)); });
  };
  backend_.history(std::move(*request), on_worker);
}

void Routes::document(const std::vector<std::string>& parts, const Target& target, Reply reply) const {
  DocumentRequest request;
  if (parts.size() == 5) {
    const auto run = read_id(parts[3]);
    if (!run || *run < 1 || !backend_.document) return reply(nothing_here());
    request.run = *run;
    request.name = parts[4];
  }
  make(std::move(request), target, std::move(reply));
}

void Routes::make(DocumentRequest request, const Target& target, Reply reply) const {
  if (!backend_.document) return reply(nothing_here());
  for (const auto& [key, value] : target.query) request.query.emplace(key, value);
  // Of a run it may be too early to ask; what is wrong in a question about the cards is wrong at any time.
  const bool is_of_runs = request.what == "runs";
  const auto on_worker = [&loop = loop_, is_of_runs, reply = std::move(reply)](Result<Document> made) {
    Response response;
    if (made) {
      response.content_type = made->content_type;
      response.text = std::move(made->bytes);
      if (!made->file_name.empty()) response.fields.emplace_back("Content-Disposition", (made->is_kept ? "attachment" : "inline") + ("; filename=\"" + made->file_name + '"'));
      // A page of the record runs nothing, even if somebody's words in it look like a program.
      if (made->content_type.starts_with("text/html")) response.fields.emplace_back("Content-Security-Policy", "sandbox; default-src 'none'; img-src data:; style-src 'unsafe-inline'; font-src data:");
    } else {
      response = made.error().fault == Fault::usage && !is_of_runs ? refusal(400, made.error().message, made.error().hint) : refused(made.error());
    }
    boost::asio::post(loop, [response = std::move(response), reply]() mutable { reply(std::move(response)); });
  };
  backend_.document(std::move(request), on_worker);
}

void Routes::photo(const std::string& card, const Target& target, const Request& request, Reply reply) const {
  const auto name = decode(card, false);
  if (!name || !backend_.photo) return reply(nothing_here());
  for (const auto& [key, value] : target.query)
    if (key != "who" && key != "caption" && key != "point") return reply(refusal(400, "unknown field `" + key + "`", "?who=Ada&caption=underside&point=v1_cathode_mv"));
  const auto text = [&](const char* key) { return std::string(target.value(key).value_or("")); };
  const auto on_worker = [&loop = loop_, reply = std::move(reply)](const Result<Json>& made) {
    // What is wrong with it was wrong at any time, as in an entry.
    Response response = made ? ok(*made) : made.error().fault == Fault::usage ? refusal(400, made.error().message, made.error().hint) : refused(made.error());
    boost::asio::post(loop, [response = std::move(response), reply]() mutable { reply(std::move(response)); });
  };
  backend_.photo({*name, text("who"), text("caption"), text("point"), request.body}, on_worker);
}

Response Routes::health() const {
  const Health health = backend_.health();
  if (health.is_ok()) return ok({{"state", "ok"}});
  Response response = ok({{"state", "failing"}, {"reasons", health.reasons}});
  response.status = 503;
  return response;
}

Response Routes::asset(const std::string& path, const std::string& if_none_match) const {
  const FoundAsset found = backend_.find_asset ? backend_.find_asset(path) : FoundAsset{};
  if (!found.is_found) return nothing_here();
  Response response;
  response.content_type = found.content_type;
  response.fields.emplace_back("Cache-Control", "no-cache");
  if (!found.etag.empty()) {
    const std::string etag = found.etag.front() == '"' ? std::string(found.etag) : '"' + std::string(found.etag) + '"';
    response.fields.emplace_back("ETag", etag);
    if (if_none_match.find(etag) != std::string::npos) {
      response.status = 304;
      return response;
    }
  }
  response.fixed = found.body;
  return response;
}

}  // namespace steadyglow::http
