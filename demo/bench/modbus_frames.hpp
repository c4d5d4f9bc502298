#pragma once
/// Where a Modbus request begins and ends. libmodbus can receive for one address at a time and blocks while it does; the
/// bench has many devices on one line and many clients, so frames are cut here and the library writes the answers.
/// Source of layouts: MODBUS Application Protocol V1.1b3 section 6, MODBUS Messaging on TCP/IP V1.0b section 3.1.3,
/// MODBUS over Serial Line V1.02 section 2.5.
#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <vector>

namespace steadyglow::demo {

using Bytes = std::vector<std::uint8_t>;

inline constexpr std::size_t pdu_bytes_max = 253;
inline constexpr std::size_t mbap_bytes = 7;

/// Bytes of a request from its function code on, as far as the bytes at hand tell; nothing: a function that is not known
/// here. More than `pdu.size()` means that more bytes are needed.
std::optional<std::size_t> request_length(std::span<const std::uint8_t> pdu);

/// Is the request whole and are its counts what its bytes hold? What it asks for may still be refused.
bool is_well_formed(std::span<const std::uint8_t> pdu);

/// CRC of a serial frame as it stands in its last two bytes.
bool has_good_crc(std::span<const std::uint8_t> frame);

/// Takes the bytes of one TCP connection and gives back whole frames. Garbage cannot be resynchronised: is_lost().
class TcpFrames {
 public:
  void add(std::span<const std::uint8_t> bytes);
  std::optional<Bytes> next();
  bool is_lost() const { return is_lost_; }

 private:
  Bytes waiting_;
  bool is_lost_ = false;
};

/// Takes the bytes of a serial line. A pause ends whatever was begun.
class SerialFrames {
 public:
  void add(std::span<const std::uint8_t> bytes);
  void pause() { waiting_.clear(); }
  bool is_empty() const { return waiting_.empty(); }
  /// A whole frame with a good CRC, of any address.
  std::optional<Bytes> next();

 private:
  Bytes waiting_;
};

}  // namespace steadyglow::demo
