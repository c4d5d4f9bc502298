#pragma once
/// A Modbus instrument as a value: which registers hold which quantity, and how the device says "no reading".
/// Source of tables, addresses and limits: MODBUS Application Protocol Specification V1.1b3, sections 4.3, 4.4 and 6.1 to 6.5.
#include <cstddef>
#include <cstdint>
#include <limits>
#include <string>
#include <vector>

#include "drivers/channel.hpp"

namespace steadyglow::drivers::modbus {

inline constexpr int registers_per_request_limit = 125;  ///< V1.1b3, sections 6.3 and 6.4
inline constexpr int bits_per_request_limit = 2000;      ///< V1.1b3, sections 6.1 and 6.2

/// The four tables of the data model (section 4.3).
enum class RegisterTable : std::uint8_t { coil, discrete, holding, input };

enum class Type : std::uint8_t { bit, int16, uint16, int32, uint32, float32 };

/// How a 32-bit value lies in two registers; A is its most significant byte. The specification fixes only that
/// the high byte of a register comes first (section 4.2); the rest is the maker's choice.
enum class WordOrder : std::uint8_t { abcd, cdab, badc, dcba };

struct Channel : ChannelRule {
  RegisterTable table = RegisterTable::input;
  std::uint16_t address = 0;  ///< zero-based, as it goes over the wire
  Type type = Type::int16;
  WordOrder order = WordOrder::abcd;
};

struct Output {
  std::string name;
  std::uint16_t coil = 0;  ///< zero-based
};

struct Instrument {
  std::string title;
  int gap_registers_max = 0;  ///< unused registers that a merged request may read over
  int registers_per_request_max = registers_per_request_limit;
  std::vector<Channel> channels;
  std::vector<Output> outputs;
};

constexpr bool is_bit_table(RegisterTable table) { return table == RegisterTable::coil || table == RegisterTable::discrete; }

/// Registers (or bits) that one value takes.
constexpr std::uint16_t width(Type type) { return type == Type::int32 || type == Type::uint32 || type == Type::float32 ? 2 : 1; }

}  // namespace steadyglow::drivers::modbus
