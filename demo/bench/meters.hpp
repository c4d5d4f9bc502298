#pragma once
/// The meters of the virtual bench: what each measures, with its noise and its digits, and how that lies in its registers.
/// The layouts are our own, the same as in config/instruments.
#include <cstddef>
#include <cstdint>
#include <optional>
#include <string_view>
#include <vector>

#include "demo/bench/night.hpp"
#include "demo/bench/noise.hpp"

namespace steadyglow::demo {

enum class DeviceKind : std::uint8_t {
  analog_8ch,             ///< eight int16 input registers over +-10.24 V
  analog_8ch_microvolt,   ///< eight int32 in microvolts, low word first
  temperature_8ch,        ///< eight int16 holding registers, tenths of a degree
  energy_meter,           ///< float32 input registers: V, A, W, Hz, kWh
  relay_8ch,              ///< eight coils for outlets, one for the bench contactor, one for the watchdog; input register: smoke contact
  ambient_sensor,         ///< input registers: tenths of a degree, tenths of a percent of humidity
};

enum class Wire : std::uint8_t { tcp, serial };

struct Device {
  std::uint8_t unit_id = 0;
  DeviceKind kind = DeviceKind::analog_8ch;
  Wire wire = Wire::tcp;
  std::string_view name;
  std::optional<Model> model;  ///< whose mains an energy meter watches
};

/// A signal of a unit on a channel of a device; what arrives is the signal times `gain`, in V or degC.
struct Connection {
  std::uint8_t unit_id = 0;
  std::size_t channel = 0;
  Model model = Model::brindlecombe35;
  std::string_view signal;
  double gain = 1.0;
};

const std::vector<Device>& devices();
const std::vector<Connection>& connections();
const Device* find_device(int unit_id);

inline constexpr std::size_t channels_per_device = 8;
inline constexpr std::size_t relays = 8;
/// The coils of the relay module behind its outlets.
inline constexpr std::size_t contactor_coil = 8;
inline constexpr std::size_t watchdog_coil = 9;
inline constexpr std::size_t coils_in_all = 10;
/// The relay of each unit: coil 0 feeds the first model, and so on.
constexpr std::size_t relay_of(Model model) { return static_cast<std::size_t>(model); }

/// What a device holds at one moment.
struct Registers {
  std::vector<std::uint16_t> inputs;
  std::vector<std::uint16_t> holdings;
};

/// Inputs of a device in V (analogue), degC (temperature, ambient; then %), or V, A, W, Hz, kWh (energy); empty: nothing
/// is connected. `noise` and `moment` decide the noise: the same moment reads the same for everybody.
Registers measure(const Device& device, const std::vector<std::optional<double>>& inputs, std::uint64_t seed, std::uint64_t moment);

}  // namespace steadyglow::demo
