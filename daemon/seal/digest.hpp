#pragma once
/// SHA-256 (FIPS 180-4) as lower-case hexadecimal, and short forms that a person can compare.
#include <string>
#include <string_view>

namespace steadyglow::seal {

inline constexpr std::size_t digest_hex_length = 64;

std::string sha256_hex(std::string_view bytes);
std::string to_hex(std::string_view bytes);
/// The first `digits` of a hexadecimal text in groups of four: "3f2a-91bc-04de".
std::string in_groups(std::string_view hex, std::size_t digits);

}  // namespace steadyglow::seal
