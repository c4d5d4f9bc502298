#pragma once
#include <string>
#include <utility>

#include "core/result.hpp"

namespace steadyglow::store {

/// An exclusive flock() on a file, held while this object lives; the kernel frees it when the process ends.
class FileLock {
 public:
  /// Fails: Fault::unavailable if another has it.
  static Result<FileLock> take(const std::string& file);
  FileLock(FileLock&& other) noexcept : fd_(std::exchange(other.fd_, -1)) {}
  FileLock& operator=(FileLock&&) = delete;
  ~FileLock();

 private:
  explicit FileLock(int fd) : fd_(fd) {}
  int fd_;
};

}  // namespace steadyglow::store
