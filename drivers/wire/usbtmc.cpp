#include <fcntl.h>
#include <linux/usb/tmc.h>
#include <poll.h>
#include <sys/ioctl.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <utility>

#include "drivers/wire/descriptor.hpp"
#include "drivers/wire/own_port.hpp"

namespace steadyglow::drivers::wire {
namespace {

/// The kernel driver's least timeout (USBTMC_MIN_TIMEOUT in drivers/usb/class/usbtmc.c, from memory).
constexpr std::chrono::milliseconds kernel_timeout_least{100};

/// The kernel's USBTMC driver blocks in read and write until its own timeout, and its poll(2) tells of service requests only; so the timeout
/// is set before each call. A device file whose driver does not know these requests is read and written as bytes.
class UsbTmcWire final : public DescriptorWire {
 public:
  UsbTmcWire(UsbTmc end, BusCounters& counters) : DescriptorWire(end.device, counters), end_(std::move(end)) {}

  Result<void> write(std::string_view message, Deadline deadline) override {
    if (!is_open()) return trouble("it is not open");
    if (!is_kernel_driver_) return DescriptorWire::write(message, deadline);
    if (!limit(deadline)) return trouble("no time left");
    const ssize_t sent = ::write(descriptor(), message.data(), message.size());
    if (sent == static_cast<ssize_t>(message.size())) return {};
    if (sent < 0 && errno != ETIMEDOUT) return lost(reason(errno));
    return trouble("it takes no more bytes");
  }

  Result<std::string> read_some(Deadline deadline) override {
    if (!is_open()) return trouble("it is not open");
    if (!is_kernel_driver_) return DescriptorWire::read_some(deadline);
    if (!limit(deadline)) return trouble("no answer in time");
    std::string bytes(read_bytes_max, '\0');
    const ssize_t got = ::read(descriptor(), bytes.data(), bytes.size());
    if (got < 0 && errno != ETIMEDOUT && errno != EINTR) return lost(reason(errno));
    if (got <= 0) return trouble("no answer in time");
    bytes.resize(static_cast<std::size_t>(got));
    // Shorter than asked for: the message has ended.
    if (bytes.size() < read_bytes_max && bytes.back() != '\n') bytes += '\n';
    return bytes;
  }

  /// A device keeps its message until it is asked for: to look would be to ask.
  bool discard_waiting(std::size_t& bytes) override {
    if (!is_kernel_driver_) return DescriptorWire::discard_waiting(bytes);
    bytes = 0;
    return is_open();
  }

  Result<void> clear(Deadline deadline) override {
    if (!is_kernel_driver_) return DescriptorWire::clear(deadline);
    if (!limit(deadline)) return trouble("no time left");
    if (::ioctl(descriptor(), USBTMC_IOCTL_CLEAR) == 0) return {};
    if (errno == ENODEV || errno == EIO) return lost(reason(errno));
    return trouble("it cannot be cleared: " + reason(errno), "unplug it and plug it in again");
  }

 private:
  Result<int> connect(Deadline) override {
    const auto opened = open_alone(end_.device);
    if (!opened) return opened;
    const int descriptor = *opened;
    auto timeout = static_cast<std::uint32_t>(kernel_timeout_least.count());
    is_kernel_driver_ = ::ioctl(descriptor, USBTMC_IOCTL_SET_TIMEOUT, &timeout) == 0;
    // There, without O_NONBLOCK: a read waits for the answer, up to the timeout.
    if (is_kernel_driver_) ::fcntl(descriptor, F_SETFL, 0);
    return descriptor;
  }

  /// Gives the kernel what is left; false when that is less than it can count.
  bool limit(Deadline deadline) {
    const auto left = std::chrono::floor<std::chrono::milliseconds>(deadline - Clock::now());
    if (left < kernel_timeout_least) return false;
    auto timeout = static_cast<std::uint32_t>(left.count());
    return ::ioctl(descriptor(), USBTMC_IOCTL_SET_TIMEOUT, &timeout) == 0;
  }

  UsbTmc end_;
  bool is_kernel_driver_ = false;
};

}  // namespace

std::unique_ptr<Wire> make_usbtmc(UsbTmc end, BusCounters& counters) { return std::make_unique<UsbTmcWire>(std::move(end), counters); }

}  // namespace steadyglow::drivers::wire
