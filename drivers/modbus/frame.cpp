#include "drivers/modbus/frame.hpp"

#include <algorithm>

namespace steadyglow::drivers::modbus {
namespace {

constexpr std::uint8_t read_coils = 0x01;
constexpr std::uint8_t read_discrete_inputs = 0x02;
constexpr std::uint8_t read_holding_registers = 0x03;
constexpr std::uint8_t read_input_registers = 0x04;
constexpr std::uint8_t write_single_coil = 0x05;

constexpr std::uint8_t high_byte(std::uint16_t word) { return static_cast<std::uint8_t>(word >> 8); }
constexpr std::uint8_t low_byte(std::uint16_t word) { return static_cast<std::uint8_t>(word & 0xFF); }

std::uint8_t function_of(RegisterTable table) {
  switch (table) {
    case RegisterTable::coil: return read_coils;
    case RegisterTable::discrete: return read_discrete_inputs;
    case RegisterTable::holding: return read_holding_registers;
    case RegisterTable::input: break;
  }
  return read_input_registers;
}

std::size_t byte_count(std::span<const std::uint8_t> read_request) {
  const std::size_t count = register_at(read_request.subspan(3), 0);
  return read_request[0] <= read_discrete_inputs ? (count + 7) / 8 : count * 2;
}

}  // namespace

std::uint16_t register_at(std::span<const std::uint8_t> data, std::size_t index) {
  return static_cast<std::uint16_t>((data[2 * index] << 8) | data[2 * index + 1]);
}

bool bit_at(std::span<const std::uint8_t> data, std::size_t index) { return ((data[index / 8] >> (index % 8)) & 1) != 0; }

Bytes read_pdu(RegisterTable table, std::uint16_t address, std::uint16_t count) {
  return {function_of(table), high_byte(address), low_byte(address), high_byte(count), low_byte(count)};
}

Bytes write_coil_pdu(std::uint16_t coil, bool on) {
  return {write_single_coil, high_byte(coil), low_byte(coil), static_cast<std::uint8_t>(on ? 0xFF : 0x00), 0x00};
}

Reply match_pdu(std::span<const std::uint8_t> request, std::span<const std::uint8_t> reply) {
  if (reply.size() < 2) return {};
  if (reply[0] == (request[0] | exception_flag) && reply.size() == 2) return {Match::exception, reply[1], {}};
  if (reply[0] != request[0]) return {};
  if (request[0] == write_single_coil)
    return {std::equal(request.begin(), request.end(), reply.begin(), reply.end()) ? Match::answer : Match::mismatch, 0, {}};
  if (reply[1] != byte_count(request) || reply.size() != 2u + reply[1]) return {};
  return {Match::answer, 0, Bytes(reply.begin() + 2, reply.end())};
}

Bytes tcp_frame(std::uint16_t transaction, std::uint8_t unit, std::span<const std::uint8_t> pdu) {
  const auto length = static_cast<std::uint16_t>(pdu.size() + 1);
  Bytes frame{high_byte(transaction), low_byte(transaction), 0, 0, high_byte(length), low_byte(length), unit};
  frame.insert(frame.end(), pdu.begin(), pdu.end());
  return frame;
}

Reply match_tcp(std::uint16_t transaction, std::uint8_t unit, std::span<const std::uint8_t> request, std::span<const std::uint8_t> frame) {
  if (frame.size() < tcp_header_bytes + 2) return {};
  const bool is_ours = register_at(frame, 0) == transaction && register_at(frame, 1) == 0 &&
                       register_at(frame, 2) == frame.size() - (tcp_header_bytes - 1) && frame[6] == unit;
  return is_ours ? match_pdu(request, frame.subspan(tcp_header_bytes)) : Reply{};
}

Reply match_rtu(std::uint8_t unit, std::span<const std::uint8_t> request, std::span<const std::uint8_t> frame) {
  constexpr std::size_t check_bytes = 2;
  if (frame.size() < 1 + 2 + check_bytes) return {};
  if (frame[0] != unit) return {Match::foreign, 0, {}};
  return match_pdu(request, frame.subspan(1, frame.size() - 1 - check_bytes));
}

}  // namespace steadyglow::drivers::modbus
