#pragma once
#include <string>
#include <string_view>

#include "core/result.hpp"

namespace steadyglow::seal {

/// A file of our own for as long as this object lives, for libraries that want a path. Nobody else can read it.
class ScratchFile {
 public:
  static Result<ScratchFile> make(std::string_view bytes = {});
  ScratchFile(ScratchFile&& other) noexcept : folder_(std::move(other.folder_)) { other.folder_.clear(); }
  ScratchFile& operator=(ScratchFile&&) = delete;
  ~ScratchFile();
  std::string path() const { return folder_ + "/run.sqlite"; }

 private:
  explicit ScratchFile(std::string folder) : folder_(std::move(folder)) {}
  std::string folder_;
};

/// Whole file, at most `bytes_max`; only a plain one: no link, pipe or device. Fails: Fault::bad_data when it is larger or
/// no plain file, io otherwise.
Result<std::string> read_plain_file(const std::string& path, std::size_t bytes_max);
/// A new file, on the disk when this returns. Fails: Fault::cannot_create, io.
Result<void> write_new_file(const std::string& path, std::string_view bytes);

}  // namespace steadyglow::seal
