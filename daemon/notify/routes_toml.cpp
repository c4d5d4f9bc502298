#include "notify/routes_toml.hpp"

#include <sys/stat.h>
#include <unistd.h>

#include <algorithm>
#include <cmath>
#include <cstdlib>
#include <fstream>
#include <iterator>
#include <set>

#include "notify/alertmanager.hpp"
#include "notify/command.hpp"
#include "notify/mqtt.hpp"
#include "notify/smtp.hpp"
#include "notify/webhook.hpp"

namespace steadyglow::notify {
namespace {

using document::Table;

constexpr std::size_t secret_bytes_max = 4096;
constexpr std::size_t routes_max = 16;
constexpr std::size_t persons_max = 8;

bool has_control(const std::string& text) {
  return std::any_of(text.begin(), text.end(), [](unsigned char c) { return c < 0x20 || c == 0x7f; });
}

bool is_loopback(const std::string& url) {
  std::string host = host_of(url);
  host = host.substr(host.find("://") == std::string::npos ? 0 : host.find("://") + 3);
  return host.starts_with("127.") || host.starts_with("localhost") || host.starts_with("[::1]");
}

class Reader {
 public:
  Reader(Table& table, std::string folder) : table_(table), folder_(std::move(folder)) {}

  NotifySettings read() {
    settings_.link_base = table_.maybe_text("link_base").value_or("");
    while (settings_.link_base.ends_with('/')) settings_.link_base.pop_back();
    read_routes();
    read_persons();
    read_heartbeat();
    read_timing();
    table_.done();
    return std::move(settings_);
  }

 private:
  std::string text(Table& table, const char* key) {
    std::string value = table.text(key);
    if (has_control(value)) table.mistake(key, "this has a line break or another control character in it");
    return value;
  }

  /// A secret stands in a file of its own that only its owner can read, or in the folder that the service manager gives.
  std::string secret(Table& table, const char* key) {
    const auto name = table.maybe_text(key);
    if (!name) return {};
    const char* credentials = std::getenv("CREDENTIALS_DIRECTORY");
    const std::string file = name->starts_with("credential:") && credentials ? std::string(credentials) + "/" + name->substr(11) : name->starts_with('/') ? *name : folder_ + "/" + *name;
    std::ifstream in(file, std::ios::binary);
    if (!in) {
      table.mistake(key, "`" + file + "` cannot be read", "write the secret into this file, readable by the daemon alone");
      return {};
    }
    struct stat found {};
    if (::stat(file.c_str(), &found) == 0 && (found.st_mode & 077) != 0 && credentials == nullptr) table.mistake(key, "`" + file + "` can be read by others", "chmod 600 it");
    std::string content{std::istreambuf_iterator<char>(in), {}};
    if (content.size() > secret_bytes_max) table.mistake(key, "this is too long for a secret");
    return content.substr(0, content.find_first_of("\r\n"));
  }

  std::string url(Table& table, std::initializer_list<const char*> schemes) {
    const std::string value = text(table, "url");
    if (value.empty()) return value;
    std::string known;
    for (const char* scheme : schemes) {
      if (value.starts_with(scheme) && value.size() > std::string(scheme).size()) return value;
      known += (known.empty() ? "" : " or ") + std::string(scheme);
    }
    table.mistake("url", "`" + value + "` is no address for this kind", "it begins with " + known);
    return {};
  }

  void read_routes() {
    auto tables = table_.tables("route");
    if (tables.size() > routes_max) table_.mistake("route", "more than " + std::to_string(routes_max) + " routes");
    for (Table& route : tables) {
      const std::string name = text(route, "name");
      if (!name.empty() && !names_.insert(name).second) route.mistake("name", "route `" + name + "` stands here twice");
      const std::string kind = route.word("kind", {"smtp", "webhook", "mqtt", "alertmanager", "command"});
      std::function<std::unique_ptr<Route>()> make;
      if (kind == "smtp") make = smtp(route);
      if (kind == "webhook") make = webhook(route);
      if (kind == "mqtt") make = mqtt(route);
      if (kind == "alertmanager") make = [settings = AlertmanagerSettings{url(route, {"http://", "https://"})}] { return std::make_unique<AlertmanagerRoute>(settings); };
      if (kind == "command") make = command(route);
      route.done();
      if (make) settings_.routes.push_back({name, std::move(make)});
    }
  }

  std::function<std::unique_ptr<Route>()> smtp(Table& route) {
    SmtpSettings settings;
    settings.url = url(route, {"smtp://", "smtps://"});
    const std::string tls = route.maybe_word("tls", {"required", "none"}).value_or("required");
    settings.is_tls_required = tls == "required";
    if (!settings.is_tls_required && !settings.url.empty() && !is_loopback(settings.url)) route.mistake("tls", "without TLS only to this machine itself", "use smtps://, or leave tls out");
    settings.ca_file = route.maybe_text("ca_file").value_or("");
    if (!settings.ca_file.empty() && settings.ca_file.front() != '/') settings.ca_file = folder_ + "/" + settings.ca_file;
    for (const auto& [key, into] : {std::pair("from", &settings.from), std::pair("to", &settings.to)}) {
      *into = text(route, key);
      if (!into->empty() && into->find('@') == std::string::npos) route.mistake(key, "`" + *into + "` is no mail address");
    }
    settings.user = route.maybe_text("user").value_or("");
    settings.password = secret(route, "password_file");
    return [settings] { return std::make_unique<SmtpRoute>(settings); };
  }

  std::function<std::unique_ptr<Route>()> webhook(Table& route) {
    WebhookSettings settings{url(route, {"http://", "https://"}), secret(route, "secret_file")};
    if (settings.url.starts_with("http://") && !is_loopback(settings.url)) route.mistake("url", "without TLS only to this machine itself", "use https://");
    return [settings] { return std::make_unique<WebhookRoute>(settings); };
  }

  std::function<std::unique_ptr<Route>()> mqtt(Table& route) {
    MqttSettings settings;
    settings.host = text(route, "host");
    settings.port = static_cast<std::uint16_t>(route.maybe_whole("port", {1, 65535}).value_or(1883));
    settings.topic = text(route, "topic");
    if (settings.topic.find_first_of("+#") != std::string::npos) route.mistake("topic", "a topic to publish on has no + or #");
    settings.user = route.maybe_text("user").value_or("");
    settings.password = secret(route, "password_file");
    settings.ca_file = route.maybe_text("ca_file").value_or("");
    return [settings] { return std::make_unique<MqttRoute>(settings); };
  }

  std::function<std::unique_ptr<Route>()> command(Table& route) {
    CommandSettings settings{route.texts("program")};
    if (settings.program.empty()) {
      route.mistake("program", "no program is named", "program = [\"/usr/local/bin/ring\", \"--loud\"]");
      return {};
    }
    if (settings.program.front().front() != '/') settings.program.front() = folder_ + "/" + settings.program.front();
    if (::access(settings.program.front().c_str(), X_OK) != 0) route.mistake("program", "`" + settings.program.front() + "` is no program that can be run");
    return [settings] { return std::make_unique<CommandRoute>(settings); };
  }

  void read_persons() {
    auto tables = table_.tables("person");
    if (tables.size() > persons_max) table_.mistake("person", "more than " + std::to_string(persons_max) + " persons");
    for (Table& table : tables) {
      PersonSettings person{text(table, "name"), table.texts("routes")};
      if (person.routes.empty()) table.mistake("routes", "nobody can be reached without a route", "routes = [\"mail_ada\"]");
      for (const std::string& route : person.routes)
        if (!names_.contains(route)) table.mistake("routes", "there is no route `" + route + "`");
      table.done();
      settings_.persons.push_back(std::move(person));
    }
    if (settings_.persons.empty()) table_.mistake("person", "there is no [[notify.person]]", "say who is told, in their order");
  }

  void read_heartbeat() {
    auto table = table_.maybe_table("heartbeat");
    if (!table) return;
    HeartbeatSettings heartbeat;
    heartbeat.url = url(*table, {"https://", "http://"});
    const double seconds = table->maybe_number("every_seconds", {0.2, 86400.0}).value_or(60.0);
    heartbeat.every = std::chrono::milliseconds{std::llround(seconds * 1000.0)};
    table->done();
    settings_.heartbeat = heartbeat;
  }

  void read_timing() {
    auto table = table_.maybe_table("timing");
    if (!table) return;
    CourierTiming& timing = settings_.timing;
    const auto read = [&](const char* key, double& into, double low) {
      if (const auto value = table->maybe_number(key, {low, 86400.0})) into = *value;
    };
    read("repeat_minutes", timing.repeat_minutes, 1.0);
    read("ring_minutes", timing.ring_minutes, 0.2);
    read("escalate_minutes", timing.escalate_minutes, 0.2);
    read("escalate_high_minutes", timing.escalate_high_minutes, 1.0);
    read("proof_wait_seconds", timing.proof_wait_seconds, 1.0);
    table->done();
  }

  Table& table_;
  std::string folder_;
  std::set<std::string> names_;
  NotifySettings settings_;
};

}  // namespace

NotifySettings read_notify(Table& table, const std::string& folder) { return Reader(table, folder).read(); }

}  // namespace steadyglow::notify
