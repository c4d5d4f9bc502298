#include "drivers/modbus/port.hpp"

#include <fcntl.h>
#include <poll.h>
#include <sys/select.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <cerrno>
#include <utility>

#include "drivers/wire/own_port.hpp"

namespace steadyglow::drivers::modbus {
namespace {

constexpr std::chrono::microseconds timeout_min{1000};  // the library refuses 0

/// libmodbus waits with select(), which writes past its bit set for a descriptor from FD_SETSIZE up.
bool is_descriptor_room_left() {
  const int next = ::open("/dev/null", O_RDONLY | O_CLOEXEC);
  if (next < 0) return false;
  ::close(next);
  return next < FD_SETSIZE;
}

std::string reason(int error) {
  // What the library leaves behind when a connection does not come about in time.
  if (error == EINPROGRESS || error == ETIMEDOUT) return "no answer in time";
  return modbus_strerror(error);
}

}  // namespace

bool is_link_error(int error) {
  return error != ETIMEDOUT && error < MODBUS_ENOBASE;
}

int discard_waiting(int descriptor) {
  constexpr int discard_bytes_max = 4096;  // one terminal buffer: a babbling device cannot hold us here
  std::array<std::uint8_t, 512> scrap{};
  int total = 0;
  while (total < discard_bytes_max) {
    pollfd state{descriptor, POLLIN, 0};
    if (::poll(&state, 1, 0) <= 0 || state.revents == 0) return total;
    const ssize_t got = ::read(descriptor, scrap.data(), scrap.size());
    if (got < 0 && (errno == EAGAIN || errno == EINTR)) return total;
    if (got <= 0) return -1;
    total += static_cast<int>(got);
  }
  return total;
}

Port::Port(Context context, std::string where, BusCounters& counters, Owner owner)
    : context_(std::move(context)), where_(std::move(where)), counters_(counters), owner_(owner) {
  if (!context_) return;
  modbus_set_error_recovery(context_.get(), MODBUS_ERROR_RECOVERY_NONE);
  // Zero: the response timeout then covers the whole frame. Its default of 0.5 s a byte would outlast every deadline.
  modbus_set_byte_timeout(context_.get(), 0, 0);
}

Port::~Port() { close(); }

Result<void> Port::open(Deadline deadline, Urgency urgency) {
  if (is_open_) return {};
  if (!context_) return fail(Fault::unavailable, "not a place to open", "check host or device", where_);
  const auto now = Clock::now();
  if (urgency == Urgency::poll && now < retry_at_) return tl::unexpected(open_trouble_);
  auto done = connect(deadline);
  if (done) {
    if (was_ever_open_) ++counters_.reconnects;
    was_ever_open_ = is_open_ = true;
    pause_ = open_pause_first;
    return done;
  }
  open_trouble_ = done.error();
  retry_at_ = Clock::now() + pause_;
  pause_ = std::min(pause_ * 2, open_pause_max);
  return done;
}

Result<void> Port::connect(Deadline deadline) {
  // Before the library opens it: that sets the line up anew, under whoever reads it now.
  if (auto claimed = claim(); !claimed) return claimed;
  if (!is_descriptor_room_left()) {
    release();
    return fail(Fault::unavailable, "too many open files", "raise LimitNOFILE only up to 1024, or use fewer buses", where_);
  }
  set_timeout(deadline);
  if (modbus_connect(context_.get()) == 0) {
    if (owner_ == Owner::this_one) wire::shut_others_out(claim_);
    return {};
  }
  const int error = errno;
  release();
  return fail(Fault::unavailable, "cannot open: " + reason(error), {}, where_);
}

Result<void> Port::claim() {
  if (owner_ == Owner::many) return {};
  const auto opened = wire::open_alone(where_);
  if (!opened) return tl::unexpected(opened.error());
  claim_ = *opened;
  return {};
}

void Port::release() {
  if (claim_ < 0) return;
  wire::let_others_in(claim_);
  ::close(claim_);
  claim_ = -1;
}

void Port::close() {
  if (!is_open_) return;
  modbus_close(context_.get());
  release();
  is_open_ = false;
  ++session_;
}

void Port::set_timeout(Deadline deadline) {
  const auto left = std::max(timeout_min, std::chrono::duration_cast<std::chrono::microseconds>(deadline - Clock::now()));
  modbus_set_response_timeout(context_.get(), static_cast<std::uint32_t>(left.count() / 1'000'000),
                              static_cast<std::uint32_t>(left.count() % 1'000'000));
}

int Port::receive(std::uint8_t* frame, Deadline deadline) {
  if (Clock::now() >= deadline) {
    errno = ETIMEDOUT;
    return -1;
  }
  set_timeout(deadline);
  return modbus_receive_confirmation(context_.get(), frame);
}

int Port::receive_by(const std::function<int(std::span<const std::uint8_t> begun)>& bytes_needed, std::span<std::uint8_t> frame, Deadline deadline) {
  std::size_t have = 0;
  while (true) {
    const int needed = bytes_needed(frame.first(have));
    if (needed > 0 && static_cast<std::size_t>(needed) == have) return needed;
    const bool is_too_short = needed > 0 && static_cast<std::size_t>(needed) < have;  // as it says itself
    if (needed < 0 || is_too_short || have == frame.size() || (needed > 0 && static_cast<std::size_t>(needed) > frame.size())) {
      errno = EMBBADDATA;
      return -1;
    }
    const auto left = std::chrono::ceil<std::chrono::milliseconds>(deadline - Clock::now());
    pollfd state{descriptor(), POLLIN, 0};
    if (left.count() <= 0 || ::poll(&state, 1, static_cast<int>(left.count())) == 0) {
      errno = ETIMEDOUT;
      return -1;
    }
    // One byte at a time until the length is known: what follows belongs to nobody yet.
    const ssize_t got = ::read(descriptor(), frame.data() + have, needed > 0 ? static_cast<std::size_t>(needed) - have : 1);
    if (got > 0) have += static_cast<std::size_t>(got);
    else if (got == 0 || (errno != EAGAIN && errno != EINTR)) {
      if (got == 0) errno = ECONNRESET;
      return -1;
    }
  }
}

}  // namespace steadyglow::drivers::modbus
