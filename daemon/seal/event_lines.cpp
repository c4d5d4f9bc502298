#include "seal/event_lines.hpp"

#include "seal/bounded_json.hpp"
#include "seal/digest.hpp"

namespace steadyglow::seal {
namespace {

constexpr std::size_t events_max = 1'000'000;
/// Whoever reads on after this many breaks learns nothing new.
constexpr std::size_t broken_told_max = 20;

}  // namespace

std::string chain_start() { return std::string(digest_hex_length, '0'); }

Result<ChainedLines> chain(const std::vector<EventLine>& events) {
  ChainedLines out;
  out.head = chain_start();
  std::int64_t n = 0;
  for (const EventLine& event : events) {
    auto json = bounded_json(event.json);
    if (!json || !json->is_object()) return fail(Fault::bad_data, "the event of " + std::to_string(seconds_of(event.at)) + " s cannot be read: " + (json ? "no JSON object" : json.error().message));
    nlohmann::ordered_json line;
    line["n"] = ++n;
    line["before"] = out.head;
    line["after_input"] = event.after_input;
    line["at_ms"] = ms_of(event.at);
    line["kind"] = event.kind;
    line["event"] = std::move(*json);
    const std::string text = line.dump(-1, ' ', false, nlohmann::json::error_handler_t::replace);
    out.head = sha256_hex(text);
    out.text += text;
    out.text += '\n';
  }
  return out;
}

Result<ReadLines> read_chain(std::string_view text) {
  ReadLines out;
  out.head = chain_start();
  std::size_t begin = 0;
  std::int64_t n = 0;
  while (begin < text.size()) {
    ++n;
    const std::size_t end = text.find('\n', begin);
    const std::string where = "events.jsonl:" + std::to_string(n);
    if (end == std::string_view::npos && text.size() - begin <= json_bytes_max) return fail(Fault::bad_data, "the last line has no end", "the file is cut short", where);
    const std::string_view line = text.substr(begin, std::min(end, text.size()) - begin);
    const auto json = bounded_json(line);
    if (!json) return fail(Fault::bad_data, json.error().message, "", where);
    if (static_cast<std::size_t>(n) > events_max) return fail(Fault::bad_data, "more than " + std::to_string(events_max) + " events are not read", "", where);
    const auto whole = [&](const char* key) { return json->is_object() && json->contains(key) && (*json)[key].is_number_integer(); };
    const auto words = [&](const char* key) { return json->is_object() && json->contains(key) && (*json)[key].is_string(); };
    if (!whole("n") || !words("before") || !whole("after_input") || !whole("at_ms") || !words("kind") || !json->contains("event") || !(*json)["event"].is_object() || json->size() != 6)
      return fail(Fault::bad_data, "a line needs n, before, after_input, at_ms, kind and event, and nothing else", "", where);
    const auto number = (*json)["n"].get<std::int64_t>();
    if (out.broken.size() < broken_told_max) {
      const std::string bytes = " (bytes " + std::to_string(begin) + " to " + std::to_string(begin + line.size() - 1) + ")";
      if (number != n) out.broken.push_back(where + bytes + ": it says that it is event " + std::to_string(number));
      if ((*json)["before"].get<std::string>() != out.head)
        out.broken.push_back(where + bytes + ": the chain breaks before it: " + (n == 1 ? "an event was dropped, put in or moved" : "the line before was changed, or an event was dropped, put in or moved"));
    }
    out.head = sha256_hex(line);
    out.events.push_back({(*json)["after_input"].get<std::int64_t>(), at_ms((*json)["at_ms"].get<std::int64_t>()), (*json)["kind"].get<std::string>(), (*json)["event"].dump(-1, ' ', false, nlohmann::json::error_handler_t::replace)});
    begin = end + 1;
  }
  return out;
}

}  // namespace steadyglow::seal
