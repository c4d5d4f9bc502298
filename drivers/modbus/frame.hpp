#pragma once
/// What goes over the wire, and whether what came back answers what was asked. Bytes in, bytes out, no I/O.
/// Source: MODBUS Application Protocol Specification V1.1b3, sections 6 and 7; MODBUS Messaging on TCP/IP, MBAP header.
#include <cstddef>
#include <cstdint>
#include <span>
#include <string>
#include <vector>

#include "drivers/modbus/instrument.hpp"

namespace steadyglow::drivers::modbus {

using Bytes = std::vector<std::uint8_t>;

inline constexpr std::size_t tcp_header_bytes = 7;  ///< transaction 2, protocol 2, length 2, unit 1
inline constexpr std::uint8_t exception_flag = 0x80;

/// Exception codes with a consequence (section 7).
enum class ExceptionCode : std::uint8_t {
  illegal_function = 0x01,
  illegal_data_address = 0x02,
  illegal_data_value = 0x03,
  gateway_path_unavailable = 0x0A,
  gateway_target_silent = 0x0B,
};

/// Read Coils, Discrete Inputs, Holding or Input Registers (functions 1 to 4), without address and check.
Bytes read_pdu(RegisterTable table, std::uint16_t address, std::uint16_t count);
/// Write Single Coil (function 5).
Bytes write_coil_pdu(std::uint16_t coil, bool on);

/// Read Device Identification (function 43, MEI type 14), basic stream from object `object` on: V1.1b3, section 6.21.
Bytes identification_pdu(std::uint8_t object);
inline constexpr std::uint8_t identification_function = 0x2B;

/// One answer of it: the texts of its objects in order, and where to go on.
struct Identification {
  bool is_more = false;
  std::uint8_t next_object = 0;
  std::vector<std::string> texts;
};
/// Reads the data of an answer to identification_pdu; its shape was checked by match_pdu.
Identification read_identification(std::span<const std::uint8_t> data);

/// How long a serial frame is that begins with these bytes and answers function 43: unit to check. 0: not yet known; -1: it is no such frame.
int identification_frame_bytes(std::span<const std::uint8_t> begun);

/// A frame with its check behind it.
Bytes with_check(std::span<const std::uint8_t> frame);

enum class Match : std::uint8_t {
  answer,     ///< answers this request
  exception,  ///< the device refuses this request
  foreign,    ///< a whole frame of somebody else (RTU: another unit)
  mismatch,   ///< not an answer to this request
};

struct Reply {
  Match match = Match::mismatch;
  std::uint8_t exception = 0;
  Bytes data;  ///< of a read: the data bytes after the byte count
};

/// Compares a reply with its request: function, byte count, and for a write the whole echo.
Reply match_pdu(std::span<const std::uint8_t> request, std::span<const std::uint8_t> reply);

Bytes tcp_frame(std::uint16_t transaction, std::uint8_t unit, std::span<const std::uint8_t> pdu);
/// A TCP frame answers only with the same transaction, protocol 0, its true length and the same unit.
Reply match_tcp(std::uint16_t transaction, std::uint8_t unit, std::span<const std::uint8_t> request, std::span<const std::uint8_t> frame);
/// An RTU frame with its two check bytes (already verified).
Reply match_rtu(std::uint8_t unit, std::span<const std::uint8_t> request, std::span<const std::uint8_t> frame);

/// Register `index` of the data bytes of a reply, high byte first (section 4.2).
std::uint16_t register_at(std::span<const std::uint8_t> data, std::size_t index);
/// Bit `index` of the data bytes of a reply, low bit of the first byte first (section 6.1).
bool bit_at(std::span<const std::uint8_t> data, std::size_t index);

}  // namespace steadyglow::drivers::modbus
