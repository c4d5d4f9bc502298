#pragma once
/// Checksums that small devices put behind what they say.
#include <cstddef>
#include <cstdint>
#include <optional>
#include <string_view>
#include <vector>

namespace steadyglow::drivers::lines {

/// xor8 and sum8 find any one damaged byte; two that make up for each other pass. crc16_modbus finds every burst of up to 16 bits
/// and any two damaged bits.
enum class Checksum : std::uint8_t { xor8, sum8, crc16_modbus };

std::uint16_t reckon(Checksum kind, std::string_view bytes);
/// Bytes that it takes: 1 or 2.
constexpr std::size_t width(Checksum kind) { return kind == Checksum::crc16_modbus ? 2 : 1; }

/// The words in an instrument file, in the order of the enumerators.
std::vector<std::string_view> checksum_words();
std::optional<Checksum> checksum_from_word(std::string_view word);

}  // namespace steadyglow::drivers::lines
