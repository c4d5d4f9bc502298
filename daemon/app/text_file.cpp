#include "app/text_file.hpp"

#include <cerrno>
#include <cstring>
#include <filesystem>
#include <fstream>
#include <system_error>

namespace steadyglow::app {

Result<std::string> read_text_file(const std::string& path, std::size_t bytes_max) {
  std::error_code status;
  if (std::filesystem::is_directory(path, status)) return fail(Fault::config, "this is a folder, not a file", "", path);
  std::ifstream file(path, std::ios::binary);
  if (!file) return fail(Fault::config, std::string("cannot be read: ") + std::strerror(errno), "check the path and its permissions", path);
  std::string text;
  text.resize(bytes_max + 1);
  file.read(text.data(), static_cast<std::streamsize>(text.size()));
  text.resize(static_cast<std::size_t>(file.gcount()));
  if (text.size() > bytes_max) return fail(Fault::config, "the file is larger than " + std::to_string(bytes_max) + " bytes", "is this the right file?", path);
  return text;
}

std::string beside(const std::string& base_file, const std::string& file) {
  const std::filesystem::path path(file);
  if (path.is_absolute()) return file;
  return (std::filesystem::path(base_file).parent_path() / path).lexically_normal().string();
}

}  // namespace steadyglow::app
