/// Plays text nights (tests/scenarios) over real Modbus TCP: every point of every unit is a meter of its own, the relays are
/// coils, and a unit has power only while the mains, the bench contactor and its relay let it.
///   stage --rate 1440 --hours 12 --truth FILE [--serial FOLDER [--reset SECONDS]] NIGHT.toml...
/// --serial: every unit is on a serial line of its own (Modbus RTU over a pseudo-terminal): FOLDER/by-id/UNIT names it for
/// good, FOLDER/ttyUSB0... by the order in which they came. --reset: at this run time the hub resets; its lines are away for
/// reset_lasts and come back in the other order.
/// Modbus unit identifiers: 10 * unit + ... see meter_of(); relays at 200 (coil i: unit i, 8: contactor, 9: watchdog), the
/// mains before the outlets at 201 (input registers 0 and 1, float32). Prints "port N", then "meter UNIT POINT IDENTIFIER".
#include <arpa/inet.h>
#include <fcntl.h>
#include <netinet/tcp.h>
#include <poll.h>
#include <sys/socket.h>
#include <unistd.h>

#include <array>
#include <bit>
#include <chrono>
#include <csignal>
#include <cstring>
#include <filesystem>
#include <fstream>
#include <iostream>
#include <iterator>
#include <map>
#include <nlohmann/json.hpp>
#include <random>

#include "core/decimal.hpp"
#include "demo/bench/modbus_frames.hpp"
#include "demo/bench/serial_line.hpp"
#include "scenarios/course.hpp"
#include "scenarios/scenario.hpp"

namespace steadyglow::scenarios {
namespace {

using Clock = std::chrono::steady_clock;
constexpr std::uint8_t relays_id = 200;
constexpr std::uint8_t mains_id = 201;
constexpr std::size_t contactor = 8;
constexpr std::size_t watchdog = 9;
constexpr std::size_t coils_in_all = 10;
constexpr double supply_least_volts = 50.0;
constexpr std::size_t points_per_unit_max = 40;
constexpr std::uint8_t exception_no_answer = 0x0B;
constexpr double watchdog_drops_after_seconds = 20.0;  // real time, as a module counts it
constexpr double reset_lasts_seconds = 20.0;           // run time

volatile std::sig_atomic_t is_ending = 0;

struct Unit {
  Scenario scenario;
  std::vector<Course> courses;
  Bench bench;
  std::optional<PointId> mains;
  bool is_welded = false;
};

class Stage {
 public:
  Stage(std::vector<Scenario> scenarios, double rate) : rate_(rate), random_(scenarios.front().seed) {
    for (Scenario& scenario : scenarios) {
      auto unit = std::make_unique<Unit>();
      unit->scenario = std::move(scenario);
      Errors errors;
      read_courses(unit->scenario, false, unit->courses, errors);
      for (Course& course : unit->courses) course.bind(&unit->courses, &unit->bench);
      unit->mains = unit->scenario.profile.first_of(profile::Role::mains_voltage);
      unit->bench.is_powered = false;
      units_.push_back(std::move(unit));
    }
  }

  /// Time runs from the first moment that a relay closes: that is when the first run begins.
  double seconds() const { return began_ ? std::chrono::duration<double>(Clock::now() - *began_).count() * rate_ : 0.0; }
  bool is_dark() const { return is_dark_; }

  void step() {
    const double now = seconds();
    const auto& first = *units_.front();
    const double volts = first.mains ? mains_of(first, now) : 230.0;
    const bool dark = volts < supply_least_volts;
    if (dark != is_dark_) {
      is_dark_ = dark;
      coils_.fill(false);
      fed_at_.reset();
      say(now, dark ? "the mains are gone" : "the mains are back; every contact is open");
    }
    if (fed_at_ && Clock::now() - *fed_at_ > std::chrono::duration<double>(watchdog_drops_after_seconds)) {
      fed_at_.reset();
      coils_.fill(false);
      say(now, "watchdog: every contact is open");
    }
    for (std::size_t i = 0; i < units_.size(); ++i) {
      Unit& unit = *units_[i];
      const bool was = unit.bench.is_powered;
      const bool is_held = unit.scenario.is_relay_welded && (was || unit.is_welded);
      unit.is_welded = is_held;
      unit.bench.is_powered = !is_dark_ && coils_[contactor] && (coils_[i] || is_held);
      if (unit.bench.is_powered == was) continue;
      if (unit.bench.is_powered) unit.bench.powered_since = now;
      say(now, unit.scenario.profile_name + (unit.bench.is_powered ? " has power" : " lost its power"));
    }
  }

  std::size_t units() const { return units_.size(); }
  const std::string& name(std::size_t unit) const { return units_[unit]->scenario.profile_name; }
  void note(const std::string& text) { say(seconds(), text); }

  /// On a unit's own line the points are counted from 1.
  std::string answer_on_line(std::size_t unit, std::uint8_t id, const std::string& pdu) {
    return id == 0 || id > points_per_unit_max ? std::string{} : answer(static_cast<std::uint8_t>(unit * points_per_unit_max + id), pdu);
  }

  /// The answer to a request, or nothing.
  std::string answer(std::uint8_t id, const std::string& pdu) {
    step();
    if (is_dark_ || pdu.size() < 5) return {};
    const auto code = static_cast<std::uint8_t>(pdu[0]);
    const std::size_t address = static_cast<std::uint8_t>(pdu[1]) << 8 | static_cast<std::uint8_t>(pdu[2]);
    const std::size_t value = static_cast<std::uint8_t>(pdu[3]) << 8 | static_cast<std::uint8_t>(pdu[4]);
    if (id == relays_id && code == 1 && address + value <= coils_in_all) {
      std::string bytes((value + 7) / 8, '\0');
      for (std::size_t i = 0; i < value; ++i)
        if (coils_[address + i]) bytes[i / 8] = static_cast<char>(bytes[i / 8] | 1 << (i % 8));
      return std::string("\x01", 1) + static_cast<char>(bytes.size()) + bytes;
    }
    if (id == relays_id && code == 5 && address < coils_in_all) {
      write(address, value == 0xFF00);
      return pdu.substr(0, 5);
    }
    if (code == 4 && id == relays_id) return registers({0}, address, value);
    if (code == 4 && id == mains_id) return of_float(230.0 * (is_dark_ ? 0.0 : 1.0), address, value);
    if (code == 4) {
      const std::size_t unit = (id - 1u) / points_per_unit_max, point = (id - 1u) % points_per_unit_max;
      if (unit < units_.size() && point < units_[unit]->courses.size()) {
        const auto seen = units_[unit]->courses[point].seen(seconds(), [&] { return normal_(random_); });
        if (seen.is_missing || seen.quality != Quality::good) return {static_cast<char>(code | 0x80), static_cast<char>(exception_no_answer)};
        return of_float(seen.value, address, value);
      }
    }
    return {static_cast<char>(code | 0x80), 2};
  }

  nlohmann::ordered_json truth() const {
    nlohmann::ordered_json json{{"seconds", seconds()}, {"is_dark", is_dark_}, {"events", events_}};
    for (const auto& unit : units_) json["powered"][unit->scenario.profile_name] = unit->bench.is_powered;
    for (const bool coil : coils_) json["coils"].push_back(coil);
    return json;
  }
  void print_meters(bool is_serial) const {
    for (std::size_t u = 0; u < units_.size(); ++u)
      for (std::size_t p = 0; p < units_[u]->scenario.profile.points.size(); ++p)
        std::cout << "meter " << units_[u]->scenario.profile_name << ' ' << units_[u]->scenario.profile.points[p].name << ' ' << (is_serial ? 0 : u * points_per_unit_max) + p + 1 << '\n';
  }

 private:
  double mains_of(const Unit& unit, double now) const { return const_cast<Unit&>(unit).courses[unit.mains->index].at(now); }
  void say(double now, const std::string& text) { events_.push_back({{"time_s", now}, {"text", text}}); }

  void write(std::size_t coil, bool on) {
    if (coil == watchdog && on) fed_at_ = Clock::now();
    if (!began_ && on && coil < contactor) began_ = Clock::now();
    if (coils_[coil] != on && coil != watchdog) say(seconds(), (coil == contactor ? "contactor" : "relay " + std::to_string(coil + 1)) + (on ? " on" : " off"));
    coils_[coil] = on;
    step();
  }

  static std::string registers(const std::vector<std::uint16_t>& all, std::size_t address, std::size_t count) {
    if (address + count > all.size()) return {static_cast<char>(0x84), 2};
    std::string out("\x04", 1);
    out += static_cast<char>(2 * count);
    for (std::size_t i = address; i < address + count; ++i) out += static_cast<char>(all[i] >> 8), out += static_cast<char>(all[i] & 0xFF);
    return out;
  }
  static std::string of_float(double value, std::size_t address, std::size_t count) {
    const auto bits = std::bit_cast<std::uint32_t>(static_cast<float>(value));
    return registers({static_cast<std::uint16_t>(bits >> 16), static_cast<std::uint16_t>(bits & 0xFFFF)}, address, count);
  }

  double rate_;
  std::vector<std::unique_ptr<Unit>> units_;
  std::array<bool, coils_in_all> coils_{};
  std::optional<Clock::time_point> began_;
  std::optional<Clock::time_point> fed_at_;
  bool is_dark_ = false;
  nlohmann::ordered_json events_ = nlohmann::ordered_json::array();
  std::mt19937 random_;
  std::normal_distribution<double> normal_;
};

/// MODBUS over Serial Line V1.02, 6.2.2: CRC-16, polynomial 0xA001, low byte first.
std::string crc_of(const std::string& frame) {
  std::uint16_t crc = 0xFFFF;
  for (const char byte : frame) {
    crc = static_cast<std::uint16_t>(crc ^ static_cast<std::uint8_t>(byte));
    for (int bit = 0; bit < 8; ++bit) crc = static_cast<std::uint16_t>(crc & 1 ? crc >> 1 ^ 0xA001 : crc >> 1);
  }
  return {static_cast<char>(crc & 0xFF), static_cast<char>(crc >> 8)};
}

/// The adapters of a hub: one serial line for each unit.
class Hub {
 public:
  Hub(Stage& stage, std::filesystem::path folder, std::optional<double> resets_at) : stage_(stage), folder_(std::move(folder)), resets_at_(resets_at) {
    std::filesystem::create_directories(folder_ / "by-id");
    plug_in(false);
  }

  void step() {
    if (!resets_at_ || stage_.seconds() < *resets_at_) return;
    if (!lines_.empty() && !is_back_) {
      lines_.clear();
      frames_.clear();
      for (std::size_t unit = 0; unit < stage_.units(); ++unit) std::filesystem::remove(folder_ / "by-id" / stage_.name(unit));
      stage_.note("the hub resets");
    } else if (lines_.empty() && stage_.seconds() >= *resets_at_ + reset_lasts_seconds) {
      plug_in(true);
      is_back_ = true;
      stage_.note("its adapters are back, each with the other's number");
    }
  }

  void add_to(std::vector<pollfd>& all) const {
    for (const demo::SerialLine& line : lines_) all.push_back({line.descriptor(), POLLIN, 0});
  }

  void read() {
    for (std::size_t unit = 0; unit < lines_.size(); ++unit) {
      std::array<std::uint8_t, 512> part;
      const ssize_t size = ::read(lines_[unit].descriptor(), part.data(), part.size());
      if (size <= 0) continue;
      frames_[unit].add(std::span(part).first(static_cast<std::size_t>(size)));
      while (const auto frame = frames_[unit].next()) {
        const std::string answer = stage_.answer_on_line(unit, frame->front(), std::string(frame->begin() + 1, frame->end() - 2));
        if (answer.empty()) continue;
        std::string bytes = static_cast<char>(frame->front()) + answer;
        bytes += crc_of(bytes);
        (void)!::write(lines_[unit].descriptor(), bytes.data(), bytes.size());
      }
    }
  }

 private:
  void plug_in(bool is_other_order) {
    for (std::size_t unit = 0; unit < stage_.units(); ++unit) {
      const auto number = folder_ / ("ttyUSB" + std::to_string(is_other_order ? stage_.units() - 1 - unit : unit));
      auto line = demo::SerialLine::open(number);
      if (!line) throw std::runtime_error(line.error().text());
      lines_.push_back(std::move(*line));
      frames_.emplace_back();
      std::filesystem::create_symlink(number, folder_ / "by-id" / stage_.name(unit));
    }
  }

  Stage& stage_;
  std::filesystem::path folder_;
  std::optional<double> resets_at_;
  bool is_back_ = false;
  std::vector<demo::SerialLine> lines_;
  std::vector<demo::SerialFrames> frames_;
};

/// Serves Modbus TCP (Messaging on TCP/IP Implementation Guide V1.0b, 3.1.3) until a signal comes or the hours are over.
void serve(Stage& stage, std::optional<Hub>& hub, int listener, double hours, const std::string& truth_file) {
  std::map<int, std::string> clients;
  auto write_truth = [&] { std::ofstream(truth_file + ".new") << stage.truth().dump(1); std::rename((truth_file + ".new").c_str(), truth_file.c_str()); };
  auto written = Clock::now();
  while (is_ending == 0 && stage.seconds() < hours * 3600.0) {
    std::vector<pollfd> all{{listener, POLLIN, 0}};
    for (const auto& [socket, bytes] : clients) all.push_back({socket, POLLIN, 0});
    const std::size_t sockets = all.size();
    if (hub) hub->add_to(all);
    ::poll(all.data(), all.size(), 5);
    stage.step();
    if (hub) hub->read(), hub->step();
    if (all[0].revents != 0) {
      const int client = ::accept4(listener, nullptr, nullptr, SOCK_CLOEXEC);
      const int yes = 1;
      if (client >= 0) ::setsockopt(client, IPPROTO_TCP, TCP_NODELAY, &yes, sizeof yes), clients[client];
    }
    for (std::size_t i = 1; i < sockets; ++i) {
      if (all[i].revents == 0) continue;
      const int socket = all[i].fd;
      char part[1024];
      const ssize_t size = ::recv(socket, part, sizeof part, 0);
      if (size <= 0) {
        ::close(socket);
        clients.erase(socket);
        continue;
      }
      std::string& bytes = clients[socket].append(part, static_cast<std::size_t>(size));
      while (bytes.size() >= 8) {
        const std::size_t length = static_cast<std::uint8_t>(bytes[4]) << 8 | static_cast<std::uint8_t>(bytes[5]);
        if (bytes.size() < 6 + length) break;
        const std::string answer = stage.answer(static_cast<std::uint8_t>(bytes[6]), bytes.substr(7, length - 1));
        if (!answer.empty()) {
          std::string frame = bytes.substr(0, 4);
          frame += static_cast<char>((answer.size() + 1) >> 8);
          frame += static_cast<char>((answer.size() + 1) & 0xFF);
          frame += bytes[6];
          frame += answer;
          (void)!::send(socket, frame.data(), frame.size(), MSG_NOSIGNAL);
        }
        bytes.erase(0, 6 + length);
      }
    }
    if (Clock::now() - written > std::chrono::milliseconds{100}) {
      written = Clock::now();
      write_truth();
    }
  }
  write_truth();
}

int run(int count, char** words) {
  double rate = 1.0, hours = 24.0;
  std::string truth, serial;
  std::optional<double> resets_at;
  std::vector<Scenario> scenarios;
  Errors errors;
  for (int i = 1; i < count; ++i) {
    const std::string word = words[i];
    const bool is_option = word.starts_with("--") && i + 1 < count;
    if (is_option && word == "--rate") rate = parse_decimal(words[++i]).value_or(1.0);
    else if (is_option && word == "--hours") hours = parse_decimal(words[++i]).value_or(24.0);
    else if (is_option && word == "--truth") truth = words[++i];
    else if (is_option && word == "--serial") serial = words[++i];
    else if (is_option && word == "--reset") resets_at = parse_decimal(words[++i]);
    else {
      std::ifstream in(word);
      const std::string text{std::istreambuf_iterator<char>(in), {}};
      if (auto scenario = read_scenario(text, word, STEADYGLOW_SOURCE_DIR, errors)) scenarios.push_back(std::move(*scenario));
    }
  }
  for (const Error& error : errors) std::cerr << error.text() << '\n';
  if (!errors.empty() || scenarios.empty() || truth.empty()) return 64;
  const int listener = ::socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0);
  sockaddr_in address{};
  address.sin_family = AF_INET;
  address.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
  socklen_t size = sizeof address;
  if (::bind(listener, reinterpret_cast<sockaddr*>(&address), size) != 0 || ::listen(listener, 16) != 0 || ::getsockname(listener, reinterpret_cast<sockaddr*>(&address), &size) != 0) return 69;
  for (const int signal : {SIGTERM, SIGINT}) std::signal(signal, [](int) { is_ending = 1; });
  Stage stage(std::move(scenarios), rate);
  stage.print_meters(!serial.empty());
  std::optional<Hub> hub;
  if (!serial.empty()) hub.emplace(stage, serial, resets_at);
  std::cout << "port " << ntohs(address.sin_port) << std::endl;
  serve(stage, hub, listener, hours, truth);
  return 0;
}

}  // namespace
}  // namespace steadyglow::scenarios

int main(int count, char** words) { return steadyglow::scenarios::run(count, words); }
