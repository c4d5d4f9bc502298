#pragma once
/// The bench over HTTP: the API of API.md, the live stream, the page and /metrics, on the program's own loop.
/// It judges nothing and switches nothing: it shows what the Backend says and hands on what a person asks for.
#include <chrono>
#include <cstdint>
#include <functional>
#include <map>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include <boost/asio/io_context.hpp>
#include <nlohmann/json.hpp>

#include "core/result.hpp"
#include "http/view.hpp"

namespace steadyglow::http {

struct Health {
  std::vector<std::string> reasons;  ///< what does not move; empty when all is well
  bool is_ok() const { return reasons.empty(); }
};

struct HistoryRequest {
  std::string unit;
  std::vector<std::string> points;  ///< as asked, 1 to history_points_max
  double from_s = 0.0;              ///< run time
  std::optional<double> to_s;       ///< above from_s; empty: to the newest reading
  int buckets = 600;                ///< 1 to history_buckets_max
};
inline constexpr std::size_t history_points_max = 32;
inline constexpr int history_buckets_max = 2000;

/// A file of the page, in static storage. Made from whatever record the page's room keeps (content_type, body, etag),
/// so that the two rooms need not know each other.
struct FoundAsset {
  bool is_found = false;
  std::string_view content_type;
  std::string_view body;
  std::string_view etag;  ///< with or without its quotation marks; may be empty

  FoundAsset() = default;
  template <class Asset>
  FoundAsset(const Asset* asset) {  // NOLINT: this conversion is the purpose
    if (asset == nullptr) return;
    is_found = true;
    content_type = asset->content_type;
    body = asset->body;
    etag = asset->etag;
  }
};

/// What a person orders: POST /api/v1/WHAT/NAME/VERB with its body, whose shape was checked (orders.hpp).
struct Order {
  std::string what;
  std::string name;  ///< empty where the address has none
  std::string verb;
  nlohmann::json body;
  std::string who() const { return body.value("who", std::string{}); }
  std::string text(const char* key) const { return body.contains(key) && body[key].is_string() ? body[key].get<std::string>() : std::string{}; }
  bool flag(const char* key) const { return body.contains(key) && body[key].is_boolean() && body[key].get<bool>(); }
};

/// What is made of stored runs: a page, a sealed record, the list of them all.
struct DocumentRequest {
  std::int64_t run = 0;  ///< 0: of all runs
  std::string name;      ///< "page.pdf", "record.zip", "compare" ...; empty: the list. Of cards: the card; of photos: the digest
  std::map<std::string, std::string> query;
  std::string what = "runs";  ///< runs | cards | photos | memory | wiring
};

struct Document {
  std::string content_type;
  std::string file_name;  ///< what a browser calls it when it keeps it; empty: it is only shown
  std::string bytes;
  bool is_kept = false;   ///< offered for keeping rather than shown
};

/// A picture for a card. Its bytes are whatever the client sent; what they are is for the program to see.
struct Photo {
  std::string card;
  std::string who;
  std::string caption;
  std::string point;
  std::string bytes;
};

/// What the server asks of the program. Every function is called on the loop and answers at once, except history, document and photo.
/// Errors become answers: bad_data 404, usage, permission and config 409 (what is wrong in an entry of a card: 400), unavailable and io 503.
struct Backend {
  std::function<BenchView()> bench;
  std::function<Result<nlohmann::json>(const std::string& unit)> findings;
  /// `reply` is called once, from any thread, later or at once. It writes the JSON as text, up to some megabytes: call it
  /// on the worker that read the history, so that the loop does not wait for that.
  std::function<void(HistoryRequest request, std::function<void(Result<nlohmann::json>)> reply)> history;
  /// GET /api/v1/runs[/N/NAME], cards[/NAME], photos/DIGEST and memory. `reply` is called once, from any thread, later or at once.
  std::function<void(DocumentRequest request, std::function<void(Result<Document>)> reply)> document;
  /// POST /api/v1/cards/NAME/photos. `reply` as above.
  std::function<void(Photo photo, std::function<void(Result<nlohmann::ordered_json>)> reply)> photo;
  /// The answer's object.
  std::function<Result<nlohmann::ordered_json>(const Order& order)> order;
  /// GET /api/v1/WHAT[/NAME/VERB] of what is no view: "ready", "clips", "wiggle", "morning", "cautions", "wiring". `value` gives the query's fields.
  std::function<Result<nlohmann::ordered_json>(const std::string& what, const std::string& name, const std::function<std::string(const char*)>& value)> ask;
  std::function<Health()> health;
  /// "/" is the page; every other path as asked, undecoded.
  std::function<FoundAsset(std::string_view path)> find_asset;
};

struct Deadlines {
  std::chrono::milliseconds idle{30'000};          ///< between two requests of one connection
  std::chrono::milliseconds read{10'000};          ///< a whole request, from its first byte
  std::chrono::milliseconds photo{60'000};         ///< the body of a photo, from its first byte
  std::chrono::milliseconds write{10'000};         ///< a whole answer, or one event of the stream
  std::chrono::milliseconds answer{20'000};        ///< until there is an answer to write (history is read by a worker)
  std::chrono::milliseconds keep_alive{15'000};    ///< between comments of a quiet stream
  std::chrono::milliseconds bench_events{500};     ///< at least, between two `bench` events
  std::chrono::milliseconds wrong_password{300};   ///< before a wrong password is answered
};

struct ServerOptions {
  std::string host = "127.0.0.1";  ///< an address, or "localhost"
  std::uint16_t port = 0;          ///< 0: any free one, see port()
  std::vector<std::string> allowed_hosts{};    ///< further `Host` values, with the port where clients send one
  std::optional<std::string> password_hash{};  ///< argon2id, as `steadyglow password` writes it
  Deadlines deadlines{};
};

inline constexpr std::size_t connections_max = 64;   ///< beyond, a client is told 503
inline constexpr std::size_t streams_max = 32;       ///< of these; beyond, 503
inline constexpr std::size_t header_bytes_max = 8 * 1024;
inline constexpr std::size_t body_bytes_max = 64 * 1024;
inline constexpr std::size_t photo_bytes_max = 8 * 1024 * 1024;
inline constexpr std::size_t photos_at_once_max = 4;  ///< being sent to us; beyond, 503

/// Counts since the server was opened.
struct ServerFigures {
  std::uint64_t answers_2xx = 0;  ///< with 304
  std::uint64_t answers_4xx = 0;
  std::uint64_t answers_5xx = 0;
  std::uint64_t refused_connections = 0;
  std::uint64_t accept_failures = 0;
  std::uint64_t dropped_stream_clients = 0;  ///< too slow
  std::uint64_t wrong_passwords = 0;
  std::size_t connections = 0;     ///< now
  std::size_t stream_clients = 0;  ///< now
};

/// Thread: loop only. Owns: the listening socket, the connections, one thread for passwords when there is one.
/// Must go before the loop does. Fails: by Result at open; afterwards by answers and figures; never throws.
class Server {
 public:
  /// Listens. Errors: config for a bad address, a bad hash, or an address that others can reach without a password;
  /// unavailable when the port is taken.
  static Result<std::unique_ptr<Server>> open(boost::asio::io_context& loop, ServerOptions options, Backend backend);
  ~Server();
  Server(const Server&) = delete;
  Server& operator=(const Server&) = delete;

  std::uint16_t port() const;
  /// Sends an event to every stream and keeps it for those who come back.
  void publish(std::string_view event, const nlohmann::ordered_json& json);
  /// The bench looks different now: a `bench` event follows, at most one in Deadlines::bench_events. Cheap.
  void mark_changed();
  ServerFigures figures() const;
  /// Closes everything; leaves no work on the loop.
  void stop();

 private:
  struct Running;
  explicit Server(std::shared_ptr<Running> running);
  std::shared_ptr<Running> running_;  ///< shared with handlers of the loop that may outlive the server
};

}  // namespace steadyglow::http
