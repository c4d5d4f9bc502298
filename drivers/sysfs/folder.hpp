#pragma once
/// One folder of a sysfs tree, held open while its files are read: when the kernel gives its name to another device in the
/// meantime, what is read still belongs to the device that was looked at.
#include <cstddef>
#include <optional>
#include <string>
#include <vector>

namespace steadyglow::drivers::sysfs {

/// A page is the most that the kernel writes into one of its files.
inline constexpr std::size_t file_bytes_max = 4096;
inline constexpr std::size_t folder_entries_max = 4096;

struct FileText {
  std::string text;          ///< without the white space at its ends
  int failure = 0;           ///< errno
  bool is_endless = false;   ///< longer than file_bytes_max
};

/// Owns: a descriptor. Fails: by value.
class Folder {
 public:
  static std::optional<Folder> open(const std::string& path);
  Folder(Folder&& other) noexcept : number_(other.number_) { other.number_ = -1; }
  Folder& operator=(Folder&&) = delete;
  ~Folder();

  FileText read(const std::string& name) const;
  std::vector<std::string> names() const;
  /// The device behind it, as the kernel arranges its devices below `root`: what `device` points to, else the folder above.
  std::string device_path(const std::string& root) const;

 private:
  explicit Folder(int number) : number_(number) {}
  int number_;
};

/// What stands in a folder, in order; nothing if there is none.
std::vector<std::string> names_in(const std::string& path);

}  // namespace steadyglow::drivers::sysfs
