#include "demo/bench/modbus_frames.hpp"

#include <boost/crc.hpp>

namespace steadyglow::demo {
namespace {

constexpr std::uint8_t write_coils = 0x0f;
constexpr std::uint8_t write_registers = 0x10;
constexpr std::size_t short_request = 5;
constexpr std::size_t write_head = 6;
constexpr std::size_t serial_bytes_max = 256;

std::size_t word_at(std::span<const std::uint8_t> bytes, std::size_t at) { return static_cast<std::size_t>(bytes[at]) << 8 | bytes[at + 1]; }

}  // namespace

std::optional<std::size_t> request_length(std::span<const std::uint8_t> pdu) {
  if (pdu.empty()) return 1;
  const std::uint8_t function = pdu[0];
  if (function >= 1 && function <= 6) return short_request;
  if (function != write_coils && function != write_registers) return std::nullopt;
  return pdu.size() < write_head ? write_head : write_head + pdu[write_head - 1];
}

bool is_well_formed(std::span<const std::uint8_t> pdu) {
  const auto length = request_length(pdu);
  if (!length || *length != pdu.size()) return false;
  if (pdu[0] == write_coils) return pdu[5] == (word_at(pdu, 3) + 7) / 8;
  if (pdu[0] == write_registers) return pdu[5] == 2 * word_at(pdu, 3);
  return true;
}

bool has_good_crc(std::span<const std::uint8_t> frame) {
  boost::crc_optimal<16, 0x8005, 0xffff, 0, true, true> crc;
  crc.process_bytes(frame.data(), frame.size() - 2);
  return crc.checksum() == (static_cast<unsigned>(frame[frame.size() - 1]) << 8 | frame[frame.size() - 2]);
}

void TcpFrames::add(std::span<const std::uint8_t> bytes) { waiting_.insert(waiting_.end(), bytes.begin(), bytes.end()); }

std::optional<Bytes> TcpFrames::next() {
  if (is_lost_ || waiting_.size() < mbap_bytes) return std::nullopt;
  const std::size_t length = word_at(waiting_, 4);  // the unit identifier and what follows
  is_lost_ = word_at(waiting_, 2) != 0 || length < 2 || length > pdu_bytes_max + 1;
  const std::size_t whole = mbap_bytes - 1 + length;
  if (is_lost_ || waiting_.size() < whole) return std::nullopt;
  const auto end = waiting_.begin() + static_cast<std::ptrdiff_t>(whole);
  Bytes frame(waiting_.begin(), end);
  waiting_.erase(waiting_.begin(), end);
  return frame;
}

void SerialFrames::add(std::span<const std::uint8_t> bytes) {
  if (waiting_.size() + bytes.size() > serial_bytes_max) waiting_.clear();
  waiting_.insert(waiting_.end(), bytes.begin(), bytes.end());
}

std::optional<Bytes> SerialFrames::next() {
  constexpr std::size_t address_and_crc = 3;
  if (waiting_.size() <= address_and_crc) return std::nullopt;
  const auto pdu = request_length(std::span(waiting_).subspan(1));
  if (!pdu || waiting_.size() < *pdu + address_and_crc) return std::nullopt;
  const auto end = waiting_.begin() + static_cast<std::ptrdiff_t>(*pdu + address_and_crc);
  Bytes frame(waiting_.begin(), end);
  waiting_.erase(waiting_.begin(), end);
  if (has_good_crc(frame)) return frame;
  waiting_.clear();
  return std::nullopt;
}

}  // namespace steadyglow::demo
