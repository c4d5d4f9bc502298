#pragma once
#include <array>
#include <boost/crc.hpp>
#include <concepts>
#include <cstdint>
#include <string_view>

namespace steadyglow::store {

/// CRC-32 of a row (the one of ISO 3309 and RFC 1952: reflected 0x04C11DB7, check value CBF43926) over the table's name
/// and every column but the checksum, in the table's order. Key and table are in it, so that a sound row in the wrong
/// place is found too. An integer is 8 bytes, least significant first, two's complement; a text or blob is its length
/// in bytes as such an integer, then its bytes.
class RowCrc {
 public:
  explicit RowCrc(std::string_view table) { add(table); }
  RowCrc& add(std::integral auto number) {
    auto rest = static_cast<std::uint64_t>(static_cast<std::int64_t>(number));
    std::array<unsigned char, 8> bytes{};
    for (auto& byte : bytes) byte = static_cast<unsigned char>(rest & 0xFFu), rest >>= 8;
    crc_.process_bytes(bytes.data(), bytes.size());
    return *this;
  }
  RowCrc& add(std::string_view bytes) {
    add(bytes.size());
    crc_.process_bytes(bytes.data(), bytes.size());
    return *this;
  }
  std::uint32_t value() const { return crc_.checksum(); }

 private:
  boost::crc_32_type crc_;
};

template <class... Columns>
std::uint32_t row_crc(std::string_view table, const Columns&... columns) {
  RowCrc crc(table);
  (crc.add(columns), ...);
  return crc.value();
}

}  // namespace steadyglow::store
