#include "app/found_devices.hpp"

#include <gtest/gtest.h>

#include <fstream>

namespace steadyglow::app {
namespace {

namespace fs = std::filesystem;

/// A machine as a tree of files, in the shapes of the kernel's documentation (sysfs-bus-usb, hwmon/sysfs-interface, sysfs-bus-iio, w1).
class FoundDevicesOf : public testing::Test {
 protected:
  void SetUp() override {
    root = fs::path(testing::TempDir()) / ("devices_" + std::string(testing::UnitTest::GetInstance()->current_test_info()->name()));
    fs::remove_all(root);
    fs::create_directories(root);
  }
  void TearDown() override { fs::remove_all(root); }

  void write(const std::string& file, const std::string& text) {
    fs::create_directories((root / file).parent_path());
    std::ofstream(root / file) << text << '\n';
  }
  void link(const std::string& from, const std::string& to) {
    fs::create_directories((root / from).parent_path());
    fs::create_symlink(fs::relative(root / to, (root / from).parent_path()), root / from);
  }
  /// A USB serial adapter in the socket `port`; `by_id` empty: udev gave that name to another.
  void adapter(const std::string& tty, const std::string& port, const std::string& serial, const std::string& by_id) {
    const std::string usb = "sys/devices/pci0000:00/usb1/" + port;
    write(usb + "/idVendor", "0aaa");
    write(usb + "/idProduct", "0001");
    write(usb + "/product", "Line adapter");
    if (!serial.empty()) write(usb + "/serial", serial);
    fs::create_directories(root / (usb + "/" + port + ":1.0/" + tty));
    write("dev/" + tty, "");
    link("sys/class/tty/" + tty + "/device", usb + "/" + port + ":1.0/" + tty);
    if (!by_id.empty()) link("dev/serial/by-id/" + by_id, "dev/" + tty);
    link("dev/serial/by-path/pci-0000:00:14.0-usb-0:" + port + ":1.0-port0", "dev/" + tty);
  }
  void instrument(const std::string& serial) {
    const std::string usb = "sys/devices/pci0000:00/usb1/1-4";
    write(usb + "/idVendor", "0aaa");
    write(usb + "/product", "Digital multimeter");
    write(usb + "/serial", serial);
    fs::create_directories(root / (usb + "/1-4:1.0"));
    write("dev/usbtmc0", "");
    if (!fs::exists(root / "sys/class/usbmisc/usbtmc0/device")) link("sys/class/usbmisc/usbtmc0/device", usb + "/1-4:1.0");
  }
  FoundDevice only(const std::string& kind) {
    FoundDevice last;
    int count = 0;
    for (const FoundDevice& device : find_devices(root).devices)
      if (device.kind == kind) last = device, ++count;
    EXPECT_EQ(count, 1) << kind;
    return last;
  }
  fs::path root;
};

TEST_F(FoundDevicesOf, AnEmptyMachineAreNone) { EXPECT_TRUE(find_devices(root).devices.empty()); }

TEST_F(FoundDevicesOf, AnAdapterWithASerialNumberIsNamedByIt) {
  adapter("ttyUSB0", "1-2", "A7QX", "usb-Line_adapter_A7QX-if00-port0");
  const FoundDevice found = only("serial");
  EXPECT_EQ(found.stays, "/dev/serial/by-id/usb-Line_adapter_A7QX-if00-port0");
  EXPECT_EQ(found.moves, "/dev/ttyUSB0");
  EXPECT_EQ(found.serial, "A7QX");
  EXPECT_NE(found.line.find("device = \"/dev/serial/by-id/usb-Line_adapter_A7QX-if00-port0\""), std::string::npos);
}

TEST_F(FoundDevicesOf, AnAdapterWithoutASerialNumberIsNamedByItsSocket) {
  adapter("ttyUSB0", "1-2", "", "usb-0aaa_Line_adapter-if00-port0");
  const FoundDevice found = only("serial");
  EXPECT_EQ(found.stays, "/dev/serial/by-path/pci-0000:00:14.0-usb-0:1-2:1.0-port0");
  EXPECT_NE(found.caution.find("label that socket"), std::string::npos);
}

TEST_F(FoundDevicesOf, TwinsAreToldAndNamedByTheirSockets) {
  adapter("ttyUSB0", "1-2", "0001", "usb-Line_adapter_0001-if00-port0");
  adapter("ttyUSB1", "1-3", "0001", "");
  const FoundDevices found = find_devices(root);
  ASSERT_EQ(found.warnings.size(), 1U);
  EXPECT_NE(found.warnings[0].find("/dev/ttyUSB0, /dev/ttyUSB1"), std::string::npos) << found.warnings[0];
  for (const FoundDevice& device : found.devices) EXPECT_NE(device.stays.find("by-path"), std::string::npos);
}

TEST_F(FoundDevicesOf, TwoPortsOfOneAdapterAreNoTwins) {
  adapter("ttyUSB0", "1-2", "0001", "usb-Line_adapter_0001-if00-port0");
  fs::create_directories(root / "sys/devices/pci0000:00/usb1/1-2/1-2:1.1/ttyUSB1");
  write("dev/ttyUSB1", "");
  link("sys/class/tty/ttyUSB1/device", "sys/devices/pci0000:00/usb1/1-2/1-2:1.1/ttyUSB1");
  link("dev/serial/by-id/usb-Line_adapter_0001-if01-port0", "dev/ttyUSB1");
  EXPECT_TRUE(find_devices(root).warnings.empty());
}

TEST_F(FoundDevicesOf, APortThatTheMainboardLacksIsNotListed) {
  write("dev/ttyS0", "");
  write("dev/ttyS1", "");
  write("sys/class/tty/ttyS0/type", "4");
  write("sys/class/tty/ttyS1/type", "0");
  EXPECT_EQ(only("serial").stays, "/dev/ttyS0");
}

TEST_F(FoundDevicesOf, AUsbInstrumentIsNamedByTheRuleThatIsShipped) {
  instrument("DM-00731");
  const FoundDevice found = only("usbtmc");
  EXPECT_TRUE(found.stays.empty());
  EXPECT_NE(found.caution.find("config/udev/60-steadyglow.rules"), std::string::npos) << found.caution;
  EXPECT_NE(found.caution.find("/dev/steadyglow/DM-00731"), std::string::npos) << found.caution;
  EXPECT_NE(found.line.find("device = \"/dev/steadyglow/DM-00731\""), std::string::npos) << found.line;
}

TEST_F(FoundDevicesOf, NothingThatAUsbInstrumentSaysIsGivenToRootToRun) {
  for (const char* serial : {"1\", RUN+=\"/bin/sh -c x", "*", "[0-9]*", "../../mem", "..", "$(x)", "a b"}) {
    instrument(serial);
    const FoundDevice found = only("usbtmc");
    EXPECT_EQ(found.caution.find(serial), std::string::npos) << found.caution;
    EXPECT_EQ(found.line.find(serial), std::string::npos) << found.line;
    EXPECT_EQ(found.caution.find("=="), std::string::npos) << found.caution;
  }
}

TEST(UdevRules, GiveTheDaemonEveryUsbInstrumentAndNameThoseWithASerialNumber) {
  std::ifstream file(STEADYGLOW_SOURCE_DIR "/config/udev/60-steadyglow.rules");
  bool is_access = false, is_link = false;
  for (std::string line; std::getline(file, line);) {
    is_access |= line == R"(SUBSYSTEM=="usbmisc", KERNEL=="usbtmc*", GROUP="dialout", MODE="0660")";
    if (line.find("SYMLINK") == std::string::npos) continue;
    is_link = true;
    // udev has made this text fit for a name; the attribute itself it would take as the device says it.
    EXPECT_NE(line.find("ENV{ID_SERIAL_SHORT}==\"[0-9A-Za-z]*\""), std::string::npos) << line;
    EXPECT_EQ(line.find("attr{"), std::string::npos) << line;
  }
  EXPECT_TRUE(is_access);
  EXPECT_TRUE(is_link);
}

TEST_F(FoundDevicesOf, AOneWireThermometerIsNamedByItsRom) {
  write("sys/bus/w1/devices/28-00000a1b2c3d/temperature", "24187");
  fs::create_directories(root / "sys/bus/w1/devices/w1_bus_master1");
  EXPECT_EQ(only("one_wire").stays, "28-00000a1b2c3d");
}

TEST_F(FoundDevicesOf, AChipIsNamedByWhatItHangsOnAndNotByItsNumber) {
  fs::create_directories(root / "sys/devices/i2c-1/1-0048");
  write("sys/class/hwmon/hwmon3/name", "lm75");
  write("sys/class/hwmon/hwmon3/temp1_input", "24500");
  write("sys/class/hwmon/hwmon3/temp1_label", "left sink");
  link("sys/class/hwmon/hwmon3/device", "sys/devices/i2c-1/1-0048");
  const FoundDevice found = only("hwmon");
  EXPECT_EQ(found.moves, "hwmon3");
  EXPECT_EQ(found.names, std::vector<std::string>{"/sys/devices/i2c-1/1-0048"});
  ASSERT_EQ(found.channels.size(), 1U);
  EXPECT_EQ(found.channels[0].label, "left sink");
}

TEST_F(FoundDevicesOf, TwoChipsOfOneNameAreToldApartByTheirDevice) {
  write("sys/class/hwmon/hwmon0/name", "lm75");
  write("sys/class/hwmon/hwmon1/name", "lm75");
  for (const FoundDevice& device : find_devices(root).devices) EXPECT_FALSE(device.caution.empty());
}

TEST_F(FoundDevicesOf, AGpioChipIsNamedByItsLabel) {
  write("dev/gpiochip0", "");
  fs::create_directories(root / "sys/devices/platform/board/gpiochip0");
  link("sys/bus/gpio/devices/gpiochip0", "sys/devices/platform/board/gpiochip0");
  write("sys/class/gpio/gpiochip512/label", "bench-pins");
  link("sys/class/gpio/gpiochip512/device", "sys/devices/platform/board");
  const FoundDevice found = only("gpio");
  EXPECT_EQ(found.stays, "bench-pins");
  EXPECT_NE(found.line.find("chip = \"bench-pins\""), std::string::npos);
}

TEST_F(FoundDevicesOf, AChipsNameElsewhereInAConfigurationIsNotTheChip) {
  write("sys/class/hwmon/hwmon3/name", "lm75");
  FoundDevices found = find_devices(root);
  Errors errors;
  note_configured(found, document::parse("name = \"lm75\"\n", "bench.toml", errors), "bench.toml", root);
  EXPECT_EQ(found.devices[0].named_at, "");
  note_configured(found, document::parse("chip = \"lm75\"\n", "bench.toml", errors), "bench.toml", root);
  EXPECT_EQ(found.devices[0].named_at, "bench.toml:1");
}

TEST_F(FoundDevicesOf, WhatAConfigurationNamesIsSaidWithItsLine) {
  adapter("ttyUSB0", "1-2", "A7QX", "usb-Line_adapter_A7QX-if00-port0");
  FoundDevices found = find_devices(root);
  Errors errors;
  const auto text = document::parse("[[bus]]\nname = \"line\"\ndevice = \"/dev/serial/by-id/usb-Line_adapter_A7QX-if00-port0\"\n", "bench.toml", errors);
  note_configured(found, text, "bench.toml", root);
  EXPECT_EQ(found.devices[0].named_at, "bench.toml:3");
  EXPECT_TRUE(found.warnings.empty());
}

TEST_F(FoundDevicesOf, AMovingOrMissingNameInAConfigurationIsWarnedOf) {
  adapter("ttyUSB0", "1-2", "A7QX", "usb-Line_adapter_A7QX-if00-port0");
  FoundDevices found = find_devices(root);
  Errors errors;
  const auto text = document::parse("a = \"/dev/ttyUSB0\"\nb = \"/dev/serial/by-id/gone\"\n", "bench.toml", errors);
  note_configured(found, text, "bench.toml", root);
  ASSERT_EQ(found.warnings.size(), 2U);
  EXPECT_NE(found.warnings[0].find("may be another device"), std::string::npos);
  EXPECT_NE(found.warnings[1].find("bench.toml:2: /dev/serial/by-id/gone is not connected"), std::string::npos);
}

TEST_F(FoundDevicesOf, AnAttributeWithControlCharactersIsCleaned) {
  adapter("ttyUSB0", "1-2", "A7QX", "usb-Line_adapter_A7QX-if00-port0");
  std::ofstream(root / "sys/devices/pci0000:00/usb1/1-2/product", std::ios::binary) << "Line\x1b[31m adapter\n";
  EXPECT_EQ(only("serial").title, "Line[31m adapter");
}

}  // namespace
}  // namespace steadyglow::app
