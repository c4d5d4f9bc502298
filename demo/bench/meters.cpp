#include "demo/bench/meters.hpp"

#include <algorithm>
#include <bit>
#include <cmath>

namespace steadyglow::demo {
namespace {

constexpr std::uint64_t first_channel_stream = 1000;

// Noise and digits of the kinds, as such meters commonly have them: no source.
constexpr double analog_count_volts = 10.24 / 32768.0;
constexpr double analog_noise_volts = 2.5e-4;
constexpr double microvolt_noise_volts = 12e-6;
constexpr double microvolt_full_scale_volts = 10.0;
constexpr double temperature_noise_kelvin = 0.04;
constexpr double energy_volts_noise = 0.08;
constexpr double energy_volts_digit = 0.1;
constexpr double energy_amperes_noise_share = 0.001;
constexpr double energy_amperes_digit = 0.001;
constexpr double energy_watts_noise = 0.08;
constexpr double energy_watts_digit = 0.1;
constexpr double energy_hertz_digit = 0.01;

constexpr std::int16_t analog_over_range = 32767;
constexpr std::int16_t analog_open = -32768;
constexpr std::int32_t microvolt_over_range = 0x7fffffff;
constexpr std::int32_t microvolt_open = static_cast<std::int32_t>(0x80000000);
constexpr std::int16_t temperature_open = 32767;

void add_word(std::vector<std::uint16_t>& registers, std::int32_t value) { registers.push_back(static_cast<std::uint16_t>(value & 0xffff)); }

void add_high_first(std::vector<std::uint16_t>& registers, std::uint32_t value) {
  registers.push_back(static_cast<std::uint16_t>(value >> 16));
  registers.push_back(static_cast<std::uint16_t>(value & 0xffff));
}

void add_low_first(std::vector<std::uint16_t>& registers, std::uint32_t value) {
  registers.push_back(static_cast<std::uint16_t>(value & 0xffff));
  registers.push_back(static_cast<std::uint16_t>(value >> 16));
}

void add_float(std::vector<std::uint16_t>& registers, double value) { add_high_first(registers, std::bit_cast<std::uint32_t>(static_cast<float>(value))); }

double in_digits(double value, double digit) { return std::round(value / digit) * digit; }

std::int16_t analog_raw(std::optional<double> volts, double noise) {
  if (!volts) return analog_open;
  const double raw = std::round((*volts + analog_noise_volts * noise) / analog_count_volts);
  return raw >= analog_over_range || raw <= analog_open ? analog_over_range : static_cast<std::int16_t>(raw);
}

std::int32_t microvolt_raw(std::optional<double> volts, double noise) {
  if (!volts) return microvolt_open;
  const double measured = *volts + microvolt_noise_volts * noise;
  return std::fabs(measured) > microvolt_full_scale_volts ? microvolt_over_range : static_cast<std::int32_t>(std::lround(measured * 1e6));
}

std::int16_t tenths(std::optional<double> value, double noise) {
  return value ? static_cast<std::int16_t>(std::lround(10.0 * (*value + temperature_noise_kelvin * noise))) : temperature_open;
}

}  // namespace

const std::vector<Device>& devices() {
  static const std::vector<Device> all{
      {1, DeviceKind::analog_8ch, Wire::tcp, "analog_a", {}},
      {2, DeviceKind::analog_8ch_microvolt, Wire::tcp, "analog_b", {}},
      {3, DeviceKind::analog_8ch_microvolt, Wire::tcp, "analog_c", {}},
      {11, DeviceKind::energy_meter, Wire::tcp, "energy_1", Model::brindlecombe35},
      {12, DeviceKind::energy_meter, Wire::tcp, "energy_2", Model::fennimark120},
      {13, DeviceKind::energy_meter, Wire::tcp, "energy_3", Model::hollin_p4},
      {21, DeviceKind::relay_8ch, Wire::tcp, "relays", {}},
      {31, DeviceKind::temperature_8ch, Wire::serial, "temperature_a", {}},
      {32, DeviceKind::temperature_8ch, Wire::serial, "temperature_b", {}},
      {33, DeviceKind::ambient_sensor, Wire::serial, "room", {}},
  };
  return all;
}

const std::vector<Connection>& connections() {
  using enum Model;
  constexpr double milli = 1e-3;
  constexpr double hv_divider = 1.0 / 121.5;
  constexpr double rail_divider = 1.0 / 11.0;
  constexpr double low_divider = 1.0 / 3.0;
  static const std::vector<Connection> all{
      {1, 0, brindlecombe35, "v1_cathode_mv", milli},
      {1, 1, brindlecombe35, "v2_cathode_mv", milli},
      {1, 2, brindlecombe35, "v3_cathode_mv", milli},
      {1, 3, brindlecombe35, "v4_cathode_mv", milli},
      {1, 4, brindlecombe35, "b_plus_v", hv_divider},
      {1, 5, brindlecombe35, "grid_bias_v", rail_divider},
      {1, 6, brindlecombe35, "heater_v", 1.0},  // through a true-RMS converter
      {2, 0, fennimark120, "idle_left_mv", milli},
      {2, 1, fennimark120, "idle_right_mv", milli},
      {2, 2, fennimark120, "offset_left_mv", milli},
      {2, 3, fennimark120, "offset_right_mv", milli},
      {2, 4, fennimark120, "rail_plus_v", rail_divider},
      {2, 5, fennimark120, "rail_minus_v", rail_divider},
      {3, 0, hollin_p4, "rail_plus_v", low_divider},
      {3, 1, hollin_p4, "rail_minus_v", low_divider},
      {3, 2, hollin_p4, "output_left_mv", milli},
      {3, 3, hollin_p4, "output_right_mv", milli},
      {31, 0, brindlecombe35, "power_transformer_c", 1.0},
      {31, 1, brindlecombe35, "output_transformer_c", 1.0},
      {32, 0, fennimark120, "heatsink_left_c", 1.0},
      {32, 1, fennimark120, "heatsink_right_c", 1.0},
      {32, 2, fennimark120, "transformer_c", 1.0},
      {32, 3, hollin_p4, "regulator_c", 1.0},
  };
  return all;
}

const Device* find_device(int unit_id) {
  for (const Device& device : devices())
    if (device.unit_id == unit_id) return &device;
  return nullptr;
}

Registers measure(const Device& device, const std::vector<std::optional<double>>& inputs, std::uint64_t seed, std::uint64_t moment) {
  const auto noise = [&](std::size_t channel) { return normal({seed, first_channel_stream + channels_per_device * device.unit_id + channel}, moment); };
  const auto input = [&](std::size_t channel) { return channel < inputs.size() ? inputs[channel] : std::nullopt; };
  Registers registers;
  switch (device.kind) {
    case DeviceKind::analog_8ch:
      for (std::size_t i = 0; i < channels_per_device; ++i) add_word(registers.inputs, analog_raw(input(i), noise(i)));
      break;
    case DeviceKind::analog_8ch_microvolt:
      for (std::size_t i = 0; i < channels_per_device; ++i) add_low_first(registers.inputs, static_cast<std::uint32_t>(microvolt_raw(input(i), noise(i))));
      break;
    case DeviceKind::temperature_8ch:
      for (std::size_t i = 0; i < channels_per_device; ++i) add_word(registers.holdings, tenths(input(i), noise(i)));
      break;
    case DeviceKind::ambient_sensor:
      for (std::size_t i = 0; i < 2; ++i) add_word(registers.inputs, tenths(input(i), noise(i)));
      break;
    case DeviceKind::energy_meter: {
      const double amperes = input(1).value_or(0.0);
      const double watts = input(2).value_or(0.0);
      add_float(registers.inputs, in_digits(input(0).value_or(0.0) + energy_volts_noise * noise(0), energy_volts_digit));
      add_float(registers.inputs, in_digits(amperes * (1.0 + energy_amperes_noise_share * noise(1)), energy_amperes_digit));
      add_float(registers.inputs, watts > 0.0 ? in_digits(watts + energy_watts_noise * noise(2), energy_watts_digit) : 0.0);
      add_float(registers.inputs, in_digits(input(3).value_or(0.0), energy_hertz_digit));
      add_float(registers.inputs, input(4).value_or(0.0));
      break;
    }
    case DeviceKind::relay_8ch:
      registers.inputs.push_back(inputs.empty() ? 0 : static_cast<std::uint16_t>(inputs[0].value_or(0.0)));
      break;
  }
  return registers;
}

}  // namespace steadyglow::demo
