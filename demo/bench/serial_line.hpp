#pragma once
#include <string>

#include "core/result.hpp"
#include "demo/bench/descriptor.hpp"

namespace steadyglow::demo {

/// A serial line whose other end is a device name: a pseudo-terminal with a symbolic link that keeps its name.
/// Owns: both descriptors and the link. Fails: Error{cannot_create}.
class SerialLine {
 public:
  static Result<SerialLine> open(const std::string& link);
  SerialLine(SerialLine&&) = default;
  SerialLine& operator=(SerialLine&&) = delete;
  ~SerialLine();

  int descriptor() const { return ours_.number(); }
  const std::string& device() const { return device_; }

 private:
  SerialLine(Descriptor ours, Descriptor theirs, std::string device, std::string link);

  Descriptor ours_;
  Descriptor theirs_;  ///< held open, so that a client that goes away does not hang the line up
  std::string device_;
  std::string link_;
};

}  // namespace steadyglow::demo
