#include "drivers/wire/own_port.hpp"

#include <fcntl.h>
#include <sys/file.h>
#include <sys/ioctl.h>
#include <sys/stat.h>
#include <sys/sysmacros.h>
#include <unistd.h>

#include <cerrno>

#include "drivers/wire/descriptor.hpp"

namespace steadyglow::drivers::wire {
namespace {

std::string what_to_do(int error) {
  switch (error) {
    case EACCES: return "whoever runs this must be in the port's group: `dialout`, to which config/udev/60-steadyglow.rules gives USBTMC instruments as well";
    case EPERM: return "a service opens only what its unit file names: see DeviceAllow in config/systemd/steadyglow.service";
    case ENOENT: case ENODEV: case ENXIO: return "is it plugged in? `steadyglow devices` prints the names of what is";
    case EBUSY: case EWOULDBLOCK: return "two readers of one line each get half of the answers: end the other one";
    default: return {};
  }
}

tl::unexpected<Error> cannot_open(const std::string& device, int error) {
  return fail(Fault::unavailable, "cannot open: " + reason(error), what_to_do(error), device);
}

/// The end of a pair that programs open: Documentation/admin-guide/devices.txt of Linux, majors 136 to 143.
bool is_pseudo_terminal(int descriptor) {
  struct stat found {};
  return ::fstat(descriptor, &found) == 0 && major(found.st_rdev) >= 136 && major(found.st_rdev) <= 143;
}

}  // namespace

Result<int> open_alone(const std::string& device) {
  const int descriptor = ::open(device.c_str(), O_RDWR | O_NOCTTY | O_NONBLOCK | O_CLOEXEC);
  if (descriptor < 0) return cannot_open(device, errno);
  if (::flock(descriptor, LOCK_EX | LOCK_NB) == 0) return descriptor;
  const int error = errno;
  ::close(descriptor);
  return cannot_open(device, error);
}

void shut_others_out(int descriptor) {
  if (!is_pseudo_terminal(descriptor)) (void)::ioctl(descriptor, TIOCEXCL);
}
void let_others_in(int descriptor) { (void)::ioctl(descriptor, TIOCNXCL); }

}  // namespace steadyglow::drivers::wire
