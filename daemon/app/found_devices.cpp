#include "app/found_devices.hpp"

#include <fcntl.h>
#include <fmt/format.h>
#include <linux/gpio.h>
#include <sys/ioctl.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <cctype>
#include <fstream>
#include <map>
#include <optional>
#include <set>
#include <string_view>
#include <system_error>
#include <tuple>

namespace steadyglow::app {
namespace {

namespace fs = std::filesystem;

constexpr std::size_t attribute_bytes_max = 256;
/// Of a serial number that udev takes into a link's name as it is.
constexpr const char* link_characters = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_.";
/// From a port up to its USB device stand its interface and, for some, a port of their own.
constexpr int usb_steps_max = 6;

/// One line of a file of sysfs, without what surrounds it and without control characters; empty when it cannot be read.
std::string read_attribute(const fs::path& file) {
  std::error_code error;
  if (!fs::is_regular_file(file, error)) return {};
  std::ifstream in(file, std::ios::binary);
  std::string text(attribute_bytes_max, '\0');
  in.read(text.data(), static_cast<std::streamsize>(text.size()));
  text.resize(static_cast<std::size_t>(std::max<std::streamsize>(in.gcount(), 0)));
  text.erase(std::find_if(text.begin(), text.end(), [](unsigned char c) { return c == '\n' || c == '\0'; }), text.end());
  std::erase_if(text, [](unsigned char c) { return c < 0x20 || c == 0x7f; });
  while (!text.empty() && text.back() == ' ') text.pop_back();
  return text;
}

/// The names in a folder in a person's order (hwmon2 before hwmon10); none when there is no such folder.
std::vector<std::string> names_in(const fs::path& folder) {
  std::vector<std::string> names;
  std::error_code error;
  for (fs::directory_iterator it(folder, error), end; !error && it != end && names.size() < 4 * devices_max; it.increment(error)) names.push_back(it->path().filename().string());
  std::sort(names.begin(), names.end(), [](const std::string& a, const std::string& b) { return std::tuple(a.size(), a) < std::tuple(b.size(), b); });
  return names;
}

bool is_numbered(std::string_view name, std::string_view head) {
  return name.size() > head.size() && name.starts_with(head) && std::all_of(name.begin() + static_cast<std::ptrdiff_t>(head.size()), name.end(), [](unsigned char c) { return std::isdigit(c) != 0; });
}

fs::path real_path(const fs::path& path) {
  std::error_code error;
  const fs::path real = fs::canonical(path, error);
  return error ? fs::path{} : real;
}

/// The path without the root that the tree stands in.
std::string below(const fs::path& root, const fs::path& path) { return "/" + path.lexically_relative(root).generic_string(); }

struct UsbDevice {
  fs::path folder;
  std::string vendor, product, maker, title, serial;
};

std::optional<UsbDevice> usb_of(fs::path folder) {
  for (int step = 0; step < usb_steps_max && folder.has_relative_path(); ++step, folder = folder.parent_path()) {
    const std::string vendor = read_attribute(folder / "idVendor");
    if (vendor.empty()) continue;
    return UsbDevice{folder, vendor, read_attribute(folder / "idProduct"), read_attribute(folder / "manufacturer"), read_attribute(folder / "product"), read_attribute(folder / "serial")};
  }
  return std::nullopt;
}

std::string joined(const std::string& a, const std::string& b) { return a.empty() ? b : b.empty() ? a : a + " " + b; }

/// By the real file behind a link: which links of a folder lead there.
std::map<std::string, std::vector<std::string>> links_in(const fs::path& root, const fs::path& folder) {
  std::map<std::string, std::vector<std::string>> links;
  for (const std::string& name : names_in(folder))
    if (const fs::path real = real_path(folder / name); !real.empty()) links[real.string()].push_back(below(root, folder / name));
  return links;
}

/// The last two steps of a path: enough to tell one chip from another, and the same after a restart.
std::string path_end(const std::string& path) {
  const fs::path whole(path);
  return (whole.parent_path().filename() / whole.filename()).generic_string();
}

/// `name` of a [[bus]] as a first offer: letters, digits and _.
std::string word_of(std::string text) {
  for (char& c : text) c = static_cast<char>(std::isalnum(static_cast<unsigned char>(c)) != 0 ? std::tolower(static_cast<unsigned char>(c)) : '_');
  return text;
}

// ---- each kind ----

struct SerialPort {
  FoundDevice device;
  std::optional<UsbDevice> usb;
  std::string by_id, by_path;
};

bool is_serial_name(const std::string& name) {
  return is_numbered(name, "ttyUSB") || is_numbered(name, "ttyACM") || is_numbered(name, "ttyAMA") || is_numbered(name, "ttyS");
}

/// Ports of a mainboard that are not there have a name all the same; the kernel calls their type 0 (PORT_UNKNOWN of serial_core.h).
bool is_absent(const fs::path& sys_port, const std::string& name) { return is_numbered(name, "ttyS") && read_attribute(sys_port / "type") == "0"; }

std::string serial_line(const SerialPort& port) {
  return fmt::format("[[bus]]\nname = \"{}\"\ndriver = \"modbus_rtu\"          # or another driver that speaks by a serial line\ndevice = \"{}\"\nbaud = 9600                    # as the meter is set\n",
                     word_of(fs::path(port.device.moves).filename().string()), port.device.stays);
}

/// Two adapters that call themselves the same get one by-id name between them: whichever was plugged in last has it.
void tell_twins(std::vector<SerialPort>& ports, FoundDevices& found) {
  std::map<std::tuple<std::string, std::string, std::string>, std::set<std::string>> devices_by_name;
  for (const SerialPort& port : ports)
    if (port.usb) devices_by_name[{port.usb->vendor, port.usb->product, port.usb->serial}].insert(port.usb->folder.string());
  std::map<std::string, std::vector<std::string>> told;
  for (SerialPort& port : ports) {
    if (!port.usb) continue;
    const bool is_twin = devices_by_name[{port.usb->vendor, port.usb->product, port.usb->serial}].size() > 1;
    if (!is_twin && !port.usb->serial.empty()) continue;
    port.device.stays = port.by_path;
    port.device.caution = is_twin ? "another adapter here has the same name and the same serial number: bound by the socket that it is plugged into. Label that socket, and do not swap the plugs"
                                  : "it has no serial number: a second one of its kind would take its by-id name. Bound by the socket that it is plugged into: label that socket";
    if (is_twin) told[joined(port.usb->maker, port.usb->title)].push_back(port.device.moves);
  }
  for (const auto& [title, names] : told)
    found.warnings.push_back(fmt::format("twins: {} are adapters that cannot be told apart ({}{}); bind each by its by-path name and label its socket, or give them different adapters", fmt::join(names, ", "), title,
                                         ", same serial number or none"));
}

void find_serial(const fs::path& root, FoundDevices& found) {
  const auto by_id = links_in(root, root / "dev/serial/by-id");
  const auto by_path = links_in(root, root / "dev/serial/by-path");
  std::vector<SerialPort> ports;
  for (const std::string& name : names_in(root / "dev")) {
    if (!is_serial_name(name) || is_absent(root / "sys/class/tty" / name, name) || ports.size() >= devices_max) continue;
    SerialPort port;
    port.device.kind = "serial";
    port.device.moves = "/dev/" + name;
    const std::string real = real_path(root / "dev" / name).string();
    const auto take = [&](const auto& links, std::string& first) {
      const auto known = links.find(real);
      if (known == links.end()) return;
      first = known->second.front();
      for (const std::string& link : known->second) port.device.names.push_back(link);
    };
    take(by_id, port.by_id);
    take(by_path, port.by_path);
    port.usb = usb_of(real_path(root / "sys/class/tty" / name / "device"));
    if (port.usb) {
      port.device.title = joined(port.usb->maker, port.usb->title);
      port.device.serial = port.usb->serial;
    }
    const bool is_fixed = is_numbered(name, "ttyS") || is_numbered(name, "ttyAMA");
    port.device.stays = !port.by_id.empty() ? port.by_id : !port.by_path.empty() ? port.by_path : is_fixed ? port.device.moves : "";
    if (is_fixed && port.device.title.empty()) port.device.title = "port of the mainboard";
    if (is_fixed && port.by_id.empty() && port.by_path.empty()) port.device.moves = port.device.stays;
    ports.push_back(std::move(port));
  }
  tell_twins(ports, found);
  for (SerialPort& port : ports) {
    if (port.device.stays.empty()) port.device.caution = "none of its names stays: udev makes /dev/serial/by-id and by-path, and does not run here";
    else port.device.line = serial_line(port);
    found.devices.push_back(std::move(port.device));
  }
}

void find_usbtmc(const fs::path& root, FoundDevices& found) {
  // Names of our own rule, see the caution below.
  const auto own = links_in(root, root / "dev/steadyglow");
  for (const std::string& name : names_in(root / "dev")) {
    if (!is_numbered(name, "usbtmc")) continue;
    FoundDevice device;
    device.kind = "usbtmc";
    device.moves = "/dev/" + name;
    if (const auto usb = usb_of(real_path(root / "sys/class/usbmisc" / name / "device"))) {
      device.title = joined(usb->maker, usb->title);
      device.serial = usb->serial;
    }
    if (const auto link = own.find(real_path(root / "dev" / name).string()); link != own.end()) {
      device.names = link->second;
      device.stays = link->second.front();
      device.line = fmt::format("[[bus]]\nname = \"{}\"\ndriver = \"scpi_usbtmc\"\ndevice = \"{}\"        # steadyglow probe --usbtmc prints the rest\n", word_of(fs::path(device.stays).filename().string()), device.stays);
    } else if (device.serial.empty()) {
      device.caution = "no name of it stays, and it has no serial number to make one from: give it a name by its socket with a udev rule";
    } else {
      // Whoever made the device chose that text, and a rule is run by root: it is quoted in none.
      const bool is_plain = std::isalnum(static_cast<unsigned char>(device.serial.front())) != 0 && device.serial.find_first_not_of(link_characters) == std::string::npos;
      const std::string linked = is_plain ? device.serial : "NUMBER";
      device.caution = fmt::format("no name of it stays yet. Copy config/udev/60-steadyglow.rules, as it is, to /etc/udev/rules.d, then `udevadm control --reload && udevadm trigger --subsystem-match=usbmisc`: "
                                   "it is then called /dev/steadyglow/{}{}", linked, is_plain ? "" : ", which is its serial number as udev writes it: see `ls /dev/steadyglow`");
      device.line = fmt::format("[[bus]]\nname = \"{}\"\ndriver = \"scpi_usbtmc\"\ndevice = \"/dev/steadyglow/{}\"    # once that rule is in force\n", word_of(linked), linked);
    }
    found.devices.push_back(std::move(device));
  }
}

void find_one_wire(const fs::path& root, FoundDevices& found) {
  for (const std::string& name : names_in(root / "sys/bus/w1/devices")) {
    // Family code and 48-bit number, in hexadecimal: "28-00000a1b2c3d".
    const bool is_rom = name.size() > 3 && name[2] == '-' && name.find_first_not_of("0123456789abcdef-") == std::string::npos;
    if (!is_rom) continue;
    const fs::path folder = root / "sys/bus/w1/devices" / name;
    std::error_code error;
    const bool is_thermometer = fs::exists(folder / "temperature", error) || fs::exists(folder / "w1_slave", error);
    FoundDevice device;
    device.kind = "one_wire";
    device.title = is_thermometer ? "1-Wire thermometer" : "1-Wire device";
    device.serial = name;
    device.stays = name;
    if (fs::exists(folder / "temperature", error)) device.channels.push_back({"temperature", ""});
    if (is_thermometer) device.line = fmt::format("[[bus]]\nname = \"one_wire\"\ndriver = \"sysfs\"\n[[bus.meter]]\nname = \"t_{}\"\ninstrument = \"w1-thermometer\"\nrom = \"{}\"\npoll_seconds = 5.0\n", word_of(name.substr(name.size() - std::min<std::size_t>(4, name.size()))), name);
    found.devices.push_back(std::move(device));
  }
}

std::vector<FoundChannel> channels_of(const fs::path& folder, const std::vector<std::string_view>& ends) {
  std::vector<FoundChannel> channels;
  for (const std::string& name : names_in(folder)) {
    if (channels.size() >= device_channels_max) break;
    for (const std::string_view end : ends)
      if (name.ends_with(end)) channels.push_back({name, read_attribute(folder / (name.substr(0, name.size() - end.size()) + "_label"))});
  }
  return channels;
}

/// A sensor chip: its number moves, its name and the device that it hangs on do not.
void find_chips(const fs::path& root, const std::string& kind, const fs::path& folder, std::string_view head, const std::vector<std::string_view>& ends, FoundDevices& found) {
  std::map<std::string, int> seen;
  for (const std::string& name : names_in(folder)) {
    if (!is_numbered(name, head)) continue;
    FoundDevice device;
    device.kind = kind;
    device.moves = name;
    device.title = read_attribute(folder / name / "name");
    device.channels = channels_of(folder / name, ends);
    const fs::path parent = kind == "hwmon" ? real_path(folder / name / "device") : real_path(folder / name).parent_path();
    if (!parent.empty()) device.names.push_back(below(root, parent));
    device.stays = device.title;
    if (!device.title.empty()) {
      device.line = fmt::format("[[bus]]\nname = \"{0}\"\ndriver = \"sysfs\"\n[[bus.meter]]\nname = \"{0}\"\ninstrument = \"{1}\"    # a copy of it that names what this chip reads\nchip = \"{2}\"\n", word_of(device.title),
                                kind == "hwmon" ? "hwmon-board" : "iio-adc-4ch", device.title);
    }
    ++seen[device.title];
    found.devices.push_back(std::move(device));
  }
  for (FoundDevice& device : found.devices) {
    if (device.kind != kind || seen[device.title] < 2) continue;
    device.caution = "another chip here has the same name: bind it by the device that it hangs on too";
    if (!device.line.empty() && !device.names.empty()) device.line += fmt::format("device = \"{}\"\n", path_end(device.names.front()));
  }
}

/// What the chip calls itself: by sysfs where the kernel still shows it there, else asked at the chip (GPIO_GET_CHIPINFO).
std::string gpio_label(const fs::path& root, const std::string& name, const fs::path& parent) {
  for (const std::string& entry : names_in(root / "sys/class/gpio"))
    if (!parent.empty() && is_numbered(entry, "gpiochip") && real_path(root / "sys/class/gpio" / entry / "device") == parent)
      if (std::string label = read_attribute(root / "sys/class/gpio" / entry / "label"); !label.empty()) return label;
  const int descriptor = open((root / "dev" / name).c_str(), O_RDONLY | O_CLOEXEC | O_NONBLOCK);
  if (descriptor < 0) return {};
  gpiochip_info info{};
  const bool is_told = ioctl(descriptor, GPIO_GET_CHIPINFO_IOCTL, &info) == 0;
  close(descriptor);
  if (!is_told) return {};
  info.label[sizeof info.label - 1] = '\0';
  return info.label;
}

void find_gpio(const fs::path& root, FoundDevices& found) {
  for (const std::string& name : names_in(root / "dev")) {
    if (!is_numbered(name, "gpiochip")) continue;
    FoundDevice device;
    device.kind = "gpio";
    device.moves = "/dev/" + name;
    const fs::path real = real_path(root / "sys/bus/gpio/devices" / name);
    if (!real.empty()) device.names.push_back(below(root, real.parent_path()));
    device.stays = gpio_label(root, name, real.empty() ? real : real.parent_path());
    device.title = device.stays;
    device.caution = "a pin switches no mains: it drives an isolated relay, wired by a person qualified for it";
    if (device.stays.empty()) device.caution = "its label cannot be read: only those may ask it who may use it (often the group `gpio`)";
    else device.line = fmt::format("[[bus]]\nname = \"contacts\"\ndriver = \"gpio\"\nchip = \"{}\"\n[[bus.meter]]\nname = \"contacts\"\ninstrument = \"gpio-contacts\"    # a copy of it with the numbers of your lines\n", device.stays);
    found.devices.push_back(std::move(device));
  }
}

// ---- what a configuration names ----

struct NamedText {
  std::string key;
  std::string text;
  document::Place place;
};

void collect_texts(const std::string& key, const document::Node& node, std::vector<NamedText>& texts) {
  if (node.kind == document::Node::Kind::text) texts.push_back({key, node.text, node.place});
  for (const document::Node& item : node.items) collect_texts(key, item, texts);
  for (const document::Member& member : node.members) collect_texts(member.key, member.node, texts);
}

/// A chip's plain name is one that any text may have: it counts where a chip is named. A path or a rom counts everywhere.
bool is_named_by(const FoundDevice& device, const NamedText& named) {
  const bool has_plain_name = device.kind == "hwmon" || device.kind == "iio" || device.kind == "gpio";
  if (named.text.empty()) return false;
  if (std::find(device.names.begin(), device.names.end(), named.text) != device.names.end() || named.text == device.moves) return true;
  const auto ends_so = [&](const std::string& name) { return name.ends_with("/" + named.text); };
  if (has_plain_name && named.key == "device" && std::any_of(device.names.begin(), device.names.end(), ends_so)) return true;
  return named.text == device.stays && (!has_plain_name || named.key == "chip");
}

bool is_moving(const std::string& name) {
  const std::string_view file = std::string_view(name).substr(name.rfind('/') + 1);
  return name.starts_with("/dev/") && name.find('/', 5) == std::string::npos && (is_numbered(file, "ttyUSB") || is_numbered(file, "ttyACM") || is_numbered(file, "usbtmc"));
}

}  // namespace

FoundDevices find_devices(const fs::path& given) {
  FoundDevices found;
  const fs::path root = real_path(given);
  if (root.empty()) return found;
  find_serial(root, found);
  find_usbtmc(root, found);
  find_one_wire(root, found);
  find_chips(root, "hwmon", root / "sys/class/hwmon", "hwmon", {"_input"}, found);
  find_chips(root, "iio", root / "sys/bus/iio/devices", "iio:device", {"_raw", "_input"}, found);
  find_gpio(root, found);
  if (found.devices.size() > devices_max) found.devices.resize(devices_max);
  return found;
}

void note_configured(FoundDevices& found, const document::Node& configuration, const std::string& file, const fs::path& given) {
  const fs::path root = real_path(given);
  std::vector<NamedText> texts;
  collect_texts({}, configuration, texts);
  for (const NamedText& named : texts) {
    const std::string at = fmt::format("{}:{}", file, named.place.line);
    bool is_found = false;
    for (FoundDevice& device : found.devices) {
      if (!is_named_by(device, named)) continue;
      is_found = true;
      if (device.named_at.empty()) device.named_at = at;
    }
    if (is_moving(named.text)) found.warnings.push_back(fmt::format("{}: {} may be another device after the next restart: name it by a name that stays", at, named.text));
    else if (!is_found && named.text.starts_with("/dev/") && real_path(root / named.text.substr(1)).empty())
      found.warnings.push_back(fmt::format("{}: {} is not connected", at, named.text));
  }
}

}  // namespace steadyglow::app
