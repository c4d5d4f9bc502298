#include "drivers/modbus/frame.hpp"

#include <algorithm>
#include <array>

#include "drivers/crc16.hpp"

namespace steadyglow::drivers::modbus {
namespace {

constexpr std::uint8_t read_coils = 0x01;
constexpr std::uint8_t read_discrete_inputs = 0x02;
constexpr std::uint8_t read_holding_registers = 0x03;
constexpr std::uint8_t read_input_registers = 0x04;
constexpr std::uint8_t write_single_coil = 0x05;

// Read Device Identification, V1.1b3 section 6.21.
constexpr std::uint8_t mei_identification = 0x0E;
constexpr std::uint8_t basic_stream = 0x01;
constexpr std::size_t identification_head_bytes = 7;  // function, MEI type, code, conformity, more follows, next object, number of objects

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

/// Where the objects of an identification end in `pdu`; 0: not all of it is there.
std::size_t identification_end(std::span<const std::uint8_t> pdu) {
  if (pdu.size() < identification_head_bytes) return 0;
  std::size_t end = identification_head_bytes;
  for (int left = pdu[identification_head_bytes - 1]; left > 0; --left) {
    if (pdu.size() < end + 2) return 0;
    end += 2u + pdu[end + 1];
  }
  return end;
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

Bytes identification_pdu(std::uint8_t object) { return {identification_function, mei_identification, basic_stream, object}; }

Identification read_identification(std::span<const std::uint8_t> data) {
  // Behind function and MEI type: code, conformity, more follows, next object, number of objects, then id, length, text of each.
  constexpr std::size_t more_place = 2, next_place = 3, count_place = 4;
  Identification found;
  found.is_more = data[more_place] == 0xFF;
  found.next_object = data[next_place];
  std::size_t place = count_place + 1;
  for (int left = data[count_place]; left > 0; --left) {
    const std::size_t length = data[place + 1];
    const auto text = data.subspan(place + 2, length);
    found.texts.emplace_back(text.begin(), text.end());
    place += 2 + length;
  }
  return found;
}

int identification_frame_bytes(std::span<const std::uint8_t> begun) {
  constexpr int unit_and_check = 3;
  if (begun.size() < 2) return 0;
  if (begun[1] == (identification_function | exception_flag)) return 2 + unit_and_check;
  if (begun[1] != identification_function) return -1;
  const std::size_t end = identification_end(begun.subspan(1));
  return end == 0 ? 0 : static_cast<int>(end) + unit_and_check;
}

Bytes with_check(std::span<const std::uint8_t> frame) {
  Bytes all(frame.begin(), frame.end());
  const std::uint16_t check = crc16_modbus(frame);
  all.push_back(low_byte(check));
  all.push_back(high_byte(check));
  return all;
}

Reply match_pdu(std::span<const std::uint8_t> request, std::span<const std::uint8_t> reply) {
  if (reply.size() < 2) return {};
  if (reply[0] == (request[0] | exception_flag) && reply.size() == 2) return {Match::exception, reply[1], {}};
  if (reply[0] != request[0]) return {};
  if (request[0] == write_single_coil)
    return {std::equal(request.begin(), request.end(), reply.begin(), reply.end()) ? Match::answer : Match::mismatch, 0, {}};
  if (request[0] == identification_function) {
    const bool is_answer = reply[1] == mei_identification && identification_end(reply) == reply.size() && reply[2] == request[2];
    return is_answer ? Reply{Match::answer, 0, Bytes(reply.begin() + 2, reply.end())} : Reply{};
  }
  if (reply[1] != byte_count(request) || reply.size() != 2u + reply[1]) return {};
  return {Match::answer, 0, Bytes(reply.begin() + 2, reply.end())};
}

Bytes tcp_frame(std::uint16_t transaction, std::uint8_t unit, std::span<const std::uint8_t> pdu) {
  const auto length = static_cast<std::uint16_t>(pdu.size() + 1);
  const std::array<std::uint8_t, tcp_header_bytes> header{high_byte(transaction), low_byte(transaction), 0, 0, high_byte(length), low_byte(length), unit};
  Bytes frame(header.size() + pdu.size());
  std::copy(pdu.begin(), pdu.end(), std::copy(header.begin(), header.end(), frame.begin()));
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
