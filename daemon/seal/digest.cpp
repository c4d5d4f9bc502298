#include "seal/digest.hpp"

#include <sodium.h>

namespace steadyglow::seal {

std::string to_hex(std::string_view bytes) {
  constexpr std::string_view digits = "0123456789abcdef";
  std::string hex;
  hex.reserve(2 * bytes.size());
  for (const char byte : bytes) {
    hex += digits[static_cast<unsigned char>(byte) >> 4];
    hex += digits[static_cast<unsigned char>(byte) & 15];
  }
  return hex;
}

std::string sha256_hex(std::string_view bytes) {
  std::string digest(crypto_hash_sha256_BYTES, '\0');
  crypto_hash_sha256(reinterpret_cast<unsigned char*>(digest.data()), reinterpret_cast<const unsigned char*>(bytes.data()), bytes.size());
  return to_hex(digest);
}

std::string in_groups(std::string_view hex, std::size_t digits) {
  std::string out;
  for (std::size_t i = 0; i < digits && i < hex.size(); ++i) {
    if (i > 0 && i % 4 == 0) out += '-';
    out += hex[i];
  }
  return out;
}

}  // namespace steadyglow::seal
