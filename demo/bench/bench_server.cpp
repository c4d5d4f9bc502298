#include "demo/bench/bench_server.hpp"

#include <fcntl.h>
#include <netinet/in.h>
#include <poll.h>
#include <sys/socket.h>

#include <algorithm>
#include <array>
#include <cerrno>
#include <cstring>

#include "demo/bench/noise.hpp"
#include "demo/bench/state_file.hpp"

namespace steadyglow::demo {
namespace {

using namespace std::chrono_literals;

constexpr auto wake_at_least_every = 100ms;
constexpr auto state_every = 1s;
/// On a line that carries bytes as fast as the machine can, a pause this long ends a frame.
constexpr auto line_pause = 20ms;
constexpr std::uint64_t trouble_stream = 10;
constexpr int baud_for_the_library = 115200;  // a pseudo-terminal has no bits per second

std::string said(int error) { return modbus_strerror(error); }

}  // namespace

BenchServer::BenchServer(VirtualBench& bench, ServerOptions options) : bench_(bench), options_(std::move(options)) {}

BenchServer::~BenchServer() = default;

Result<std::unique_ptr<BenchServer>> BenchServer::open(VirtualBench& bench, ServerOptions options) {
  std::unique_ptr<BenchServer> server(new BenchServer(bench, std::move(options)));
  if (auto listening = server->listen(); !listening) return tl::unexpected(listening.error());
  if (auto line = server->open_line(); !line) return tl::unexpected(line.error());
  server->make_mappings();
  return server;
}

const std::string& BenchServer::device() const {
  static const std::string none;
  return line_ ? line_->device() : none;
}

Result<void> BenchServer::listen() {
  const std::string where = "127.0.0.1:" + std::to_string(options_.port);
  tcp_.reset(modbus_new_tcp("127.0.0.1", options_.port));
  if (!tcp_) return fail(Fault::cannot_create, said(errno), {}, where);
  listener_ = Descriptor(modbus_tcp_listen(tcp_.get(), static_cast<int>(clients_max)));
  if (!listener_.is_open()) return fail(Fault::cannot_create, "cannot listen: " + said(errno), "another bench may run already; --port 0 takes a free port", where);
  ::fcntl(listener_.number(), F_SETFL, O_NONBLOCK);
  ::fcntl(listener_.number(), F_SETFD, FD_CLOEXEC);
  sockaddr_in address{};
  socklen_t length = sizeof address;
  if (::getsockname(listener_.number(), reinterpret_cast<sockaddr*>(&address), &length) != 0) return fail(Fault::cannot_create, std::strerror(errno), {}, where);
  port_ = ntohs(address.sin_port);
  // The library sleeps this long before it refuses a function that it does not know.
  modbus_set_response_timeout(tcp_.get(), 0, 1);
  return {};
}

Result<void> BenchServer::open_line() {
  if (options_.pty_link.empty()) return {};
  auto line = SerialLine::open(options_.pty_link);
  if (!line) return tl::unexpected(line.error());
  line_.emplace(std::move(*line));
  rtu_.reset(modbus_new_rtu(line_->device().c_str(), baud_for_the_library, 'N', 8, 1));
  if (!rtu_) return fail(Fault::cannot_create, said(errno), {}, options_.pty_link);
  modbus_set_socket(rtu_.get(), line_->descriptor());
  modbus_set_response_timeout(rtu_.get(), 0, 1);
  return {};
}

void BenchServer::make_mappings() {
  for (const Device& device : devices()) {
    const Registers registers = bench_.read(device);
    const int coils = device.kind == DeviceKind::relay_8ch ? static_cast<int>(coils_in_all) : 0;
    mappings_[device.unit_id].reset(modbus_mapping_new(coils, 0, static_cast<int>(registers.holdings.size()), static_cast<int>(registers.inputs.size())));
  }
}

void BenchServer::let_time_pass() {
  if (!began_) {
    if (options_.waits_for_first_request && counts_.requests == 0) return;
    began_ = Clock::now();
  }
  const double real_ms = std::chrono::duration<double, std::milli>(Clock::now() - *began_).count();
  bench_.advance(VirtualBench::Time{static_cast<std::int64_t>(real_ms * options_.rate)});
  if (bench_.is_dark()) fed_at_.reset();
  watch_over_feeding();
}

void BenchServer::run(int stop, const std::function<void(const std::string&)>& say) {
  while (true) {
    std::vector<pollfd> states{{stop, POLLIN, 0}, {listener_.number(), POLLIN, 0}, {line_ ? line_->descriptor() : -1, POLLIN, 0}};
    std::vector<std::uint64_t> ids;
    for (const auto& [id, client] : clients_) {
      ids.push_back(id);
      states.push_back({client.socket.number(), POLLIN, 0});
    }
    ::poll(states.data(), states.size(), milliseconds_to_wait());
    let_time_pass();
    if (states[1].revents != 0) accept_clients();
    if (states[2].revents != 0) read_line();
    for (std::size_t i = 0; i < ids.size(); ++i)
      if (states[3 + i].revents != 0) read_client(ids[i]);
    answer_due();
    for (const std::string& news : bench_.take_news()) say(news);
    const bool is_over = states[0].revents != 0;
    if (is_over || Clock::now() >= state_due_) write_state();
    if (is_over) return;
  }
}

int BenchServer::milliseconds_to_wait() const {
  auto until = Clock::now() + wake_at_least_every;
  for (const Waiting& waiting : waiting_) until = std::min(until, waiting.due);
  return static_cast<int>(std::max<std::int64_t>(0, std::chrono::ceil<std::chrono::milliseconds>(until - Clock::now()).count()));
}

void BenchServer::accept_clients() {
  while (true) {
    Descriptor socket(::accept4(listener_.number(), nullptr, nullptr, SOCK_NONBLOCK | SOCK_CLOEXEC));
    if (!socket.is_open()) return;
    if (clients_.size() >= clients_max) continue;  // closed again at once
    clients_[next_client_++].socket = std::move(socket);
  }
}

void BenchServer::read_client(std::uint64_t id) {
  const auto place = clients_.find(id);
  if (place == clients_.end()) return;
  std::array<std::uint8_t, 1024> buffer;
  const auto count = ::recv(place->second.socket.number(), buffer.data(), buffer.size(), 0);
  if (count < 0 && (errno == EAGAIN || errno == EINTR)) return;
  if (count <= 0) {
    clients_.erase(place);
    return;
  }
  place->second.frames.add(std::span(buffer).first(static_cast<std::size_t>(count)));
  while (auto frame = place->second.frames.next()) take(id, std::move(*frame));
  if (!place->second.frames.is_lost()) return;
  ++counts_.bad_frames;
  clients_.erase(place);
}

void BenchServer::read_line() {
  std::array<std::uint8_t, 512> buffer;
  const auto count = ::read(line_->descriptor(), buffer.data(), buffer.size());
  if (count <= 0) return;
  if (!line_frames_.is_empty() && Clock::now() - line_heard_ > line_pause) {
    ++counts_.bad_frames;
    line_frames_.pause();
  }
  line_heard_ = Clock::now();
  line_frames_.add(std::span(buffer).first(static_cast<std::size_t>(count)));
  while (auto frame = line_frames_.next()) take(0, std::move(*frame));
}

/// Decides by the night's seed whether this request is answered at once, late or never.
void BenchServer::take(std::uint64_t client, Bytes frame) {
  const bool is_serial = client == 0;
  const std::uint8_t unit = frame[is_serial ? 0 : mbap_bytes - 1];
  const Device* device = find_device(unit);
  if (is_serial && (device == nullptr || device->wire != Wire::serial)) return;
  ++counts_.requests;
  let_time_pass();
  if (bench_.is_dark()) return;  // nothing has a supply that could answer
  const LinkScript& link = bench_.night().link;
  const double fate = even({bench_.night().seed, trouble_stream + unit}, asked_[unit]++);
  if (fate < link.dropped_share) {
    ++counts_.dropped;
    return;
  }
  auto due = Clock::now();
  if (fate < link.dropped_share + link.late_share) {
    ++counts_.late;
    due += std::chrono::duration_cast<Clock::duration>(std::chrono::duration<double>(link.late_seconds));
    waiting_.push_back({due, client, std::move(frame)});
    return;
  }
  answer(client, frame);
}

void BenchServer::answer_due() {
  const auto now = Clock::now();
  for (std::size_t i = 0; i < waiting_.size();) {
    if (waiting_[i].due > now) {
      ++i;
      continue;
    }
    const Waiting waiting = std::move(waiting_[i]);
    waiting_.erase(waiting_.begin() + static_cast<std::ptrdiff_t>(i));
    answer(waiting.client, waiting.frame);
  }
}

void BenchServer::answer(std::uint64_t client, const Bytes& frame) {
  const bool is_serial = client == 0;
  modbus_t* context = is_serial ? rtu_.get() : tcp_.get();
  if (!is_serial) {
    const auto place = clients_.find(client);
    if (place == clients_.end()) return;  // it hung up before its late answer
    modbus_set_socket(context, place->second.socket.number());
  }
  const std::size_t head = is_serial ? 1 : mbap_bytes;
  const auto pdu = std::span(frame).subspan(head, frame.size() - head - (is_serial ? 2 : 0));
  const Device* device = find_device(frame[head - 1]);
  const int length = static_cast<int>(frame.size());
  int sent = 0;
  if (device == nullptr || (device->wire == Wire::serial) != is_serial) {
    sent = modbus_reply_exception(context, frame.data(), MODBUS_EXCEPTION_GATEWAY_TARGET);
  } else if (request_length(pdu) && !is_well_formed(pdu)) {
    sent = modbus_reply_exception(context, frame.data(), MODBUS_EXCEPTION_ILLEGAL_DATA_VALUE);
  } else {
    modbus_mapping_t& mapping = *mappings_.at(device->unit_id);
    refresh(*device, mapping);
    sent = modbus_reply(context, frame.data(), length, &mapping);
    obey(*device, mapping, pdu);
  }
  if (sent >= 0 || is_serial) return;
  // Nobody reads at the other end, or the request was one that the library will not answer.
  ++counts_.bad_frames;
  clients_.erase(client);
}

void BenchServer::refresh(const Device& device, modbus_mapping_t& mapping) {
  const Registers registers = bench_.read(device);
  std::copy(registers.inputs.begin(), registers.inputs.end(), mapping.tab_input_registers);
  std::copy(registers.holdings.begin(), registers.holdings.end(), mapping.tab_registers);
  if (device.kind != DeviceKind::relay_8ch) return;
  for (std::size_t i = 0; i < coils_in_all; ++i) mapping.tab_bits[i] = bench_.coil(i) ? 1 : 0;
}

void BenchServer::obey(const Device& device, const modbus_mapping_t& mapping, std::span<const std::uint8_t> pdu) {
  if (device.kind != DeviceKind::relay_8ch) return;
  for (std::size_t i = 0; i < coils_in_all; ++i) bench_.set_coil(i, mapping.tab_bits[i] != 0);
  // Every write of the watchdog's coil feeds it, also one that changes nothing.
  constexpr std::uint8_t write_single_coil = 5;
  const bool is_write = pdu.size() >= 3 && pdu[0] == write_single_coil && pdu[1] == 0 && pdu[2] == watchdog_coil;
  if (is_write && mapping.tab_bits[watchdog_coil] != 0) fed_at_ = Clock::now();
}

/// Fed once, and then no more: every contact opens, and stays open until somebody writes it again.
void BenchServer::watch_over_feeding() {
  if (!fed_at_ || Clock::now() - *fed_at_ < std::chrono::duration<double>(bench_.night().wiring.watchdog_seconds)) return;
  fed_at_.reset();
  for (std::size_t i = 0; i < coils_in_all; ++i) bench_.set_coil(i, false);
}

void BenchServer::write_state() {
  state_due_ = Clock::now() + state_every;
  if (options_.state_file.empty()) return;
  const StateOfServer server{port_, line_ ? options_.pty_link : "", options_.rate, counts_.requests, counts_.dropped, counts_.late, counts_.bad_frames};
  write_state_file(options_.state_file, state_json(bench_, server));
}

}  // namespace steadyglow::demo
