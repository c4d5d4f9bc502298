#pragma once
/// One payload as it came, looked into once. Pure.
#include <chrono>
#include <memory>
#include <optional>
#include <string>
#include <string_view>

#include "drivers/mqtt/instrument.hpp"

namespace steadyglow::drivers::mqtt {

/// Longer ones are not looked at.
inline constexpr std::size_t payload_bytes_max = 64 * 1024;

class Payload {
 public:
  explicit Payload(std::string_view bytes);
  ~Payload();
  Payload(const Payload&) = delete;
  Payload& operator=(const Payload&) = delete;

  /// What stands at an RFC 6901 pointer, as a text (true, 21.5, ON); an empty pointer is the whole payload. Nothing where there is no
  /// such place, or an object, a list or null stands there.
  std::optional<std::string> text_at(const std::string& pointer) const;
  /// The same as a number; a state may be true or false, or one of the words.
  std::optional<double> number_at(const std::string& pointer, Quantity quantity, const Words& words) const;
  /// A moment: RFC 3339 with its offset, or seconds (milliseconds) since 1970.
  std::optional<std::chrono::system_clock::time_point> time_at(const std::string& pointer, bool is_in_milliseconds) const;

 private:
  struct Document;
  const std::string_view whole_;
  std::unique_ptr<Document> document_;
};

/// RFC 6901, section 3: empty, or steps that each begin with /, where ~ is only followed by 0 or 1.
bool is_pointer(std::string_view text);
/// RFC 3339 date-time.
std::optional<std::chrono::system_clock::time_point> parse_rfc3339(std::string_view text);

}  // namespace steadyglow::drivers::mqtt
