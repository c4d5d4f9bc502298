#pragma once
/// The files of a record, in a folder or a zip: written the same way every time, read as if a stranger meant harm.
#include <cstdint>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "core/result.hpp"

namespace steadyglow::seal {

inline constexpr std::size_t files_max = 100;
inline constexpr std::uint64_t file_bytes_max = std::uint64_t{512} << 20;
/// All files of a record together, unpacked.
inline constexpr std::uint64_t record_bytes_max = std::uint64_t{768} << 20;
inline constexpr std::size_t name_length_max = 80;

struct NamedFile {
  std::string name;
  std::string bytes;
};

/// A plain name: letters, digits, dot, dash and underscore, and no dot at its beginning. No folder, so no way out of one.
bool is_plain_name(std::string_view name);

/// Writes all files, or nothing, under a new name. `out` ending in ".zip" makes a zip, anything else a folder.
/// Fails: Fault::cannot_create if `out` is there already; io.
Result<void> write_container(const std::string& out, const std::vector<NamedFile>& files);
/// The zip alone. Its comment is the SHA-256 of all its bytes before the comment.
Result<std::string> zip_of(const std::vector<NamedFile>& files);

struct ListedFile {
  std::string name;
  std::uint64_t bytes = 0;  ///< as claimed: nothing has been unpacked
};

/// Thread: one at a time. Fails: Fault::bad_data for what is no record or may do harm, before any of it is unpacked.
class Container {
 public:
  static Result<std::unique_ptr<Container>> open(const std::string& path);
  virtual ~Container() = default;
  const std::vector<ListedFile>& files() const { return files_; }
  const ListedFile* find(std::string_view name) const;
  /// Empty unless the container itself shows that it was changed.
  const std::string& changed() const { return changed_; }
  /// The bytes of a listed file.
  virtual Result<std::string> read(const ListedFile& file) = 0;

 protected:
  Result<void> list(std::string name, std::uint64_t bytes);
  std::vector<ListedFile> files_;
  std::uint64_t bytes_ = 0;
  std::string changed_;
};

}  // namespace steadyglow::seal
