/// The kernel's GPIO character device as a shared library, for a machine that has none: the real libgpiod calls it in place of the kernel.
/// Link it before libc, or name it in LD_PRELOAD.
///
/// STEADYGLOW_GPIO_FOLDER holds one folder per chip, gpiochip0 and so on, and stands in place of /dev for them:
///   label, lines     its label and its number of lines
///   lineN            the level that something outside drives, 0 or 1; no such file: nothing does, and the bias decides
///   lineN.held       locked by whoever holds the line: consumer, flags and the level that an output drives
///   shortN           is there: whatever an output drives, the level stays as lineN says
///   gone             is there: unplugged
///
/// What it proves: that libgpiod's own code, and our use of it, ask for the right lines with the right flags (struct gpiohandle_request
/// of <linux/gpio.h>, interface v1) and give them back in order. What it does not prove: that a driver of a real chip does as it is
/// told, that its bias resistors are there, and what its lines do when the machine stops.
#include <dirent.h>
#include <dlfcn.h>
#include <fcntl.h>
#include <linux/gpio.h>
#include <sys/file.h>
#include <sys/ioctl.h>
#include <sys/mman.h>
#include <sys/stat.h>
#include <sys/sysmacros.h>
#include <unistd.h>

#include <array>
#include <cerrno>
#include <climits>
#include <cstdarg>
#include <cstdlib>
#include <cstring>
#include <optional>
#include <string>
#include <string_view>

namespace {

constexpr std::string_view device_head = "/dev/gpiochip";
constexpr std::string_view sysfs_head = "/sys/bus/gpio/devices/gpiochip";
constexpr unsigned major_number = 254;
constexpr std::uint32_t known_flags = GPIOHANDLE_REQUEST_INPUT | GPIOHANDLE_REQUEST_OUTPUT | GPIOHANDLE_REQUEST_ACTIVE_LOW | GPIOHANDLE_REQUEST_BIAS_PULL_UP | GPIOHANDLE_REQUEST_BIAS_PULL_DOWN | GPIOHANDLE_REQUEST_BIAS_DISABLE;

template <class Function>
Function real(const char* name) {
  return reinterpret_cast<Function>(::dlsym(RTLD_NEXT, name));
}
auto real_open() {
  static const auto function = real<int (*)(const char*, int, ...)>("open");
  return function;
}

std::string folder() {
  const char* name = std::getenv("STEADYGLOW_GPIO_FOLDER");
  return name == nullptr ? std::string() : std::string(name);
}

std::optional<std::string> chip_of(std::string_view path, std::string_view head) {
  if (folder().empty() || !path.starts_with(head)) return std::nullopt;
  path.remove_prefix(head.size());
  const std::string number(path.substr(0, path.find('/')));
  if (number.empty() || number.find_first_not_of("0123456789") != std::string::npos) return std::nullopt;
  std::string chip = folder() + "/gpiochip" + number;
  if (::access(chip.c_str(), F_OK) != 0) return std::nullopt;
  return chip;
}

unsigned number_of(std::string_view text) {
  unsigned value = 0;
  for (const char c : text)
    if (c >= '0' && c <= '9') value = 10 * value + static_cast<unsigned>(c - '0');
  return value;
}
unsigned number_of_chip(const std::string& chip) { return number_of(std::string_view(chip).substr(chip.rfind("gpiochip") + 8)); }

std::optional<std::string> content(const std::string& file) {
  const int number = real_open()(file.c_str(), O_RDONLY | O_CLOEXEC);
  if (number < 0) return std::nullopt;
  std::array<char, 256> bytes{};
  const ssize_t size = ::read(number, bytes.data(), bytes.size());
  ::close(number);
  std::string text(bytes.data(), static_cast<std::size_t>(size < 0 ? 0 : size));
  while (!text.empty() && text.back() == '\n') text.pop_back();
  return text;
}

/// The file behind a descriptor, when it is one of ours.
std::string path_of(int number) {
  std::array<char, PATH_MAX> target{};
  const ssize_t size = ::readlink(("/proc/self/fd/" + std::to_string(number)).c_str(), target.data(), target.size() - 1);
  return size < 0 ? std::string() : std::string(target.data(), static_cast<std::size_t>(size));
}

bool is_held(const std::string& file) {
  const int number = real_open()(file.c_str(), O_RDWR | O_CLOEXEC);
  if (number < 0) return false;
  const bool is_free = ::flock(number, LOCK_EX | LOCK_NB) == 0;
  ::close(number);
  return !is_free;
}

int refuse(int failure) {
  errno = failure;
  return -1;
}

/// What stands in a lineN.held: "FLAGS LEVEL CONSUMER".
struct Held {
  std::uint32_t flags = 0;
  bool is_high = false;
  std::string consumer;
};
Held parse(const std::string& text) {
  Held held;
  const std::size_t first = text.find(' '), second = text.find(' ', first + 1);
  if (first == std::string::npos || second == std::string::npos) return held;
  held.flags = number_of(text.substr(0, first));
  held.is_high = text.substr(first + 1, 1) == "1";
  held.consumer = text.substr(second + 1);
  return held;
}
void write_held(int number, const Held& held) {
  const std::string text = std::to_string(held.flags) + (held.is_high ? " 1 " : " 0 ") + held.consumer;
  (void)!::ftruncate(number, 0);
  (void)!::pwrite(number, text.data(), text.size(), 0);
}

int chip_info(const std::string& chip, gpiochip_info& info) {
  std::memset(&info, 0, sizeof info);
  std::strncpy(info.name, ("gpiochip" + std::to_string(number_of_chip(chip))).c_str(), sizeof info.name - 1);
  std::strncpy(info.label, content(chip + "/label").value_or("").c_str(), sizeof info.label - 1);
  info.lines = number_of(content(chip + "/lines").value_or("0"));
  return 0;
}

std::string line_file(const std::string& chip, unsigned line) { return chip + "/line" + std::to_string(line); }

int line_info(const std::string& chip, gpioline_info& info) {
  if (info.line_offset >= number_of(content(chip + "/lines").value_or("0"))) return refuse(EINVAL);
  const std::string file = line_file(chip, info.line_offset) + ".held";
  info.flags = 0;
  info.name[0] = info.consumer[0] = '\0';
  if (!is_held(file)) return 0;
  const Held held = parse(content(file).value_or(""));
  info.flags = GPIOLINE_FLAG_KERNEL | ((held.flags & GPIOHANDLE_REQUEST_OUTPUT) != 0 ? GPIOLINE_FLAG_IS_OUT : 0u) | ((held.flags & GPIOHANDLE_REQUEST_ACTIVE_LOW) != 0 ? GPIOLINE_FLAG_ACTIVE_LOW : 0u);
  std::strncpy(info.consumer, held.consumer.c_str(), sizeof info.consumer - 1);
  return 0;
}

int request_line(const std::string& chip, gpiohandle_request& request) {
  const bool is_output = (request.flags & GPIOHANDLE_REQUEST_OUTPUT) != 0;
  const auto biases = request.flags & (GPIOHANDLE_REQUEST_BIAS_PULL_UP | GPIOHANDLE_REQUEST_BIAS_PULL_DOWN | GPIOHANDLE_REQUEST_BIAS_DISABLE);
  const bool is_one_bias = (biases & (biases - 1)) == 0;
  if (request.lines != 1 || (request.flags & ~known_flags) != 0 || !is_one_bias || is_output == ((request.flags & GPIOHANDLE_REQUEST_INPUT) != 0)) return refuse(EINVAL);
  if (request.lineoffsets[0] >= number_of(content(chip + "/lines").value_or("0"))) return refuse(EINVAL);
  const int number = real_open()((line_file(chip, request.lineoffsets[0]) + ".held").c_str(), O_RDWR | O_CREAT | O_CLOEXEC, 0600);
  if (number < 0) return -1;
  if (::flock(number, LOCK_EX | LOCK_NB) != 0) {
    ::close(number);
    return refuse(EBUSY);
  }
  const bool is_active_low = (request.flags & GPIOHANDLE_REQUEST_ACTIVE_LOW) != 0;
  write_held(number, {request.flags, is_output && (request.default_values[0] != 0) != is_active_low, request.consumer_label});
  request.fd = number;
  return 0;
}

/// `held_file` is .../gpiochipN/lineM.held
int line_values(int number, const std::string& held_file, unsigned long what, gpiohandle_data& data) {
  const std::string file = held_file.substr(0, held_file.size() - std::strlen(".held"));
  Held held = parse(content(held_file).value_or(""));
  const bool is_active_low = (held.flags & GPIOHANDLE_REQUEST_ACTIVE_LOW) != 0, is_output = (held.flags & GPIOHANDLE_REQUEST_OUTPUT) != 0;
  if (what == GPIOHANDLE_SET_LINE_VALUES_IOCTL) {
    if (!is_output) return refuse(EPERM);
    held.is_high = (data.values[0] != 0) != is_active_low;
    write_held(number, held);
    return 0;
  }
  const auto driven = content(file);
  bool is_high = (held.flags & GPIOHANDLE_REQUEST_BIAS_PULL_UP) != 0;
  if (driven) is_high = *driven == "1";
  const std::string stem = file.substr(0, file.rfind("/line"));
  if (is_output && ::access((stem + "/short" + file.substr(stem.size() + 5)).c_str(), F_OK) != 0) is_high = held.is_high;
  data.values[0] = is_high != is_active_low ? 1 : 0;
  return 0;
}

}  // namespace

extern "C" {

int open(const char* path, int flags, ...) {
  va_list more;
  va_start(more, flags);
  const auto mode = (flags & (O_CREAT | O_TMPFILE)) != 0 ? static_cast<mode_t>(va_arg(more, unsigned)) : 0;
  va_end(more);
  if (const auto chip = chip_of(path, device_head)) {
    if (::access((*chip + "/gone").c_str(), F_OK) == 0) return refuse(ENODEV);
    return real_open()(chip->c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC);
  }
  if (const auto chip = chip_of(path, sysfs_head)) {
    const std::string text = std::to_string(major_number) + ":" + std::to_string(number_of_chip(*chip)) + "\n";
    const int number = ::memfd_create("dev", MFD_CLOEXEC);
    (void)!::pwrite(number, text.data(), text.size(), 0);
    return number;
  }
  return real_open()(path, flags, mode);
}

int access(const char* path, int mode) noexcept {
  static const auto function = real<int (*)(const char*, int)>("access");
  const std::string_view name(path);
  return name.starts_with(sysfs_head) && !folder().empty() ? function((folder() + "/gpiochip" + std::to_string(number_of(name.substr(sysfs_head.size())))).c_str(), F_OK) : function(path, mode);
}

static int state_of(const char* path, struct stat* state, const char* name) {
  const auto chip = chip_of(path, device_head);
  if (!chip) return real<int (*)(const char*, struct stat*)>(name)(path, state);
  std::memset(state, 0, sizeof *state);
  state->st_mode = S_IFCHR | 0660;
  state->st_rdev = makedev(major_number, number_of_chip(*chip));
  return 0;
}
int stat(const char* path, struct stat* state) noexcept { return state_of(path, state, "stat"); }
int lstat(const char* path, struct stat* state) noexcept { return state_of(path, state, "lstat"); }

DIR* opendir(const char* path) {
  static const auto function = real<DIR* (*)(const char*)>("opendir");
  return function(std::string_view(path) == "/dev" && !folder().empty() ? folder().c_str() : path);
}

int ioctl(int number, unsigned long what, ...) noexcept {
  va_list more;
  va_start(more, what);
  void* argument = va_arg(more, void*);
  va_end(more);
  constexpr unsigned gpio_type = 0xB4;
  if (_IOC_TYPE(what) == gpio_type && !folder().empty()) {
    const std::string path = path_of(number);
    const std::string chip = path.substr(0, path.find("/line"));
    if (path.find("/gpiochip") == std::string::npos) return refuse(ENOTTY);
    if (::access((chip + "/gone").c_str(), F_OK) == 0) return refuse(ENODEV);
    switch (what) {
      case GPIO_GET_CHIPINFO_IOCTL: return chip_info(chip, *static_cast<gpiochip_info*>(argument));
      case GPIO_GET_LINEINFO_IOCTL: return line_info(chip, *static_cast<gpioline_info*>(argument));
      case GPIO_GET_LINEHANDLE_IOCTL: return request_line(chip, *static_cast<gpiohandle_request*>(argument));
      case GPIOHANDLE_GET_LINE_VALUES_IOCTL:
      case GPIOHANDLE_SET_LINE_VALUES_IOCTL: return line_values(number, path, what, *static_cast<gpiohandle_data*>(argument));
      default: return refuse(ENOTTY);
    }
  }
  static const auto function = real<int (*)(int, unsigned long, void*)>("ioctl");
  return function(number, what, argument);
}

}  // extern "C"
