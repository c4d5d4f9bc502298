#include "notify/routes_toml.hpp"

#include <fcntl.h>
#include <sys/stat.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <cerrno>
#include <cmath>
#include <cstdlib>
#include <cstring>
#include <filesystem>
#include <set>
#include <string_view>

#include "notify/address.hpp"
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

constexpr std::string_view credential_mark = "credential:";

class OpenFile {
 public:
  /// Without waiting for who writes into it: a pipe is refused, not waited for.
  explicit OpenFile(const std::string& file) : number_(::open(file.c_str(), O_RDONLY | O_CLOEXEC | O_NONBLOCK)) {}
  ~OpenFile() { if (number_ >= 0) ::close(number_); }
  OpenFile(const OpenFile&) = delete;
  OpenFile& operator=(const OpenFile&) = delete;
  bool is_open() const { return number_ >= 0; }
  int number() const { return number_; }

 private:
  const int number_;
};

bool is_loopback_url(const std::string& url) {
  const auto address = take_apart(url);
  return address && is_loopback(address->host);
}

class Reader {
 public:
  Reader(Table& table, std::string folder) : table_(table), folder_(std::move(folder)) {}

  NotifySettings read() {
    read_link_base();
    read_routes();
    read_persons();
    read_heartbeat();
    read_timing();
    table_.done();
    return std::move(settings_);
  }

 private:
  static std::string clean(Table& table, const char* key, std::string value) {
    if (has_control(value)) table.mistake(key, "this has a line break or another control character in it", "one line, without any");
    return value;
  }

  /// Empty after a mistake, or where nothing stands.
  std::string maybe_text(Table& table, const char* key) {
    const auto value = table.maybe_text(key);
    if (value && value->empty()) table.mistake(key, "this is empty");
    return clean(table, key, value.value_or(""));
  }

  std::string text(Table& table, const char* key) { return table.has(key) ? maybe_text(table, key) : table.text(key); }

  std::string beside(const std::string& file) const { return (std::filesystem::path(folder_) / file).string(); }

  /// A secret stands in a file of its own that only its owner can read, or in the folder that the service manager gives.
  std::string secret(Table& table, const char* key) {
    const std::string name = maybe_text(table, key);
    if (name.empty()) return {};
    const bool is_credential = name.starts_with(credential_mark);
    std::string file = beside(name);
    if (is_credential) {
      const char* credentials = std::getenv("CREDENTIALS_DIRECTORY");
      const std::string wanted = name.substr(credential_mark.size());
      if (credentials == nullptr || wanted.empty() || wanted.find('/') != std::string::npos) {
        table.mistake(key, "the service manager has given no credential `" + wanted + "`", "LoadCredential=" + (wanted.empty() ? "NAME" : wanted) + ":FILE in the unit file, or name a file here");
        return {};
      }
      file = std::string(credentials) + "/" + wanted;
    }
    const OpenFile open(file);
    struct stat found {};
    if (!open.is_open() || ::fstat(open.number(), &found) != 0 || !S_ISREG(found.st_mode)) {
      table.mistake(key, "`" + file + "` cannot be read" + (open.is_open() ? ": it is no file" : std::string(": ") + std::strerror(errno)), "write the secret into this file, readable by the daemon alone");
      return {};
    }
    // The service manager opens its own to the daemon by an access list, which shows as the group's right.
    if (!is_credential && (found.st_mode & 077) != 0) {
      table.mistake(key, "`" + file + "` can be read by others", "chmod 600 it, and take another secret if they may have");
      return {};
    }
    std::array<char, secret_bytes_max + 1> bytes{};
    const ssize_t size = ::read(open.number(), bytes.data(), bytes.size());
    if (size < 0 || static_cast<std::size_t>(size) > secret_bytes_max) {
      table.mistake(key, size < 0 ? "`" + file + "` cannot be read" : "this is too long for a secret", "one line");
      return {};
    }
    std::string content(bytes.data(), static_cast<std::size_t>(size));
    content.erase(std::min(content.find_first_of("\r\n"), content.size()));
    if (content.empty() || has_control(content)) table.mistake(key, "`" + file + "` has no secret in its first line", "one line of plain characters");
    return content;
  }

  std::string ca_file(Table& table) {
    const std::string name = maybe_text(table, "ca_file");
    if (name.empty()) return {};
    if (::access(beside(name).c_str(), R_OK) != 0) table.mistake("ca_file", "`" + beside(name) + "` cannot be read", "the certificate of the server, or of who signed it, as PEM");
    return beside(name);
  }

  std::string url(Table& table, const char* key, const std::vector<std::string_view>& schemes) {
    const std::string value = text(table, key);
    if (value.empty() || has_control(value)) return {};
    const auto address = take_apart(value);
    if (!address || std::find(schemes.begin(), schemes.end(), address->scheme) == schemes.end() || value.find("://") == std::string::npos) {
      std::string known;
      for (const std::string_view scheme : schemes) known += (known.empty() ? "" : " or ") + std::string(scheme) + "://";
      table.mistake(key, "`" + value + "` is no address for this kind", "it begins with " + known);
      return {};
    }
    if (address->has_user) {
      table.mistake(key, "a user or a password has no place in an address", "a secret stands in a file of its own: password_file, secret_file");
      return {};
    }
    return value;
  }

  /// Messages carry a link with which one may switch off: in clear they go to this machine only.
  std::string web_url(Table& table) {
    const std::string value = url(table, "url", {"http", "https"});
    if (!value.empty() && take_apart(value)->scheme == "http" && !is_loopback_url(value)) table.mistake("url", "without TLS only to this machine itself", "use https://, with ca_file if the certificate is your own");
    return value;
  }

  void read_link_base() {
    if (!table_.has("link_base")) return;
    settings_.link_base = url(table_, "link_base", {"http", "https"});
    while (settings_.link_base.ends_with('/')) settings_.link_base.pop_back();
    if (settings_.link_base.find_first_of("?#") != std::string::npos) table_.mistake("link_base", "a link goes on behind this: it has no ? or #");
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
      if (kind == "alertmanager") make = alertmanager(route);
      if (kind == "command") make = command(route);
      route.done();
      if (make) settings_.routes.push_back({name, std::move(make)});
    }
  }

  /// A user without a password, or the other way round, is half a sentence.
  void read_user(Table& route, std::string& user, std::string& password) {
    user = maybe_text(route, "user");
    password = secret(route, "password_file");
    if (user.empty() != !route.has("password_file")) route.mistake(user.empty() ? "password_file" : "user", "user and password_file come together", "give both or neither");
  }

  std::function<std::unique_ptr<Route>()> smtp(Table& route) {
    SmtpSettings settings;
    settings.url = url(route, "url", {"smtp", "smtps"});
    settings.is_tls_required = route.maybe_word("tls", {"required", "none"}).value_or("required") == "required";
    if (!settings.is_tls_required && !settings.url.empty() && (!is_loopback_url(settings.url) || take_apart(settings.url)->scheme == "smtps"))
      route.mistake("tls", "without TLS only to this machine itself", "use smtps://, or leave tls out");
    settings.ca_file = ca_file(route);
    for (const auto& [key, into] : {std::pair("from", &settings.from), std::pair("to", &settings.to)}) {
      *into = text(route, key);
      if (!into->empty() && !is_mail_address(*into)) route.mistake(key, "`" + *into + "` is no mail address", "like ada@example.org: one, without a name and brackets");
    }
    read_user(route, settings.user, settings.password);
    return [settings] { return std::make_unique<SmtpRoute>(settings); };
  }

  std::function<std::unique_ptr<Route>()> webhook(Table& route) {
    WebhookSettings settings;
    settings.url = web_url(route);
    settings.ca_file = ca_file(route);
    settings.secret = secret(route, "secret_file");
    return [settings] { return std::make_unique<WebhookRoute>(settings); };
  }

  std::function<std::unique_ptr<Route>()> alertmanager(Table& route) {
    AlertmanagerSettings settings;
    settings.url = web_url(route);
    while (settings.url.ends_with('/')) settings.url.pop_back();
    if (settings.url.find("/api/") != std::string::npos) route.mistake("url", "this goes too far", "it ends where /api/v2 begins: http://127.0.0.1:9093");
    settings.ca_file = ca_file(route);
    return [settings] { return std::make_unique<AlertmanagerRoute>(settings); };
  }

  std::function<std::unique_ptr<Route>()> mqtt(Table& route) {
    constexpr int port_plain = 1883, port_tls = 8883;  // as registered with IANA
    MqttSettings settings;
    settings.host = text(route, "host");
    if (settings.host.find_first_of("/ @") != std::string::npos) route.mistake("host", "`" + settings.host + "` is no name of a host", "without mqtt:// and without a port");
    settings.ca_file = ca_file(route);
    const auto tls = route.maybe_word("tls", {"required", "none"});
    settings.is_tls_required = tls ? *tls == "required" : !settings.ca_file.empty() || !is_loopback(settings.host);
    if (!settings.is_tls_required && !settings.ca_file.empty()) route.mistake("ca_file", "without TLS nobody's certificate is looked at", "leave out tls, or ca_file");
    settings.port = static_cast<std::uint16_t>(route.maybe_whole("port", {1, 65535}).value_or(settings.is_tls_required ? port_tls : port_plain));
    settings.topic = text(route, "topic");
    if (!settings.topic.empty() && !is_mqtt_topic(settings.topic)) route.mistake("topic", "a topic to publish on is UTF-8 without + or #");
    read_user(route, settings.user, settings.password);
    if (!settings.is_tls_required && !is_loopback(settings.host)) {
      if (!settings.user.empty()) route.mistake("tls", "a password without TLS only to this machine itself", "leave tls out; ca_file names the broker's own certificate");
    }
    return [settings] { return std::make_unique<MqttRoute>(settings); };
  }

  std::function<std::unique_ptr<Route>()> command(Table& route) {
    CommandSettings settings{route.texts("program")};
    if (settings.program.empty()) {
      route.mistake("program", "no program is named", "program = [\"/usr/local/bin/ring\", \"--loud\"]");
      return {};
    }
    for (const std::string& word : settings.program)
      if (word.find('\0') != std::string::npos) route.mistake("program", "a word has a zero byte in it");
    settings.program.front() = beside(settings.program.front());
    struct stat found {};
    const std::string& file = settings.program.front();
    if (::stat(file.c_str(), &found) != 0 || !S_ISREG(found.st_mode) || ::access(file.c_str(), X_OK) != 0)
      route.mistake("program", "`" + file + "` is no program that can be run", "its whole path; it is looked for beside this file otherwise");
    return [settings] { return std::make_unique<CommandRoute>(settings); };
  }

  void read_persons() {
    auto tables = table_.tables("person");
    if (tables.size() > persons_max) table_.mistake("person", "more than " + std::to_string(persons_max) + " persons");
    std::set<std::string> persons;
    for (Table& table : tables) {
      PersonSettings person{text(table, "name"), table.texts("routes")};
      if (!person.name.empty() && !persons.insert(person.name).second) table.mistake("name", "`" + person.name + "` stands here twice");
      if (person.routes.empty()) table.mistake("routes", "nobody can be reached without a route", "routes = [\"mail_ada\"]");
      for (const std::string& route : person.routes)
        if (!names_.contains(route)) table.mistake("routes", "there is no route `" + route + "`", hint(route));
        else if (std::count(person.routes.begin(), person.routes.end(), route) > 1) table.mistake("routes", "`" + route + "` stands here twice");
      table.done();
      settings_.persons.push_back(std::move(person));
    }
    if (settings_.persons.empty()) table_.mistake("person", "there is no [[notify.person]]", "say who is told, in their order");
  }

  std::string hint(const std::string& route) const {
    const std::string near = document::nearest(route, {names_.begin(), names_.end()});
    return near.empty() ? "each stands as [[notify.route]] with its name" : "did you mean `" + near + "`?";
  }

  void read_heartbeat() {
    auto table = table_.maybe_table("heartbeat");
    if (!table) return;
    HeartbeatSettings heartbeat;
    heartbeat.url = url(*table, "url", {"http", "https"});
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
