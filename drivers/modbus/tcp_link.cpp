#include <sys/socket.h>

#include <algorithm>
#include <array>
#include <cerrno>

#include "drivers/modbus/link.hpp"
#include "drivers/modbus/port.hpp"
#include "drivers/text.hpp"

namespace steadyglow::drivers::modbus {
namespace {

/// The library sends and receives, but does not compare the unit, and its raw requests all carry transaction 0.
/// So the header is written and checked here; any doubt closes the connection, and with it every late reply.
class TcpLink final : public Link {
 public:
  TcpLink(const TcpEnd& end, BusCounters& counters)
      : port_(Context(modbus_new_tcp(end.host.c_str(), end.port)), end.host + ":" + std::to_string(end.port), counters),
        counters_(counters) {}

  Exchange exchange(std::uint8_t unit, const Bytes& pdu, const Limits& limits, Urgency urgency, Stray) override {
    const bool was_open = port_.is_open();
    if (was_open) drop_if_doubtful();
    const bool is_fresh = !port_.is_open();
    Exchange result = try_once(unit, pdu, limits, urgency);
    // A peer may drop an idle connection just as we write. Reading twice or writing the same coil twice harms nothing.
    if (result.outcome == Outcome::link_down && was_open && !is_fresh) result = try_once(unit, pdu, limits, urgency);
    return result;
  }

  std::uint64_t session() const override { return port_.session(); }
  bool needs_sync_proof() const override { return false; }

 private:
  /// Nothing may be waiting before a request: bytes would be a late or doubled reply, an end means the peer has left.
  void drop_if_doubtful() {
    const int waiting = discard_waiting(port_.descriptor());
    if (waiting > 0) ++counters_.garbage;
    if (waiting != 0) port_.close();
  }

  /// A connection that does not come about may take as long as an answer, no longer.
  static Deadline within(const Limits& limits) { return std::min(limits.deadline, Clock::now() + limits.answer); }

  Exchange try_once(std::uint8_t unit, const Bytes& pdu, const Limits& limits, Urgency urgency) {
    if (auto opened = port_.open(within(limits), urgency); !opened) return {Outcome::link_down, 0, {}, with_hint(opened.error())};
    Exchange result = ask(unit, pdu, within(limits));
    if (result.outcome != Outcome::answered && result.outcome != Outcome::refused) port_.close();
    return result;
  }

  /// The header's word for it; the library does not read it for functions that it does not know.
  static int frame_bytes(std::span<const std::uint8_t> begun) {
    constexpr std::size_t length_place = 2;  // in words
    constexpr int before_length_ends = static_cast<int>(tcp_header_bytes) - 1;
    return begun.size() < tcp_header_bytes ? 0 : register_at(begun, length_place) + before_length_ends;
  }

  Exchange ask(std::uint8_t unit, const Bytes& pdu, Deadline deadline) {
    const Bytes request = tcp_frame(++transaction_, unit, pdu);
    if (::send(port_.descriptor(), request.data(), request.size(), MSG_NOSIGNAL) != static_cast<ssize_t>(request.size()))
      return {Outcome::link_down, 0, {}, "cannot send: " + std::string(modbus_strerror(errno))};
    std::array<std::uint8_t, MODBUS_MAX_ADU_LENGTH> frame{};
    const int length = pdu[0] == identification_function ? port_.receive_by(frame_bytes, frame, deadline) : port_.receive(frame.data(), deadline);
    if (length < 0) return failure(errno);
    Reply reply = match_tcp(transaction_, unit, pdu, std::span(frame).first(static_cast<std::size_t>(length)));
    if (reply.match == Match::answer) return {Outcome::answered, 0, std::move(reply.data), {}};
    if (reply.match == Match::exception) return {Outcome::refused, reply.exception, {}, {}};
    ++counters_.garbage;
    return {Outcome::garbage, 0, {}, "a reply that belongs to another request, unit or device"};
  }

  Exchange failure(int error) {
    if (error == ETIMEDOUT) return {Outcome::timeout, 0, {}, "no answer in time"};
    if (is_link_error(error)) return {Outcome::link_down, 0, {}, "connection lost: " + std::string(modbus_strerror(error))};
    ++counters_.garbage;
    return {Outcome::garbage, 0, {}, std::string("a reply that cannot be read: ") + modbus_strerror(error)};
  }

  Port port_;
  BusCounters& counters_;
  std::uint16_t transaction_ = 0;
};

}  // namespace

std::unique_ptr<Link> make_tcp_link(TcpEnd end, BusCounters& counters) { return std::make_unique<TcpLink>(end, counters); }

}  // namespace steadyglow::drivers::modbus
