#include "drivers/wire/descriptor.hpp"

#include <poll.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <cerrno>
#include <cstring>
#include <system_error>
#include <utility>

namespace steadyglow::drivers::wire {

std::string reason(int error) {
  if (error == ETIMEDOUT) return "no answer in time";
  if (error == EIO || error == ENXIO || error == ENODEV) return "the port is gone";
  if (error == EBUSY || error == EWOULDBLOCK) return "another program holds it";
  return std::generic_category().message(error);
}

DescriptorWire::DescriptorWire(std::string where, BusCounters& counters) : where_(std::move(where)), counters_(counters) {}

DescriptorWire::~DescriptorWire() {
  if (descriptor_ >= 0) ::close(descriptor_);
}

tl::unexpected<Error> DescriptorWire::trouble(std::string message, std::string hint) const {
  return fail(Fault::unavailable, std::move(message), std::move(hint), where_);
}

tl::unexpected<Error> DescriptorWire::lost(const std::string& why) {
  close();
  return trouble(why);
}

Result<void> DescriptorWire::open(Deadline deadline) {
  if (is_open()) return {};
  if (Clock::now() < retry_at_) return trouble(open_trouble_, open_hint_);
  return open_now(deadline);
}

Result<void> DescriptorWire::open_now(Deadline deadline) {
  if (is_open()) return {};
  auto opened = connect(deadline);
  if (!opened) {
    open_trouble_ = opened.error().message;
    open_hint_ = opened.error().hint;
    retry_at_ = Clock::now() + pause_;
    pause_ = std::min(pause_ * 2, open_pause_max);
    return tl::unexpected(std::move(opened.error()));
  }
  descriptor_ = *opened;
  if (session_++ > 0) ++counters_.reconnects;
  pause_ = open_pause_first;
  return {};
}

void DescriptorWire::close() {
  if (!is_open()) return;
  leave();
  ::close(descriptor_);
  descriptor_ = -1;
}

bool DescriptorWire::wait_for(short events, Deadline deadline) const {
  while (true) {
    const auto left = std::chrono::ceil<std::chrono::milliseconds>(deadline - Clock::now());
    pollfd state{descriptor_, events, 0};
    const int ready = ::poll(&state, 1, static_cast<int>(std::max<std::int64_t>(0, left.count())));
    if (ready > 0) return true;  // also when the other end hung up: the next read or write says so
    if (ready == 0 && left.count() <= 0) return false;
    if (ready < 0 && errno != EINTR) return true;
  }
}

Result<void> DescriptorWire::write(std::string_view bytes, Deadline deadline) {
  if (!is_open()) return trouble("it is not open");
  while (!bytes.empty()) {
    const ssize_t sent = ::write(descriptor_, bytes.data(), bytes.size());
    if (sent > 0) {
      bytes.remove_prefix(static_cast<std::size_t>(sent));
      continue;
    }
    if (sent < 0 && errno == EINTR) continue;
    if (sent < 0 && errno != EAGAIN) return lost(reason(errno));
    // Half an order may have left: only a new connection or a cleared line makes sense of what follows.
    if (!wait_for(POLLOUT, deadline)) return trouble("it takes no more bytes");
  }
  return {};
}

Result<std::string> DescriptorWire::read_some(Deadline deadline) {
  if (!is_open()) return trouble("it is not open");
  std::string bytes(read_bytes_max, '\0');
  while (true) {
    const ssize_t got = ::read(descriptor_, bytes.data(), bytes.size());
    if (got > 0) {
      bytes.resize(static_cast<std::size_t>(got));
      return bytes;
    }
    if (got == 0) return lost(end_words());
    if (errno == EINTR) continue;
    if (errno != EAGAIN) return lost(reason(errno));
    if (!wait_for(POLLIN, deadline)) return trouble("no answer in time");
  }
}

bool DescriptorWire::discard_waiting(std::size_t& bytes) {
  bytes = 0;
  std::array<char, read_bytes_max> scrap{};
  // One buffer at a time, and not for ever: a device that babbles cannot hold us here.
  for (int i = 0; i < 4 && is_open(); ++i) {
    const ssize_t got = ::read(descriptor_, scrap.data(), scrap.size());
    if (got > 0) bytes += static_cast<std::size_t>(got);
    else if (got < 0 && errno == EINTR) continue;
    else if (got < 0 && errno == EAGAIN) return true;
    else close();
  }
  return is_open();
}

Result<void> DescriptorWire::clear(Deadline deadline) {
  const Deadline until = std::min(deadline, Clock::now() + clear_max);
  std::size_t bytes = 0;
  while (true) {
    if (!discard_waiting(bytes)) return trouble(end_words());
    // A wait that the deadline cut short proves no silence.
    if (Clock::now() + guard_silence > until) return trouble("the line does not fall silent");
    if (!wait_for(POLLIN, Clock::now() + guard_silence)) return {};
  }
}

std::string shown(const Place& place) {
  if (const auto* tcp = std::get_if<TcpEnd>(&place)) return tcp->host + ":" + std::to_string(tcp->port);
  if (const auto* serial = std::get_if<SerialEnd>(&place)) return serial->line.device;
  return std::get<UsbTmc>(place).device;
}

std::unique_ptr<Wire> make_wire(Place place, BusCounters& counters) {
  if (auto* tcp = std::get_if<TcpEnd>(&place)) return make_tcp(std::move(*tcp), counters);
  if (auto* serial = std::get_if<SerialEnd>(&place)) return make_serial(std::move(*serial), counters);
  return make_usbtmc(std::move(std::get<UsbTmc>(place)), counters);
}

SerialEnd read_serial_end(document::Table& bus, SerialLine defaults) {
  SerialEnd end;
  end.line = read_serial_line(bus, std::move(defaults), true);
  end.is_dtr_high = bus.maybe_word("dtr", {"high", "low"}).value_or("high") == "high";
  end.is_rts_high = bus.maybe_word("rts", {"high", "low"}).value_or("high") == "high";
  return end;
}

}  // namespace steadyglow::drivers::wire
