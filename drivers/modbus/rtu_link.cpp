#include <poll.h>

#include <algorithm>
#include <array>
#include <cerrno>
#include <thread>

#include "drivers/modbus/link.hpp"
#include "drivers/modbus/port.hpp"

namespace steadyglow::drivers::modbus {
namespace {

using namespace std::chrono_literals;

/// After an error the line must have been silent for this long before anybody speaks: longer than the 16 ms for which
/// a common USB converter holds bytes back, so that the rest of a late reply is met here and not in the next answer.
constexpr auto guard_silence = 30ms;
/// A device that never falls silent cannot hold the bus.
constexpr auto drain_max = 250ms;

/// Keeps the silence between frames, which the library does not, and empties the line after an error.
/// It cannot know a late reply of the same unit and shape from a true one: that is for the caller to prove (Stray).
class RtuLink final : public Link {
 public:
  RtuLink(const SerialLine& line, BusCounters& counters)
      : port_(Context(modbus_new_rtu(line.device.c_str(), line.baud, static_cast<char>(line.parity), 8, line.stop_bits)),
              line.device, counters),
        counters_(counters),
        silence_(silent_interval(line.baud)) {}

  Exchange exchange(std::uint8_t unit, const Bytes& pdu, const Limits& limits, Urgency urgency, Stray stray) override {
    if (!port_.is_open()) is_doubtful_ = true;
    if (auto opened = port_.open(limits.deadline, urgency); !opened) return {Outcome::link_down, 0, {}, opened.error().message};
    // An order goes out even on a line that does not fall silent: a relay may still hear it.
    if (Exchange trouble; !become_silent(limits.deadline, trouble) && (urgency == Urgency::poll || !port_.is_open())) return trouble;
    Exchange result = ask(unit, pdu, std::min(limits.deadline, Clock::now() + limits.answer), stray);
    last_activity_ = Clock::now();
    is_doubtful_ |= result.outcome != Outcome::answered && result.outcome != Outcome::refused;
    if (result.outcome == Outcome::link_down) port_.close();
    return result;
  }

  std::uint64_t session() const override { return port_.session(); }
  bool needs_sync_proof() const override { return true; }

 private:
  bool become_silent(Deadline deadline, Exchange& trouble) {
    std::this_thread::sleep_until(last_activity_ + silence_);
    const int waiting = discard_waiting(port_.descriptor());
    if (waiting < 0) return lost(trouble);
    if (waiting > 0) ++counters_.garbage;
    if (waiting == 0 && !is_doubtful_) return true;
    return drain(std::min(deadline, Clock::now() + drain_max), trouble);
  }

  bool drain(Deadline until, Exchange& trouble) {
    const auto silence = std::max<Clock::duration>(guard_silence, silence_);
    while (Clock::now() < until) {
      pollfd state{port_.descriptor(), POLLIN, 0};
      const auto wait = std::chrono::ceil<std::chrono::milliseconds>(silence);
      const int ready = ::poll(&state, 1, static_cast<int>(wait.count()));
      if (ready == 0) {
        modbus_flush(port_.context());
        is_doubtful_ = false;
        return true;
      }
      if (ready > 0 && discard_waiting(port_.descriptor()) < 0) return lost(trouble);
    }
    ++counters_.garbage;
    trouble = {Outcome::garbage, 0, {}, "the line does not fall silent"};
    return false;
  }

  bool lost(Exchange& trouble) {
    port_.close();
    trouble = {Outcome::link_down, 0, {}, "the port is gone"};
    return false;
  }

  Exchange ask(std::uint8_t unit, const Bytes& pdu, Deadline deadline, Stray stray) {
    modbus_set_slave(port_.context(), unit);
    Bytes request{unit};
    request.insert(request.end(), pdu.begin(), pdu.end());
    if (modbus_send_raw_request(port_.context(), request.data(), static_cast<int>(request.size())) < 0)
      return {Outcome::link_down, 0, {}, "cannot send: " + std::string(modbus_strerror(errno))};
    std::array<std::uint8_t, MODBUS_MAX_ADU_LENGTH> frame{};
    while (true) {
      const int length = port_.receive(frame.data(), deadline);
      if (length < 0) return failure(errno);
      // 0 is the library's word for a frame of another unit: the late reply of a neighbour. Ours may follow.
      Reply reply = length == 0 ? Reply{Match::foreign, 0, {}}
                                : match_rtu(unit, pdu, std::span(frame).first(static_cast<std::size_t>(length)));
      if (reply.match == Match::answer) return {Outcome::answered, 0, std::move(reply.data), {}};
      if (reply.match == Match::exception) return {Outcome::refused, reply.exception, {}, {}};
      ++counters_.garbage;
      if (reply.match == Match::mismatch && stray == Stray::is_an_error)
        return {Outcome::garbage, 0, {}, "a reply that belongs to another request"};
    }
  }

  Exchange failure(int error) {
    if (error == ETIMEDOUT) return {Outcome::timeout, 0, {}, "no answer in time"};
    if (is_link_error(error)) return {Outcome::link_down, 0, {}, "port lost: " + std::string(modbus_strerror(error))};
    ++counters_.garbage;
    return {Outcome::garbage, 0, {}, std::string("a reply that cannot be read: ") + modbus_strerror(error)};
  }

  Port port_;
  BusCounters& counters_;
  Clock::duration silence_;
  Deadline last_activity_{};
  bool is_doubtful_ = true;  // bytes of an earlier owner of the port, or of an answer that came to nothing
};

}  // namespace

std::unique_ptr<Link> make_rtu_link(SerialLine line, BusCounters& counters) { return std::make_unique<RtuLink>(line, counters); }

}  // namespace steadyglow::drivers::modbus
