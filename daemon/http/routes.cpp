#include "http/routes.hpp"

#include <boost/asio/post.hpp>
#include <nlohmann/json.hpp>

#include <charconv>
#include <optional>
#include <set>

#include "core/decimal.hpp"
#include "http/json.hpp"
#include "http/metrics.hpp"

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

unsigned status_of(Fault fault) {
  switch (fault) {
    case Fault::bad_data: return 404;
    case Fault::usage:
    case Fault::permission:
    case Fault::config: return 409;
    case Fault::unavailable:
    case Fault::cannot_create:
    case Fault::io: return 503;
  }
  return 503;
}

Response refused(const Error& error) { return refusal(status_of(error.fault), error.message, error.hint); }

Response wrong_method(const char* allowed) {
  Response response = refusal(405, "this address does not know that method");
  response.fields.emplace_back("Allow", allowed);
  return response;
}

Response nothing_here() { return refusal(404, "there is nothing at this address", "the addresses are in daemon/http/API.md"); }

/// The object that a person's page or command sent. Reads what it should hold, and remembers the first mistake.
class Form {
 public:
  Form(const std::string& body, const std::set<std::string>& names) : json_(nlohmann::json::parse(body, nullptr, false)) {
    if (!json_.is_object()) {
      mistake("the body is no JSON object");
      return;
    }
    for (const auto& [name, value] : json_.items())
      if (!names.contains(name)) mistake("unknown field `" + name + "`");
  }

  std::string who() {
    std::string name = text("who", who_bytes_max, true);
    if (name.find_first_not_of(' ') == std::string::npos) mistake("`who` is empty", "say who does it");
    return name;
  }
  std::string text(const char* name, std::size_t bytes_max, bool is_needed) {
    const auto found = is_good() ? json_.find(name) : json_.end();
    if (!is_good() || found == json_.end()) {
      if (is_needed) mistake(std::string("`") + name + "` is missing");
      return {};
    }
    if (!found->is_string()) return mistake(std::string("`") + name + "` is no text"), "";
    const auto& value = found->get_ref<const std::string&>();
    if (value.size() > bytes_max) return mistake(std::string("`") + name + "` is longer than " + std::to_string(bytes_max) + " bytes"), "";
    for (const char c : value)
      if (static_cast<unsigned char>(c) < 0x20 || c == 0x7f) return mistake(std::string("`") + name + "` has a control character"), "";
    return value;
  }
  bool truth(const char* name) {
    const auto found = is_good() ? json_.find(name) : json_.end();
    if (!is_good() || found == json_.end() || !found->is_boolean()) return mistake(std::string("`") + name + "` must be true or false"), false;
    return found->get<bool>();
  }
  const std::optional<Response>& wrong() const { return wrong_; }

 private:
  bool is_good() const { return !wrong_; }
  void mistake(std::string message, std::string hint = {}) {
    if (!wrong_) wrong_ = refusal(400, std::move(message), std::move(hint));
  }
  nlohmann::json json_;
  std::optional<Response> wrong_;
};

std::optional<std::int64_t> read_id(const std::string& text) {
  std::int64_t id = 0;
  const auto [end, status] = std::from_chars(text.data(), text.data() + text.size(), id);
  if (status != std::errc{} || end != text.data() + text.size()) return std::nullopt;
  return id;
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
  const bool is_api = parts.size() >= 2 && parts[0] == "api" && parts[1] == "v1";
  const auto is_verb = [&](const char* what, const char* verb) { return is_api && parts.size() == 5 && parts[2] == what && parts[4] == verb; };

  if (is_verb("units", "history")) return request.is_read_only() ? history(parts[3], *target, std::move(reply)) : reply(wrong_method("GET, HEAD"));
  const bool is_order = is_verb("alarms", "acknowledge") || is_verb("units", "start") || is_verb("units", "stop");
  if (!is_order) {
    Response response = read(*target, request);
    return reply(response.status == 404 || request.is_read_only() ? std::move(response) : wrong_method("GET, HEAD"));
  }
  if (request.method != "POST") return reply(wrong_method("POST"));
  if (parts[4] == "acknowledge") return reply(acknowledge(parts[3], request.body));
  reply(parts[4] == "start" ? start(parts[3], request.body) : stop(parts[3], request.body));
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
  return asset(path, request.if_none_match);
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

Response Routes::acknowledge(const std::string& id, const std::string& body) const {
  const auto alarm = read_id(id);
  if (!alarm) return nothing_here();
  Form form(body, {"who", "note"});
  const std::string who = form.who();
  const std::string note = form.text("note", note_bytes_max, false);
  if (form.wrong()) return *form.wrong();
  const auto answer = backend_.acknowledge(*alarm, who, note);
  return answer ? ok({{"alarm", to_json(*answer)}}) : refused(answer.error());
}

Response Routes::start(const std::string& unit, const std::string& body) const {
  Form form(body, {"who", "at_the_bench"});
  const std::string who = form.who();
  const bool is_at_the_bench = form.truth("at_the_bench");
  if (form.wrong()) return *form.wrong();
  const auto answer = backend_.start(unit, who, is_at_the_bench);
  return answer ? ok({{"unit", to_json(*answer)}}) : refused(answer.error());
}

Response Routes::stop(const std::string& unit, const std::string& body) const {
  Form form(body, {"who", "why"});
  const std::string who = form.who();
  const std::string why = form.text("why", note_bytes_max, false);
  if (form.wrong()) return *form.wrong();
  const auto answer = backend_.stop(unit, who, why);
  return answer ? ok({{"unit", to_json(*answer)}}) : refused(answer.error());
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
