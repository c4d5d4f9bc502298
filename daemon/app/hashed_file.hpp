#pragma once
/// A file that is read once, from its beginning to its end, and whose SHA-256 (FIPS 180-4) is known then.
#include <sodium.h>

#include <cstdint>
#include <fstream>
#include <streambuf>
#include <string>
#include <vector>

#include "core/result.hpp"

namespace steadyglow::app {

/// Thread: one. Owns: the file. What was not read is not in the sum.
class HashedFile : public std::streambuf {
 public:
  /// Fails: Fault::bad_data when it cannot be opened or is a folder.
  Result<void> open(const std::string& file);
  std::uint64_t bytes_read() const { return bytes_read_; }
  /// 0 when it is not known.
  std::uint64_t size() const { return size_; }
  /// Lower-case hexadecimal; call once, at the end.
  std::string sha256();

 protected:
  int_type underflow() override;

 private:
  std::ifstream in_;
  std::vector<char> buffer_;
  std::uint64_t bytes_read_ = 0;
  std::uint64_t size_ = 0;
  crypto_hash_sha256_state state_{};
};

/// SHA-256 of a whole file, lower-case hexadecimal.
Result<std::string> sha256_of_file(const std::string& file);

}  // namespace steadyglow::app
