#include "demo/bench/serial_line.hpp"

#include <fcntl.h>
#include <stdlib.h>
#include <termios.h>

#include <array>
#include <cerrno>
#include <cstring>
#include <filesystem>

namespace steadyglow::demo {
namespace {

tl::unexpected<Error> cannot(const std::string& what, const std::string& where) { return fail(Fault::cannot_create, what + ": " + std::strerror(errno), {}, where); }

Result<void> put_link(const std::string& device, const std::string& link) {
  std::error_code error;
  const auto status = std::filesystem::symlink_status(link, error);
  if (std::filesystem::exists(status) && !std::filesystem::is_symlink(status))
    return fail(Fault::cannot_create, "something else stands here already", "choose another path for --pty", link);
  std::filesystem::remove(link, error);
  std::filesystem::create_symlink(device, link, error);
  if (error) return fail(Fault::cannot_create, "cannot make the link to " + device + ": " + error.message(), "does its folder exist?", link);
  return {};
}

}  // namespace

SerialLine::SerialLine(Descriptor ours, Descriptor theirs, std::string device, std::string link)
    : ours_(std::move(ours)), theirs_(std::move(theirs)), device_(std::move(device)), link_(std::move(link)) {}

Result<SerialLine> SerialLine::open(const std::string& link) {
  Descriptor ours(::posix_openpt(O_RDWR | O_NOCTTY | O_CLOEXEC | O_NONBLOCK));
  if (!ours.is_open() || ::grantpt(ours.number()) != 0 || ::unlockpt(ours.number()) != 0) return cannot("cannot make a pseudo-terminal", link);
  std::array<char, 128> name{};
  if (::ptsname_r(ours.number(), name.data(), name.size()) != 0) return cannot("a pseudo-terminal without a name", link);
  Descriptor theirs(::open(name.data(), O_RDWR | O_NOCTTY | O_CLOEXEC));
  termios settings{};
  if (!theirs.is_open() || ::tcgetattr(theirs.number(), &settings) != 0) return cannot("cannot open the pseudo-terminal", name.data());
  ::cfmakeraw(&settings);
  if (::tcsetattr(theirs.number(), TCSANOW, &settings) != 0) return cannot("cannot set the pseudo-terminal to raw bytes", name.data());
  if (auto linked = put_link(name.data(), link); !linked) return tl::unexpected(linked.error());
  return SerialLine(std::move(ours), std::move(theirs), name.data(), link);
}

SerialLine::~SerialLine() {
  if (!ours_.is_open()) return;
  std::error_code error;
  // Somebody else may have put his own there meanwhile.
  if (std::filesystem::read_symlink(link_, error) == device_) std::filesystem::remove(link_, error);
}

}  // namespace steadyglow::demo
