#pragma once
/// A Modbus instrument as a value: which registers hold which quantity, and how the device says "no reading".
/// Source of tables, addresses and limits: MODBUS Application Protocol Specification V1.1b3, sections 4.3, 4.4 and 6.1 to 6.5.
#include <cstddef>
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "drivers/channel.hpp"

namespace steadyglow::drivers::modbus {

inline constexpr int registers_per_request_limit = 125;  ///< V1.1b3, sections 6.3 and 6.4
inline constexpr int bits_per_request_limit = 2000;      ///< V1.1b3, sections 6.1 and 6.2

/// The four tables of the data model (section 4.3).
enum class RegisterTable : std::uint8_t { coil, discrete, holding, input };

enum class Type : std::uint8_t { bit, int16, uint16, int32, uint32, float32, int64, uint64, float64 };

/// How a 32-bit value lies in two registers; A is its most significant byte. The specification fixes only that
/// the high byte of a register comes first (section 4.2); the rest is the maker's choice. A 64-bit value lies in four by the
/// same two choices: which register comes first, and which byte within it.
enum class WordOrder : std::uint8_t { abcd, cdab, badc, dcba };

struct Channel : ChannelRule {
  RegisterTable table = RegisterTable::input;
  std::uint16_t address = 0;  ///< zero-based, as it goes over the wire
  Type type = Type::int16;
  WordOrder order = WordOrder::abcd;
  std::uint8_t bit = 0;           ///< of a bit inside a holding or input register: 0 is its lowest
  bool shares_register = false;   ///< meant to lie on registers of another channel
};

/// How such a device says which one it is. Where the number is a type code, `is` names the one that every such device has.
struct IdentityRule {
  enum class Source : std::uint8_t {
    none,       ///< cannot be asked
    registers,  ///< text, two characters to a register, high byte first; or a number
    device_identification,  ///< function 43 / 14, basic stream: V1.1b3, section 6.21
  };
  Source source = Source::none;
  RegisterTable table = RegisterTable::holding;
  std::uint16_t address = 0;  ///< zero-based
  std::uint16_t count = 0;    ///< registers
  bool is_number = false;
  Type type = Type::uint16;   ///< of a number
  WordOrder order = WordOrder::abcd;
  std::optional<std::uint32_t> is;  ///< the type code
};

struct Output {
  std::string name;
  std::uint16_t coil = 0;  ///< zero-based
};

struct Instrument {
  std::string title;
  int gap_registers_max = 0;  ///< unused registers that a merged request may read over
  int registers_per_request_max = registers_per_request_limit;
  IdentityRule identity;
  std::vector<Channel> channels;
  std::vector<Output> outputs;
};

constexpr bool is_bit_table(RegisterTable table) { return table == RegisterTable::coil || table == RegisterTable::discrete; }

/// Registers (or bits) that one value takes.
constexpr std::uint16_t width(Type type) {
  switch (type) {
    case Type::bit: case Type::int16: case Type::uint16: return 1;
    case Type::int32: case Type::uint32: case Type::float32: return 2;
    case Type::int64: case Type::uint64: case Type::float64: break;
  }
  return 4;
}

/// The words of an instrument file.
std::string_view to_word(RegisterTable table);
std::string_view to_word(Type type);
std::string_view to_word(WordOrder order);

}  // namespace steadyglow::drivers::modbus
