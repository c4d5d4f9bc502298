#include "drivers/sysfs/folder.hpp"

#include <dirent.h>
#include <fcntl.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <cerrno>
#include <climits>
#include <cstdlib>
#include <string_view>

#include "drivers/text.hpp"

namespace steadyglow::drivers::sysfs {
namespace {

std::string real_path(const std::string& path) {
  std::array<char, PATH_MAX> buffer{};
  const char* found = ::realpath(path.c_str(), buffer.data());
  return found == nullptr ? std::string() : std::string(found);
}

}  // namespace

std::optional<Folder> Folder::open(const std::string& path) {
  const int number = ::open(path.c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC);
  if (number < 0) return std::nullopt;
  return Folder(number);
}

Folder::~Folder() {
  if (number_ >= 0) ::close(number_);
}

FileText Folder::read(const std::string& name) const {
  FileText file;
  // Without waiting for a writer, should a pipe stand where a file is expected.
  const int number = ::openat(number_, name.c_str(), O_RDONLY | O_NONBLOCK | O_CLOEXEC);
  if (number < 0) {
    file.failure = errno;
    return file;
  }
  std::array<char, file_bytes_max + 1> bytes;
  std::size_t size = 0;
  while (size < bytes.size()) {
    const ssize_t got = ::read(number, bytes.data() + size, bytes.size() - size);
    if (got < 0 && errno == EINTR) continue;
    if (got < 0) file.failure = errno;
    if (got <= 0) break;
    size += static_cast<std::size_t>(got);
  }
  ::close(number);
  file.is_endless = size > file_bytes_max;
  if (file.failure == 0 && !file.is_endless) file.text = trimmed({bytes.data(), size}, white_and_padding);
  return file;
}

std::vector<std::string> Folder::names() const {
  std::vector<std::string> found;
  const int number = ::openat(number_, ".", O_RDONLY | O_DIRECTORY | O_CLOEXEC);
  if (number < 0) return found;
  DIR* stream = ::fdopendir(number);
  if (stream == nullptr) {
    ::close(number);
    return found;
  }
  while (found.size() < folder_entries_max) {
    const dirent* entry = ::readdir(stream);
    if (entry == nullptr) break;
    if (entry->d_name[0] != '.') found.emplace_back(entry->d_name);
  }
  ::closedir(stream);
  std::sort(found.begin(), found.end());
  return found;
}

std::string Folder::device_path(const std::string& root) const {
  const std::string here = "/proc/self/fd/" + std::to_string(number_);
  const std::string base = real_path(root) + "/";
  std::string path = real_path(here + "/device");
  if (path.empty()) {
    path = real_path(here);
    path.erase(std::min(path.rfind('/'), path.size()));
  }
  return path.starts_with(base) ? path.substr(base.size()) : path;
}

std::vector<std::string> names_in(const std::string& path) {
  const auto folder = Folder::open(path);
  return folder ? folder->names() : std::vector<std::string>();
}

}  // namespace steadyglow::drivers::sysfs
