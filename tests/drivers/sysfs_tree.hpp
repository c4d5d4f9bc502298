#pragma once
/// A tree of files as the kernel arranges them: devices below devices/, with links to them from bus/ and class/.
#include <gtest/gtest.h>
#include <unistd.h>

#include <filesystem>
#include <fstream>
#include <string>

namespace steadyglow::drivers::tests {

namespace fs = std::filesystem;

class SysfsTree {
 public:
  SysfsTree() : root_(fs::path(::testing::TempDir()) / ("sysfs_" + std::to_string(::getpid()) + "_" + std::to_string(number()++))) {
    fs::remove_all(root_);
    for (const char* place : {"bus/w1/devices", "class/hwmon", "bus/iio/devices", "devices"}) fs::create_directories(root_ / place);
  }
  ~SysfsTree() { fs::remove_all(root_); }
  SysfsTree(const SysfsTree&) = delete;
  SysfsTree& operator=(const SysfsTree&) = delete;

  std::string root() const { return root_.string(); }

  /// In one step, as the kernel does: nobody sees half a file.
  void write(const std::string& file, const std::string& text) const {
    const fs::path path = root_ / file, half = root_ / (file + ".half");
    std::ofstream(half) << text;
    fs::rename(half, path);
  }
  void thermometer(const std::string& rom, const std::string& millidegrees) const {
    const fs::path device = root_ / "devices/w1_bus_master1" / rom;
    fs::create_directories(device);
    write("devices/w1_bus_master1/" + rom + "/name", rom + "\n");
    if (!millidegrees.empty()) write("devices/w1_bus_master1/" + rom + "/temperature", millidegrees + "\n");
    const fs::path link = root_ / "bus/w1/devices" / rom;
    if (!fs::is_symlink(link)) fs::create_symlink(device, link);
  }
  void remove_thermometer(const std::string& rom) const {
    fs::remove(root_ / "bus/w1/devices" / rom);
    fs::remove_all(root_ / "devices/w1_bus_master1" / rom);
  }
  /// Gives back where its files are, below the root.
  std::string hwmon(const std::string& device, int number_now, const std::string& name) const {
    const std::string folder = "devices/" + device + "/hwmon/hwmon" + std::to_string(number_now);
    fs::create_directories(root_ / folder);
    fs::create_symlink("../..", root_ / folder / "device");
    fs::create_symlink(root_ / folder, root_ / "class/hwmon" / ("hwmon" + std::to_string(number_now)));
    write(folder + "/name", name + "\n");
    return folder;
  }
  /// The same device after a restart, or after another was found before it.
  std::string renumber_hwmon(const std::string& device, int before, int after) const {
    const std::string stem = "devices/" + device + "/hwmon/hwmon";
    fs::rename(root_ / (stem + std::to_string(before)), root_ / (stem + std::to_string(after)));
    const fs::path old_link = root_ / "class/hwmon" / ("hwmon" + std::to_string(before));
    if (fs::is_symlink(old_link) && !fs::exists(old_link)) fs::remove(old_link);
    const fs::path link = root_ / "class/hwmon" / ("hwmon" + std::to_string(after));
    fs::remove(link);
    fs::create_symlink(root_ / (stem + std::to_string(after)), link);
    return stem + std::to_string(after);
  }
  std::string iio(const std::string& device, int number_now, const std::string& name) const {
    const std::string folder = "devices/" + device + "/iio:device" + std::to_string(number_now);
    fs::create_directories(root_ / folder);
    fs::create_symlink(root_ / folder, root_ / "bus/iio/devices" / ("iio:device" + std::to_string(number_now)));
    write(folder + "/name", name + "\n");
    return folder;
  }

 private:
  static int& number() {
    static int count = 0;
    return count;
  }
  const fs::path root_;
};

}  // namespace steadyglow::drivers::tests
