#include "drivers/fault_server.hpp"

#include <arpa/inet.h>
#include <fcntl.h>
#include <netinet/in.h>
#include <netinet/tcp.h>
#include <poll.h>
#include <stdlib.h>
#include <sys/socket.h>
#include <termios.h>
#include <unistd.h>

#include <boost/crc.hpp>
#include <cstdio>
#include <cstdlib>

namespace steadyglow::tests {
namespace {

using namespace std::chrono_literals;

constexpr std::uint16_t wrong_shift = 1000;
constexpr std::uint8_t other_unit = 99;
constexpr int poll_ms = 5;

void expect(bool is_fine, const char* what) {
  if (is_fine) return;
  std::perror(what);
  std::abort();
}

bool is_readable(int descriptor) {
  pollfd state{descriptor, POLLIN, 0};
  return ::poll(&state, 1, poll_ms) > 0;
}

void put(int descriptor, const Bytes& bytes, bool is_socket) {
  if (is_socket) (void)!::send(descriptor, bytes.data(), bytes.size(), MSG_NOSIGNAL);
  else (void)!::write(descriptor, bytes.data(), bytes.size());
}

void put_slowly(int descriptor, const Bytes& bytes, bool is_socket, const std::atomic<bool>& is_stopping) {
  for (const std::uint8_t byte : bytes) {
    if (is_stopping) return;
    put(descriptor, {byte}, is_socket);
    std::this_thread::sleep_for(20ms);
  }
}

std::uint16_t word(const std::uint8_t* at) { return static_cast<std::uint16_t>(at[0] << 8 | at[1]); }

Asked read_pdu(std::uint8_t unit, const std::uint8_t* pdu, Bytes wire) {
  const bool is_identification = pdu[0] == 0x2B;  // four bytes only: function, type, code, first object
  return {unit, pdu[0], word(pdu + 1), is_identification ? std::uint16_t{pdu[3]} : word(pdu + 3), std::move(wire)};
}

Bytes half(Bytes frame) {
  frame.resize(frame.size() / 2);
  return frame;
}

}  // namespace

Bytes with_check(Bytes frame) {
  boost::crc_optimal<16, 0x8005, 0xFFFF, 0, true, true> check;
  check.process_bytes(frame.data(), frame.size());
  frame.push_back(static_cast<std::uint8_t>(check.checksum() & 0xFF));
  frame.push_back(static_cast<std::uint8_t>(check.checksum() >> 8));
  return frame;
}

std::vector<Asked> FaultyDevice::asked() const {
  const std::lock_guard lock(mutex_);
  return asked_;
}

std::size_t FaultyDevice::asked_count() const {
  const std::lock_guard lock(mutex_);
  return asked_.size();
}

bool FaultyDevice::coil(std::uint16_t address) const {
  const std::lock_guard lock(mutex_);
  const auto place = coils_.find(address);
  return place != coils_.end() && place->second;
}

void FaultyDevice::set(std::uint16_t address, std::uint16_t value) {
  const std::lock_guard lock(mutex_);
  values_[address] = value;
}

void FaultyDevice::set_text(std::uint16_t address, std::uint16_t registers, const std::string& text) {
  for (std::uint16_t i = 0; i < registers; ++i) {
    const auto byte = [&](std::size_t place) { return static_cast<std::uint16_t>(place < text.size() ? static_cast<unsigned char>(text[place]) : 0); };
    set(static_cast<std::uint16_t>(address + i), static_cast<std::uint16_t>(byte(2u * i) << 8 | byte(2u * i + 1)));
  }
}

void FaultyDevice::set_names(std::vector<std::string> names) {
  const std::lock_guard lock(mutex_);
  names_ = std::move(names);
}

void FaultyDevice::remember(const Asked& asked) {
  const std::lock_guard lock(mutex_);
  asked_.push_back(asked);
}

Bytes FaultyDevice::answer(const Asked& asked, std::uint16_t shift) {
  const std::lock_guard lock(mutex_);
  if (asked.function == 5) {
    if (forbidden.contains(asked.address)) return {0x85, 2};
    if (!is_relay_stuck) coils_[asked.address] = asked.count == 0xFF00;
    return {5, static_cast<std::uint8_t>(asked.address >> 8), static_cast<std::uint8_t>(asked.address),
            static_cast<std::uint8_t>(asked.count >> 8), static_cast<std::uint8_t>(asked.count)};
  }
  const auto refusal = static_cast<std::uint8_t>(asked.function | 0x80);
  if (asked.function == 0x2B && !names_.empty()) {
    Bytes pdu{0x2B, 0x0E, 0x01, 0x01, 0x00, 0x00, static_cast<std::uint8_t>(names_.size())};
    for (std::size_t i = 0; i < names_.size(); ++i) {
      pdu.push_back(static_cast<std::uint8_t>(i));
      pdu.push_back(static_cast<std::uint8_t>(names_[i].size()));
      pdu.insert(pdu.end(), names_[i].begin(), names_[i].end());
    }
    return pdu;
  }
  if (asked.function < 1 || asked.function > 4) return {refusal, 1};
  for (const std::uint16_t address : forbidden)
    if (address >= asked.address && address < asked.address + asked.count) return {refusal, 2};
  Bytes pdu{asked.function};
  if (asked.function >= 3) {
    pdu.push_back(static_cast<std::uint8_t>(asked.count * 2));
    for (int i = 0; i < asked.count; ++i) {
      const auto address = static_cast<std::uint16_t>(asked.address + i);
      const auto value = static_cast<std::uint16_t>((values_.contains(address) ? values_[address] : address + level) + shift);
      pdu.push_back(static_cast<std::uint8_t>(value >> 8));
      pdu.push_back(static_cast<std::uint8_t>(value));
    }
    return pdu;
  }
  pdu.push_back(static_cast<std::uint8_t>((asked.count + 7) / 8));
  pdu.resize(2u + pdu[1]);
  for (int i = 0; i < asked.count; ++i) {
    const auto address = static_cast<std::uint16_t>(asked.address + i);
    const bool is_on = asked.function == 1 ? coils_.count(address) != 0 && coils_[address] : address % 2 == 1;
    if (is_on) pdu[2u + static_cast<unsigned>(i) / 8] |= static_cast<std::uint8_t>(1u << (i % 8));
  }
  return pdu;
}

TcpFaultServer::TcpFaultServer(FaultyDevice& device, int port) : device_(device) {
  listener_ = ::socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0);
  expect(listener_ >= 0, "socket");
  const int yes = 1;
  ::setsockopt(listener_, SOL_SOCKET, SO_REUSEADDR, &yes, sizeof yes);
  sockaddr_in address{};
  address.sin_family = AF_INET;
  address.sin_port = htons(static_cast<std::uint16_t>(port));
  address.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
  expect(::bind(listener_, reinterpret_cast<sockaddr*>(&address), sizeof address) == 0, "bind");
  expect(::listen(listener_, 8) == 0, "listen");
  socklen_t size = sizeof address;
  ::getsockname(listener_, reinterpret_cast<sockaddr*>(&address), &size);
  port_ = ntohs(address.sin_port);
  thread_ = std::thread([this] { serve(); });
}

TcpFaultServer::~TcpFaultServer() {
  is_stopping_ = true;
  thread_.join();
  ::close(listener_);
}

void TcpFaultServer::serve() {
  int connection = -1;
  const auto hang_up = [&] {
    if (connection >= 0) ::close(connection);
    connection = -1;
  };
  while (!is_stopping_) {
    if (is_readable(listener_)) {
      hang_up();  // one client at a time: a new connection replaces the old one
      connection = ::accept4(listener_, nullptr, nullptr, SOCK_CLOEXEC);
      const int yes = 1;
      ::setsockopt(connection, IPPROTO_TCP, TCP_NODELAY, &yes, sizeof yes);
    }
    if (connection < 0) continue;
    // Both are watched in turn; a request waits for the listener's few milliseconds at most.
    while (!is_stopping_ && connection >= 0) {
      pollfd both[2] = {{connection, POLLIN, 0}, {listener_, POLLIN, 0}};
      if (::poll(both, 2, poll_ms) <= 0) continue;
      if (both[1].revents != 0) break;
      Bytes wire(7);
      bool is_whole = ::recv(connection, wire.data(), wire.size(), MSG_WAITALL) == static_cast<ssize_t>(wire.size());
      const std::size_t rest = is_whole ? word(wire.data() + 4) - 1u : 0;
      wire.resize(7 + rest);
      is_whole = rest >= 4 && rest < 256 && ::recv(connection, wire.data() + 7, rest, MSG_WAITALL) == static_cast<ssize_t>(rest);
      if (!is_whole) {
        hang_up();
        break;
      }
      Bytes padded = wire;
      padded.resize(12);
      const Asked asked = read_pdu(wire[6], padded.data() + 7, wire);
      device_.remember(asked);
      if (!answer(connection, asked, word(wire.data()))) hang_up();
    }
  }
  hang_up();
}

bool TcpFaultServer::answer(int connection, const Asked& asked, std::uint16_t transaction) {
  if (!device_.units.contains(asked.unit)) return true;
  const auto frame = [&](std::uint16_t number, std::uint8_t unit, const Bytes& pdu, int length_error = 0) {
    const auto length = static_cast<std::uint16_t>(static_cast<int>(pdu.size()) + 1 + length_error);
    Bytes all{static_cast<std::uint8_t>(number >> 8), static_cast<std::uint8_t>(number), 0, 0,
              static_cast<std::uint8_t>(length >> 8), static_cast<std::uint8_t>(length), unit};
    all.insert(all.end(), pdu.begin(), pdu.end());
    return all;
  };
  const Bytes right = frame(transaction, asked.unit, device_.answer(asked));
  const Bytes wrong = device_.answer(asked, wrong_shift);
  Asked other_function = asked;
  other_function.function = asked.function == 3 ? 4 : 3;
  switch (device_.fault(asked)) {
    case Fault::none: case Fault::bad_check: put(connection, right, true); return true;
    case Fault::silent: return true;
    case Fault::late: std::this_thread::sleep_for(device_.late_by); put(connection, right, true); return true;
    case Fault::garbage: put(connection, Bytes(right.size(), 0xA5), true); return true;
    case Fault::wrong_unit: put(connection, frame(transaction, other_unit, wrong), true); return true;
    case Fault::wrong_transaction: put(connection, frame(static_cast<std::uint16_t>(transaction - 1), asked.unit, wrong), true); return true;
    case Fault::wrong_length: put(connection, frame(transaction, asked.unit, wrong, 2), true); return true;
    case Fault::wrong_function: put(connection, frame(transaction, asked.unit, device_.answer(other_function, wrong_shift)), true); return true;
    case Fault::truncated: put(connection, half(right), true); return true;
    case Fault::exception: put(connection, frame(transaction, asked.unit, {static_cast<std::uint8_t>(asked.function | 0x80), 4}), true); return true;
    case Fault::gateway_silence: put(connection, frame(transaction, asked.unit, {static_cast<std::uint8_t>(asked.function | 0x80), 0x0B}), true); return true;
    case Fault::doubled: put(connection, right, true); put(connection, frame(transaction, asked.unit, wrong), true); return true;
    case Fault::drip: put_slowly(connection, right, true, is_stopping_); return true;
    case Fault::hang_up: return false;
  }
  return true;
}

RtuFaultServer::RtuFaultServer(FaultyDevice& device, bool has_echo) : device_(device), has_echo_(has_echo) {
  terminal_ = ::posix_openpt(O_RDWR | O_NOCTTY | O_CLOEXEC);
  expect(terminal_ >= 0 && ::grantpt(terminal_) == 0 && ::unlockpt(terminal_) == 0, "pseudo-terminal");
  char name[64] = {};
  expect(::ptsname_r(terminal_, name, sizeof name) == 0, "ptsname");
  path_ = name;
  other_end_ = ::open(name, O_RDWR | O_NOCTTY | O_CLOEXEC);
  expect(other_end_ >= 0, name);
  termios raw{};
  ::tcgetattr(other_end_, &raw);
  ::cfmakeraw(&raw);
  ::tcsetattr(other_end_, TCSANOW, &raw);
  thread_ = std::thread([this] { serve(); });
}

RtuFaultServer::~RtuFaultServer() {
  is_stopping_ = true;
  thread_.join();
  ::close(other_end_);
  ::close(terminal_);
}

void RtuFaultServer::serve() {
  Bytes line;
  while (!is_stopping_) {
    if (!is_readable(terminal_)) {
      line.clear();  // a pause ends a frame
      continue;
    }
    std::uint8_t byte = 0;
    if (::read(terminal_, &byte, 1) != 1) continue;
    line.push_back(byte);
    if (has_echo_) put(terminal_, {byte}, false);
    // Every request that the driver makes is 8 bytes long, but for the question who it is.
    const std::size_t length = line.size() > 1 && line[1] == 0x2B ? 7 : 8;
    if (line.size() < length) continue;
    const Bytes frame(line.begin(), line.end() - 2);
    if (with_check(frame) == line) {
      const Asked asked = read_pdu(line[0], line.data() + 1, line);
      device_.remember(asked);
      answer(asked);
    }
    line.clear();
  }
}

void RtuFaultServer::answer(const Asked& asked) {
  if (!device_.units.contains(asked.unit)) return;
  const auto frame = [](std::uint8_t unit, const Bytes& pdu) {
    Bytes all{unit};
    all.insert(all.end(), pdu.begin(), pdu.end());
    return with_check(all);
  };
  const Bytes right = frame(asked.unit, device_.answer(asked));
  const Bytes wrong = device_.answer(asked, wrong_shift);
  Asked other = asked;
  switch (device_.fault(asked)) {
    case Fault::none: case Fault::wrong_transaction: case Fault::hang_up: return put(terminal_, right, false);
    case Fault::silent: return;
    case Fault::late: std::this_thread::sleep_for(device_.late_by); return put(terminal_, right, false);
    case Fault::garbage: return put(terminal_, Bytes(right.size(), 0xA5), false);
    case Fault::wrong_unit: return put(terminal_, frame(other_unit, wrong), false);
    case Fault::wrong_length: other.count = static_cast<std::uint16_t>(asked.count + 1); return put(terminal_, frame(asked.unit, device_.answer(other, wrong_shift)), false);
    case Fault::wrong_function: other.function = asked.function == 3 ? 4 : 3; return put(terminal_, frame(asked.unit, device_.answer(other, wrong_shift)), false);
    case Fault::bad_check: {
      Bytes bad = frame(asked.unit, wrong);
      bad.back() ^= 0x10;
      return put(terminal_, bad, false);
    }
    case Fault::truncated: return put(terminal_, half(right), false);
    case Fault::exception: return put(terminal_, frame(asked.unit, {static_cast<std::uint8_t>(asked.function | 0x80), 4}), false);
    case Fault::gateway_silence: return put(terminal_, frame(asked.unit, {static_cast<std::uint8_t>(asked.function | 0x80), 0x0B}), false);
    case Fault::doubled: put(terminal_, right, false); return put(terminal_, frame(asked.unit, wrong), false);
    case Fault::drip: return put_slowly(terminal_, right, false, is_stopping_);
  }
}

}  // namespace steadyglow::tests
