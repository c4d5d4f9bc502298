#include "http/orders.hpp"

#include <algorithm>
#include <array>
#include <nlohmann/json.hpp>
#include <span>
#include <string_view>

#include "http/json.hpp"
#include "http/routes.hpp"
#include "http/target.hpp"

namespace steadyglow::http {
namespace {

struct OrderShape {
  std::string_view what;
  bool is_named;          ///< has a NAME between what and verb
  std::string_view verb;
  bool needs_who;
  std::vector<std::string_view> fields;  ///< besides who
};

const std::vector<OrderShape>& shapes() {
  static const std::vector<OrderShape> all{
      {"units", true, "start", true, {"at_the_bench", "policy"}},
      {"units", true, "stop", true, {"why"}},
      {"units", true, "acts", true, {"kind", "why", "alarm", "minutes", "points", "control", "before", "after", "bench", "word"}},
      {"units", true, "facts", true, {"kind", "text"}},
      {"units", true, "leave", true, {"policy"}},
      {"units", true, "repaired", true, {"note"}},
      {"units", true, "touched", true, {"point", "text"}},
      {"wiring", false, "look", true, {"kind", "host", "port", "device", "baud", "parity", "stop_bits", "timeout_seconds", "first", "last", "address", "table", "from", "count"}},
      {"wiring", false, "stop", true, {}},
      {"benches", true, "rehearse", true, {"unit"}},
      {"benches", true, "cut", true, {"why"}},
      {"benches", true, "close", true, {"at_the_bench"}},
      {"benches", true, "repaired", true, {"note"}},
      {"benches", true, "cautions", true, {"accepted"}},
      {"alarms", true, "acknowledge", true, {"note"}},
      {"incidents", true, "acknowledge", true, {"note"}},
      {"notify", false, "test", true, {}},
      {"morning", false, "tick", true, {"id"}},
      {"cards", true, "entries", true, {"kind", "fields", "corrects"}},
  };
  return all;
}

/// A message's link: the token in it is its key, so neither a password nor a name is asked.
const OrderShape answer_shape{"answer", false, "", false, {"incident", "token", "do", "who"}};

const OrderShape* shape_of(const std::vector<std::string>& parts) {
  if (parts.size() == 1 && parts[0] == "answer") return &answer_shape;
  if (parts.size() < 4 || parts[0] != "api" || parts[1] != "v1") return nullptr;
  for (const OrderShape& shape : shapes()) {
    const std::size_t count = shape.is_named ? 5 : 4;
    if (parts.size() == count && parts[2] == shape.what && parts.back() == shape.verb) return &shape;
  }
  return nullptr;
}

std::optional<std::string> wrong_text(const std::string& text) {
  if (text.size() > note_bytes_max) return "is longer than " + std::to_string(note_bytes_max) + " bytes";
  const bool has_control = std::any_of(text.begin(), text.end(), [](unsigned char c) { return c < 0x20 || c == 0x7f; });
  return has_control ? std::optional<std::string>("has a control character") : std::nullopt;
}

/// Texts, numbers and flags; lists of them; and one object deep (a policy).
std::optional<std::string> wrong_value(const nlohmann::json& value, int depth) {
  if (value.is_string()) return wrong_text(value.get_ref<const std::string&>());
  if (value.is_boolean() || value.is_number()) return std::nullopt;
  if (depth == 0 || !(value.is_array() || value.is_object())) return "is of a kind that does not belong here";
  if (value.size() > list_entries_max) return "has more than " + std::to_string(list_entries_max) + " entries";
  for (const auto& entry : value)
    if (auto wrong = wrong_value(entry, depth - 1)) return wrong;
  return std::nullopt;
}

std::optional<Response> wrong_body(const OrderShape& shape, const nlohmann::json& body) {
  if (!body.is_object()) return refusal(400, "the body is no JSON object");
  for (const auto& [name, value] : body.items()) {
    const bool is_known = (shape.needs_who && name == "who") || std::find(shape.fields.begin(), shape.fields.end(), name) != shape.fields.end();
    if (!is_known) return refusal(400, "unknown field `" + name + "`");
    if (const auto wrong = wrong_value(value, 2)) return refusal(400, "`" + name + "` " + *wrong);
  }
  if (!shape.needs_who) return std::nullopt;
  const auto who = body.find("who");
  if (who == body.end()) return refusal(400, "`who` is missing");
  if (!who->is_string()) return refusal(400, "`who` is no text");
  const auto& name = who->get_ref<const std::string&>();
  if (name.size() > who_bytes_max) return refusal(400, "`who` is longer than " + std::to_string(who_bytes_max) + " bytes");
  if (name.find_first_not_of(' ') == std::string::npos) return refusal(400, "`who` is empty", "say who does it");
  if (shape.verb == "start" && !(body.contains("at_the_bench") && body["at_the_bench"].is_boolean())) return refusal(400, "`at_the_bench` must be true or false");
  for (const char* text : {"why", "note"})
    if (body.contains(text) && !body[text].is_string()) return refusal(400, std::string("`") + text + "` is no text");
  return std::nullopt;
}

}  // namespace

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

bool is_order(const std::vector<std::string>& parts) { return shape_of(parts) != nullptr; }

Response carry_out(const std::vector<std::string>& parts, const std::string& body, const Backend& backend) {
  const OrderShape& shape = *shape_of(parts);
  const auto name = shape.is_named ? decode(parts[3], false) : std::string{};
  if (!name || wrong_text(*name)) return refusal(400, "this address has a bad percent code in it");
  Order order{std::string(shape.what), *name, std::string(shape.verb), nlohmann::json::parse(body, nullptr, false)};
  if (auto wrong = wrong_body(shape, order.body)) return *wrong;
  const auto answer = backend.order(order);
  // A message's link that is none of ours is no conflict: whoever sends it has no business here.
  const bool is_strange = !answer && shape.what == answer_shape.what && answer.error().fault == Fault::permission;
  // What is wrong in an entry is wrong at any time.
  const bool is_wrong = !answer && shape.what == "cards" && answer.error().fault == Fault::usage;
  if (!answer) return refusal(is_strange ? 403 : is_wrong ? 400 : status_of(answer.error().fault), answer.error().message, answer.error().hint);
  Response response;
  response.content_type = "application/json";
  response.text = to_line(*answer);
  return response;
}

}  // namespace steadyglow::http
