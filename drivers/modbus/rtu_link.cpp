#include <poll.h>
#include <sys/ioctl.h>
#include <termios.h>

#include <algorithm>
#include <array>
#include <cerrno>
#include <thread>

#include "drivers/modbus/link.hpp"
#include "drivers/modbus/port.hpp"
#include "drivers/text.hpp"

namespace steadyglow::drivers::modbus {
namespace {

using namespace std::chrono_literals;

/// After an error the line must have been silent for this long before anybody speaks: longer than the 16 ms for which
/// a common USB converter holds bytes back, so that the rest of a late reply is met here and not in the next answer.
constexpr auto guard_silence = 30ms;
/// A device that never falls silent cannot hold the bus.
constexpr auto drain_max = 250ms;
/// An echo is there as soon as the request is out, give or take what a converter holds back.
constexpr auto echo_allowance = 50ms;

/// Keeps the silence between frames, which the library does not, and empties the line after an error.
/// It cannot know a late reply of the same unit and shape from a true one: that is for the caller to prove (Stray).
class RtuLink final : public Link {
 public:
  RtuLink(const SerialLine& line, LineManners manners, BusCounters& counters)
      : port_(Context(modbus_new_rtu(line.device.c_str(), line.baud, static_cast<char>(line.parity), 8, line.stop_bits)),
              line.device, counters, Port::Owner::this_one),
        counters_(counters),
        manners_(manners),
        silence_(silent_interval(line.baud)),
        character_(std::chrono::microseconds{bits_per_character * 1'000'000 / line.baud + 1}) {}

  Exchange exchange(std::uint8_t unit, const Bytes& pdu, const Limits& limits, Urgency urgency, Stray stray) override {
    if (!port_.is_open()) is_doubtful_ = true;
    const bool was_open = port_.is_open();
    if (auto opened = port_.open(limits.deadline, urgency); !opened) return {Outcome::link_down, 0, {}, with_hint(opened.error())};
    if (std::string trouble; !was_open && !take_direction(trouble)) return {Outcome::link_down, 0, {}, std::move(trouble)};
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
  /// Turning the adapter by RTS needs a port that has this line; the library would try and not say so.
  bool take_direction(std::string& trouble) {
    if (manners_.rts == Rts::none) return true;
    int lines = 0;
    const int mode = manners_.rts == Rts::before ? MODBUS_RTU_RTS_UP : MODBUS_RTU_RTS_DOWN;
    if (::ioctl(port_.descriptor(), TIOCMGET, &lines) == 0 && modbus_rtu_set_rts(port_.context(), mode) == 0) return true;
    port_.close();
    trouble = "this port has no RTS line: remove `rts`, or use an adapter that turns by itself";
    return false;
  }

  /// What an adapter hears of itself must be what was sent; anything else is somebody who talks at the same time.
  bool take_echo(const Bytes& request, Deadline deadline, Exchange& trouble) {
    const Bytes sent = with_check(request);
    Bytes heard(sent.size());
    const auto whole = [&](std::span<const std::uint8_t>) { return static_cast<int>(sent.size()); };
    const auto until = std::min<Deadline>(deadline, Clock::now() + character_ * static_cast<int>(sent.size()) + echo_allowance);
    if (port_.receive_by(whole, heard, until) < 0) {
      trouble = failure(errno);
      if (trouble.outcome == Outcome::timeout) trouble.trouble = "the request did not come back, though `echo` is true: does this adapter hear itself?";
      return false;
    }
    if (heard == sent) return true;
    ++counters_.garbage;
    trouble = {Outcome::garbage, 0, {}, "what came back is not what was sent: somebody else talks on this line, or the adapter has no echo"};
    return false;
  }

  /// A request that comes back where an answer should be: the adapter hears itself and nobody said so.
  bool is_own_voice(std::span<const std::uint8_t> frame, const Bytes& request) const {
    constexpr std::ptrdiff_t bytes_looked_at = 5;  // as many as the library takes in before it finds that this is no answer
    return !manners_.echo && std::equal(request.begin(), request.begin() + bytes_looked_at, frame.begin());
  }

  int receive(const Bytes& pdu, std::span<std::uint8_t> frame, Deadline deadline) {
    if (pdu[0] != identification_function) return port_.receive(frame.data(), deadline);
    const int length = port_.receive_by(identification_frame_bytes, frame, deadline);
    if (length <= 0) return length;
    const auto whole = frame.first(static_cast<std::size_t>(length));
    if (with_check(whole.first(whole.size() - 2)) == Bytes(whole.begin(), whole.end())) return length;
    errno = EMBBADCRC;
    return -1;
  }

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
    if (Exchange trouble; manners_.echo && !take_echo(request, deadline, trouble)) return trouble;
    std::array<std::uint8_t, MODBUS_MAX_ADU_LENGTH> frame{};
    while (true) {
      frame = {};
      const int length = receive(pdu, frame, deadline);
      if (length < 0) {
        Exchange failed = failure(errno);
        if (is_own_voice(frame, request)) failed.trouble += "; the request came back: try `echo = true` for this adapter";
        return failed;
      }
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
  LineManners manners_;
  Clock::duration silence_;
  Clock::duration character_;
  Deadline last_activity_{};
  bool is_doubtful_ = true;  // bytes of an earlier owner of the port, or of an answer that came to nothing
};

}  // namespace

std::unique_ptr<Link> make_rtu_link(SerialLine line, LineManners manners, BusCounters& counters) {
  return std::make_unique<RtuLink>(line, manners, counters);
}

}  // namespace steadyglow::drivers::modbus
