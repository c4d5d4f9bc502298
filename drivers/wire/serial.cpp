#include <fcntl.h>
#include <sys/ioctl.h>
#include <termios.h>
#include <unistd.h>

#include <array>
#include <cerrno>
#include <utility>

#include "drivers/wire/descriptor.hpp"
#include "drivers/wire/own_port.hpp"

namespace steadyglow::drivers::wire {
namespace {

struct Rate {
  int baud;
  speed_t speed;
};
constexpr std::array<Rate, 11> rates{{{300, B300}, {600, B600}, {1200, B1200}, {2400, B2400}, {4800, B4800}, {9600, B9600}, {19200, B19200},
                                      {38400, B38400}, {57600, B57600}, {115200, B115200}, {230400, B230400}}};

/// Bytes as they are: no echo, no translation, no control characters, no flow control. A byte with a parity error comes as 0, which no
/// text holds, so that it spoils its line instead of changing a digit (termios(3), PARMRK).
bool make_raw(int descriptor, const SerialLine& line) {
  termios settings{};
  if (::tcgetattr(descriptor, &settings) != 0) return false;
  ::cfmakeraw(&settings);
  settings.c_iflag |= line.parity == Parity::none ? IGNBRK : (INPCK | IGNBRK);
  settings.c_cflag &= ~static_cast<tcflag_t>(CSIZE | CSTOPB | PARENB | PARODD | CRTSCTS | HUPCL);
  settings.c_cflag |= CLOCAL | CREAD | (line.data_bits == 7 ? CS7 : CS8);
  if (line.stop_bits == 2) settings.c_cflag |= CSTOPB;
  if (line.parity != Parity::none) settings.c_cflag |= PARENB;
  if (line.parity == Parity::odd) settings.c_cflag |= PARODD;
  settings.c_cc[VMIN] = 1;  // with O_NONBLOCK an empty line is EAGAIN, and 0 means what it means everywhere: the other end has left
  settings.c_cc[VTIME] = 0;
  bool is_known = false;
  for (const Rate& rate : rates)
    if (rate.baud == line.baud) is_known = ::cfsetspeed(&settings, rate.speed) == 0;
  return is_known && ::tcsetattr(descriptor, TCSANOW, &settings) == 0;
}

void set_control_line(int descriptor, int which, bool is_high) { (void)::ioctl(descriptor, is_high ? TIOCMBIS : TIOCMBIC, &which); }

class SerialWire final : public DescriptorWire {
 public:
  SerialWire(SerialEnd end, BusCounters& counters) : DescriptorWire(end.line.device, counters), end_(std::move(end)) {}
  ~SerialWire() override { close(); }  // while leave() is still this one

 private:
  Result<int> connect(Deadline) override {
    const auto opened = open_alone(end_.line.device);
    if (!opened) return opened;
    const int descriptor = *opened;
    set_control_line(descriptor, TIOCM_DTR, end_.is_dtr_high);
    set_control_line(descriptor, TIOCM_RTS, end_.is_rts_high);
    if (!make_raw(descriptor, end_.line)) {
      ::close(descriptor);
      return trouble("cannot open: it cannot be set up as a serial line", "is it one, and can it do this baud rate?");
    }
    shut_others_out(descriptor);
    ::tcflush(descriptor, TCIOFLUSH);
    return descriptor;
  }

  void leave() override { let_others_in(descriptor()); }

  SerialEnd end_;
};

}  // namespace

std::unique_ptr<Wire> make_serial(SerialEnd end, BusCounters& counters) { return std::make_unique<SerialWire>(std::move(end), counters); }

}  // namespace steadyglow::drivers::wire
