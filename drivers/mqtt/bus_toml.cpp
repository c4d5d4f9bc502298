#include "drivers/mqtt/bus_toml.hpp"

#include <arpa/inet.h>
#include <fcntl.h>
#include <sys/stat.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <cerrno>
#include <cstdlib>
#include <map>
#include <optional>
#include <string_view>
#include <system_error>
#include <utility>
#include <vector>

#include "core/decimal.hpp"
#include "drivers/parsed_once.hpp"
#include "drivers/mqtt/instrument_toml.hpp"
#include "drivers/mqtt/mqtt_bus.hpp"
#include "drivers/place_toml.hpp"

namespace steadyglow::drivers::mqtt {
namespace {

using document::Table;

constexpr int port_plain = 1883, port_tls = 8883;  // as registered with IANA
constexpr std::size_t secret_bytes_max = 1024;
/// In front of a name: the file is one that the service manager hands to the daemon.
constexpr std::string_view credential_mark = "credential:";

bool is_this_machine(const std::string& host) {
  in_addr address{};
  return inet_pton(AF_INET, host.c_str(), &address) == 1 && ntohl(address.s_addr) >> 24 == 127;
}

/// A path beside the configuration.
std::string beside(const Table& table, const std::string& name) {
  if (name.starts_with('/')) return name;
  const std::size_t slash = table.file().rfind('/');
  return slash == std::string::npos ? name : table.file().substr(0, slash + 1) + name;
}

/// The first line of a file that the daemon alone may read.
std::string read_secret(Table& table, std::string_view key) {
  const std::string name = table.maybe_text(key).value_or("");
  if (name.empty()) return {};
  const bool is_credential = name.starts_with(credential_mark);
  const char* credentials = std::getenv("CREDENTIALS_DIRECTORY");
  if (is_credential && credentials == nullptr) {
    table.mistake(key, "the service manager has given no credentials", "LoadCredential=NAME:FILE in the unit file, or name a file here");
    return {};
  }
  const std::string file = is_credential ? std::string(credentials) + "/" + name.substr(credential_mark.size()) : beside(table, name);
  const int number = ::open(file.c_str(), O_RDONLY | O_NONBLOCK | O_CLOEXEC);
  struct stat found {};
  std::array<char, secret_bytes_max> bytes{};
  const bool is_file = number >= 0 && ::fstat(number, &found) == 0 && S_ISREG(found.st_mode);
  const ssize_t size = is_file ? ::read(number, bytes.data(), bytes.size()) : -1;
  if (number >= 0) ::close(number);
  std::string secret;
  if (size < 0)
    table.mistake(key, "`" + file + "` cannot be read", "write the password into this file, readable by the daemon alone");
  else if (!is_credential && (found.st_mode & 077) != 0)
    table.mistake(key, "`" + file + "` can be read by others", "chmod 600 it, and take another password if they may have");
  else
    secret.assign(bytes.data(), std::find_if(bytes.data(), bytes.data() + size, [](char c) { return c == '\r' || c == '\n'; }));
  if (size >= 0 && secret.empty() && (is_credential || (found.st_mode & 077) == 0)) table.mistake(key, "`" + file + "` has no password in its first line");
  return secret;
}

BrokerSettings read_broker(Table& bus) {
  BrokerSettings broker;
  const TcpEnd end = read_tcp_end(bus, 0);
  broker.host = end.host;
  const bool is_here = is_this_machine(broker.host);
  if (const auto ca_file = bus.maybe_text("ca_file")) {
    broker.ca_file = beside(bus, *ca_file);
    if (::access(broker.ca_file.c_str(), R_OK) != 0) bus.mistake("ca_file", "`" + broker.ca_file + "` cannot be read", "the certificate of the broker, or of who signed it, as PEM");
  }
  const auto tls = bus.maybe_word("tls", {"required", "none"});
  broker.is_tls_required = tls ? *tls == "required" : !broker.ca_file.empty() || !is_here;
  if (!broker.is_tls_required && !broker.ca_file.empty()) bus.mistake("ca_file", "without TLS nobody's certificate is looked at", "leave out tls, or ca_file");
  broker.port = end.port != 0 ? end.port : broker.is_tls_required ? port_tls : port_plain;
  broker.user = bus.maybe_text("user").value_or("");
  broker.password = read_secret(bus, "password_file");
  if (broker.user.empty() != !bus.has("password_file")) bus.mistake(broker.user.empty() ? "password_file" : "user", "user and password_file come together", "give both or neither");
  if (!broker.is_tls_required && !is_here && !broker.user.empty()) bus.mistake("tls", "a password without TLS only to this machine itself", "leave tls out; ca_file names the broker's own certificate");
  return broker;
}

class Reader final : public BusReader {
 public:
  Reader(BrokerSettings broker, std::chrono::milliseconds timeout) : broker_(std::move(broker)), timeout_(timeout) {}

  void read_meter(Table& table, const InstrumentText* instrument, MeterInfo& info, Errors& errors) override {
    MeterSetup setup;
    setup.name = info.name;
    setup.identity = info.identity;
    const std::string device = table.maybe_text("device").value_or("");
    if (std::chrono::duration<double>(info.poll_period).count() > poll_seconds_most)
      table.mistake("poll_seconds", "the broker gives up who is silent that long", "at most " + to_decimal(poll_seconds_most));
    if (instrument == nullptr) return;
    const std::optional<Instrument>& parsed = instruments_.get(*instrument, errors, parse_instrument);
    if (!parsed) return;
    if (!info.identity.empty() && parsed->id_field.empty())
      table.mistake("identity", "`" + info.instrument + "` does not say where a payload names its sender", "id_field in [instrument], or leave identity out: the broker must then let nobody else publish there");
    const bool is_new = check_device(table, device, *parsed, info);
    for (const Channel& channel : parsed->channels) {
      if (channel.stale_after <= info.poll_period)
        table.mistake("poll_seconds", "`" + channel.name + "` would be stale before it is looked at again", "less than its stale_after_seconds, " + to_decimal(std::chrono::duration<double>(channel.stale_after).count()));
      info.channels.push_back(info_of(channel));
    }
    for (const Output& output : parsed->outputs) info.outputs.push_back(output.name);
    setup.instrument = with_device(*parsed, device);
    if (is_new) check_topics(table, setup.instrument, info);
    meters_.push_back(std::move(setup));
  }

  std::string where() const override { return broker_.host + ":" + std::to_string(broker_.port); }
  std::string cut_doubt() const override {
    return "a radio, a broker and the plug's own program stand between the order and the contact, and a plug remembers that it was on";
  }

  std::function<std::unique_ptr<Bus>()> maker() const override {
    return [broker = broker_, meters = meters_, timeout = timeout_]() -> std::unique_ptr<Bus> { return std::make_unique<MqttBus>(broker, meters, timeout); };
  }

 private:
  /// False when it was told already that there is a mistake.
  bool check_device(Table& table, const std::string& device, const Instrument& instrument, MeterInfo& info) {
    const auto has_mark = [](const std::string& topic) { return topic.find(device_mark) != std::string::npos; };
    const bool is_wanted = std::any_of(instrument.channels.begin(), instrument.channels.end(), [&](const Channel& channel) { return has_mark(channel.topic); }) ||
                           std::any_of(instrument.outputs.begin(), instrument.outputs.end(), [&](const Output& output) { return has_mark(output.topic) || has_mark(output.state_topic); });
    const auto mistake = [&](const std::string& message, const std::string& hint) {
      table.mistake("device", message, hint);
      return false;
    };
    if (is_wanted && device.empty()) return mistake("`device` is missing", "what its topics begin with: device = \"bench/plug_1\"");
    if (!device.empty() && !is_topic(device)) return mistake("`" + device + "` is no part of a topic", "UTF-8 without + and #");
    if (!is_wanted) return true;
    info.at = "device " + device;
    const auto [first, is_new] = devices_.emplace(device, info.name);
    return is_new || mistake("`" + device + "` is already meter `" + first->second + "`", "one device is one meter");
  }

  /// Whole topics may stand in an instrument file: then nothing else tells that two meters are one device.
  void check_topics(Table& table, const Instrument& instrument, MeterInfo& info) {
    if (info.at.empty()) info.at = "topic " + (instrument.outputs.empty() ? instrument.channels.front().topic : instrument.outputs.front().topic);
    std::string known;
    const auto take = [&](const std::string& place) {
      const auto [first, is_new] = places_.emplace(place, info.name);
      if (!is_new && first->second != info.name) known = "`" + place + "` is already meter `" + first->second + "`";
    };
    for (const Output& output : instrument.outputs) take(output.topic);
    for (const Channel& channel : instrument.channels) take(channel.topic + (channel.field.empty() ? "" : " " + channel.field));
    if (!known.empty()) table.mistake("instrument", known, "one device is one meter: give its points to that one");
  }

  const BrokerSettings broker_;
  const std::chrono::milliseconds timeout_;
  std::vector<MeterSetup> meters_;
  std::map<std::string, std::string> devices_;
  std::map<std::string, std::string> places_;  ///< where orders go and readings stand
  ParsedOnce<Instrument> instruments_;
};

}  // namespace

std::unique_ptr<BusReader> begin(Table& bus) {
  prepare_library();
  BrokerSettings broker = read_broker(bus);
  return std::make_unique<Reader>(std::move(broker), read_timeout(bus, timeout_seconds_default));
}

}  // namespace steadyglow::drivers::mqtt
