#include "app/meter_search.hpp"

#include <arpa/inet.h>
#include <fmt/format.h>
#include <sys/stat.h>

#include <algorithm>
#include <chrono>
#include <cmath>
#include <filesystem>
#include <string_view>

#include "drivers/modbus/scan.hpp"
#include "drivers/place_toml.hpp"
#include "drivers/scpi/find.hpp"
#include "drivers/wire/wire.hpp"

namespace steadyglow::app {
namespace {

namespace fs = std::filesystem;
namespace modbus = drivers::modbus;
namespace scpi = drivers::scpi;
namespace wire = drivers::wire;
using Json = nlohmann::ordered_json;

constexpr double search_timeout_default_s = 0.3;
/// A daemon that ends waits for one question: its restart must not take as long as a hardware watchdog waits.
constexpr double search_timeout_max_s = 2.0;
constexpr std::size_t matches_shown_max = 24;
/// The slice of a pause in which a stop is noticed.
constexpr std::chrono::milliseconds stop_noticed_within{50};

std::int64_t steady_ms() { return std::chrono::duration_cast<std::chrono::milliseconds>(std::chrono::steady_clock::now().time_since_epoch()).count(); }

/// Reads the fields of an ask; the first mistake is kept.
class Fields {
 public:
  explicit Fields(const nlohmann::json& json) : json_(json) {}
  std::string text(const char* key, const std::string& otherwise = {}) {
    if (!json_.contains(key)) return otherwise;
    if (json_[key].is_string()) return json_[key].get<std::string>();
    wrong(key, "is no text");
    return otherwise;
  }
  int whole(const char* key, int low, int high, int otherwise) {
    const double value = number(key, low, high, otherwise);
    if (value != std::floor(value)) wrong(key, "is no whole number");
    return static_cast<int>(value);
  }
  double number(const char* key, double low, double high, double otherwise) {
    if (!json_.contains(key)) return otherwise;
    if (!json_[key].is_number()) return wrong(key, "is no number"), otherwise;
    const double value = json_[key].get<double>();
    if (!(value >= low && value <= high)) return wrong(key, fmt::format("must be {} to {}", low, high)), otherwise;
    return value;
  }
  void wrong(const char* key, const std::string& what) {
    if (!error) error = Error{Fault::usage, fmt::format("`{}` {}", key, what), "the fields are in daemon/http/API.md", {}};
  }
  std::optional<Error> error;

 private:
  const nlohmann::json& json_;
};

std::string real_name(const std::string& path) {
  std::error_code error;
  const fs::path real = fs::canonical(path, error);
  return error ? path : real.string();
}

template <class Enum, std::size_t count>
bool from_word(const std::string& word, const std::array<Enum, count>& all, Enum& into) {
  for (const Enum one : all)
    if (modbus::to_word(one) == word) return into = one, true;
  return false;
}

Json to_json(const modbus::Way& way) {
  return {{"address", way.address}, {"type", modbus::to_word(way.type)}, {"order", modbus::to_word(way.order)}, {"scale", way.scale}, {"value", way.value}};
}

tl::unexpected<Error> belongs_to(const drivers::BusSpec& bus, const std::string& place) {
  return fail(Fault::permission, fmt::format("{} belongs to bus `{}`, which is polling it", place, bus.name),
              "two that talk on one line spoil both: take the bus out of the configuration and start the daemon again, or look at its values on the unit's page");
}

/// The place that a Modbus search would ask, as the wire knows it.
wire::Place wire_place(const modbus::ScanPlace& place) {
  if (const auto* end = std::get_if<drivers::TcpEnd>(&place.end)) return *end;
  const auto& line = std::get<drivers::SerialLine>(place.end);
  const std::string real = real_name(line.device);
  if (std::string_view(real).substr(real.rfind('/') + 1).starts_with("usbtmc")) return wire::UsbTmc{line.device};
  return wire::SerialEnd{line};
}

}  // namespace

Result<void> check_host(const std::string& host) {
  in_addr address{};
  if (inet_pton(AF_INET, host.c_str(), &address) != 1) return fail(Fault::usage, fmt::format("`{}` is no IPv4 address", host), "the meter's own address, such as 192.168.40.21");
  const std::uint32_t bits = ntohl(address.s_addr);
  const bool is_near = bits >> 24 == 127 || bits >> 24 == 10 || bits >> 20 == 0xac1 || bits >> 16 == 0xc0a8 || bits >> 16 == 0xa9fe;
  if (!is_near) return fail(Fault::permission, fmt::format("{} is not in a private network", host), "meters are looked for on this machine and in the shop's own network only");
  return {};
}

Result<void> check_end(const drivers::TcpEnd& end, const std::vector<drivers::BusSpec>& buses) {
  if (auto may = check_host(end.host); !may) return may;
  const std::string place = wire::shown(end);
  for (const drivers::BusSpec& bus : buses)
    if (bus.where == place) return belongs_to(bus, place);
  return {};
}

Result<void> check_device(const std::string& device, const std::vector<drivers::BusSpec>& buses) {
  const std::string real = real_name(device);
  const std::string_view name = std::string_view(real).substr(real.rfind('/') + 1);
  const bool is_port = real.starts_with("/dev/pts/") || (real.starts_with("/dev/") && (name.starts_with("tty") || name.starts_with("usbtmc")));
  struct stat status{};
  if (!is_port || stat(real.c_str(), &status) != 0 || !S_ISCHR(status.st_mode)) return fail(Fault::usage, fmt::format("`{}` is no serial port or USB instrument of this machine", device), "the list of devices has their names");
  for (const drivers::BusSpec& bus : buses)
    if (bus.where.starts_with('/') && real_name(bus.where) == real) return belongs_to(bus, device);
  return {};
}

struct MeterSearch::Job {
  std::string kind;  ///< addresses | registers | instrument
  std::string where;
  std::string who;
  modbus::ScanPlace place;
  int first = 1, last = 247;
  modbus::WindowAsk window;
  std::string place_lines;  ///< of a [[bus]]
};

struct MeterSearch::Found {
  std::string state = "running";  ///< running | done | stopped | failed
  Job job;
  modbus::ScanProgress progress;
  modbus::AddressReport addresses;
  scpi::SearchStep step;
  std::optional<scpi::FoundInstrument> instrument;
  std::optional<modbus::Window> window;
  int rounds = 0;
  std::string trouble;
};

void MeterSearch::end() {
  stops_ = true;
  if (thread_.joinable()) thread_.join();
}

Result<void> MeterSearch::begin(const nlohmann::json& ask) {
  if (is_running_) return fail(Fault::usage, "a search is going on", "stop it first, or wait for its end");
  Fields fields(ask);
  Job job;
  job.kind = fields.text("kind");
  job.who = fields.text("who");
  if (job.kind != "addresses" && job.kind != "registers" && job.kind != "instrument") fields.wrong("kind", "must be addresses, registers or instrument");
  const bool is_scpi = job.kind == "instrument";
  job.place.timeout = std::chrono::milliseconds{static_cast<int>(1000.0 * fields.number("timeout_seconds", drivers::timeout_seconds_least, search_timeout_max_s, search_timeout_default_s))};
  const std::string device = fields.text("device");
  if (!device.empty()) {
    drivers::SerialLine line;
    line.device = device;
    line.baud = fields.whole("baud", 300, 230400, 9600);
    const std::string parity = fields.text("parity", "none");
    if (parity != "none" && parity != "even" && parity != "odd") fields.wrong("parity", "must be none, even or odd");
    line.parity = parity == "even" ? drivers::Parity::even : parity == "odd" ? drivers::Parity::odd : drivers::Parity::none;
    line.stop_bits = fields.whole("stop_bits", 1, 2, 1);
    if (!fields.error)
      if (auto may = check_device(device, buses_); !may) return may;
    job.where = device;
    job.place_lines = fmt::format("driver = \"modbus_rtu\"\ndevice = \"{}\"\nbaud = {}\nparity = \"{}\"\nstop_bits = {}\n", device, line.baud, parity, line.stop_bits);
    job.place.end = line;
  } else {
    drivers::TcpEnd end{fields.text("host"), fields.whole("port", 1, 65535, is_scpi ? scpi::scpi_port : drivers::modbus::modbus_port)};
    if (!fields.error)
      if (auto may = check_end(end, buses_); !may) return may;
    job.where = wire::shown(end);
    job.place_lines = fmt::format("driver = \"modbus_tcp\"\nhost = \"{}\"\nport = {}\n", end.host, end.port);
    job.place.end = end;
  }
  job.first = fields.whole("first", 0, 255, 1);
  job.last = fields.whole("last", 0, 255, 247);
  if (job.last < job.first) fields.wrong("last", "is before `first`");
  job.window.unit = static_cast<std::uint8_t>(fields.whole("address", 0, 255, 1));
  job.window.from = static_cast<std::uint16_t>(fields.whole("from", 0, 65535, 0));
  job.window.count = static_cast<std::uint16_t>(fields.whole("count", 1, modbus::window_count_max, 16));
  constexpr std::array tables{modbus::RegisterTable::holding, modbus::RegisterTable::input, modbus::RegisterTable::coil, modbus::RegisterTable::discrete};
  if (!from_word(fields.text("table", "holding"), tables, job.window.table)) fields.wrong("table", "must be holding, input, coil or discrete");
  if (fields.error) return tl::unexpected(*fields.error);
  end();
  stops_ = false;
  is_running_ = true;
  seen_ms_ = steady_ms();
  auto begun = std::make_shared<Found>();
  begun->job = job;
  {
    const std::lock_guard guard(mutex_);
    found_ = std::move(begun);
  }
  thread_ = std::thread([this, job = std::move(job)] {
    search(job);
    is_running_ = false;
  });
  return {};
}

void MeterSearch::search(const Job& job) {
  Found now;
  now.job = job;
  const auto show = [&] {
    auto shown = std::make_shared<const Found>(now);
    const std::lock_guard guard(mutex_);
    found_ = std::move(shown);
  };
  modbus::Scanner scanner(job.place);
  if (job.kind == "addresses") {
    now.addresses = scanner.find_addresses(job.first, job.last, [&](const modbus::ScanProgress& progress) {
      now.progress = progress;
      show();
    }, stops_);
    now.trouble = now.addresses.trouble;
    now.state = now.addresses.is_stopped ? "stopped" : now.trouble.empty() ? "done" : "failed";
    return show();
  }
  if (job.kind == "instrument") {
    const auto told = scpi::find_instrument(wire_place(job.place), {}, [&](const scpi::SearchStep& step) {
      now.step = step;
      show();
    }, stops_);
    if (told) now.instrument = *told;
    else now.trouble = told.error().text();
    now.state = told ? "done" : stops_ ? "stopped" : "failed";
    return show();
  }
  while (!stops_ && steady_ms() - seen_ms_ < std::chrono::milliseconds(window_unseen_max).count()) {
    const auto next = std::chrono::steady_clock::now() + window_every;
    modbus::Window window = scanner.read_window(job.window, stops_);
    // What it had no time to ask for is not refused: what was read before stands.
    if (stops_) break;
    now.trouble = window.trouble;
    // What was read before stands until something else is read: the trouble says that it is old.
    if (window.is_answered) now.window = std::move(window);
    ++now.rounds;
    show();
    while (!stops_ && std::chrono::steady_clock::now() < next) std::this_thread::sleep_for(stop_noticed_within);
  }
  now.state = now.window || stops_ ? "stopped" : "failed";
  show();
}

Json MeterSearch::state(const Expected& expected) {
  seen_ms_ = steady_ms();
  std::shared_ptr<const Found> found;
  {
    const std::lock_guard guard(mutex_);
    found = found_;
  }
  if (!found) return {{"state", "none"}};
  const Job& job = found->job;
  Json json{{"state", found->state}, {"kind", job.kind}, {"where", job.where}, {"who", job.who}, {"trouble", found->trouble}, {"place_lines", job.place_lines}};
  if (job.kind == "addresses") {
    Json list = Json::array();
    for (const auto& one : found->addresses.found) list.push_back({{"address", one.address}, {"exception", one.exception}, {"names_itself", one.names_itself}});
    json["progress"] = {{"address", found->progress.address}, {"done", found->progress.done}, {"total", found->progress.total}, {"found", found->progress.found}};
    json["found"] = std::move(list);
    json["noisy"] = found->addresses.noisy;
    json["is_address_ignored"] = found->addresses.is_address_ignored;
    return json;
  }
  if (job.kind == "instrument") {
    json["progress"] = {{"done", found->step.number}, {"total", found->step.steps}};
    json["trying"] = found->step.trying;
    json["identity"] = found->instrument ? found->instrument->identity : std::string{};
    json["first_answer"] = found->instrument ? found->instrument->first.answer : std::string{};
    json["lines"] = found->instrument ? found->instrument->config_lines : std::string{};
    return json;
  }
  json["address"] = job.window.unit;
  json["table"] = modbus::to_word(job.window.table);
  json["from"] = job.window.from;
  json["count"] = job.window.count;
  json["rounds"] = found->rounds;
  Json rows = Json::array(), matches = Json::array();
  if (found->window) {
    for (const modbus::WindowRow& row : modbus::read_rows(*found->window)) {
      Json ways = Json::array(), guesses = Json::array();
      for (const modbus::Way& way : row.ways) ways.push_back(to_json(way));
      for (const modbus::Guess& guess : row.guesses) guesses.push_back({{"way", to_json(guess.way)}, {"likeness", modbus::to_word(guess.likeness)}});
      rows.push_back({{"address", row.address}, {"manual", modbus::manual_number(job.window.table, row.address)}, {"is_edge", row.is_edge}, {"word", row.word ? Json(*row.word) : Json(nullptr)},
                      {"ways", std::move(ways)}, {"guesses", std::move(guesses)}});
    }
    if (expected.value) {
      for (const modbus::ScanMatch& match : modbus::find_value(*found->window, *expected.value)) {
        if (matches.size() >= matches_shown_max) break;
        matches.push_back({{"way", to_json(match.way)}, {"manual", modbus::manual_number(job.window.table, match.way.address)}, {"off_percent", match.off_percent}, {"outside", match.outside},
                           {"lines", modbus::channel_lines(job.window.table, match.way, expected.name, expected.quantity, expected.uom)}});
      }
    }
  }
  json["rows"] = std::move(rows);
  json["matches"] = std::move(matches);
  return json;
}

}  // namespace steadyglow::app
