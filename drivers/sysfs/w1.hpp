#pragma once
/// What a 1-Wire thermometer says through the kernel, and when it is not to be believed. No clock and no file in here.
#include <chrono>
#include <cstdint>
#include <optional>
#include <span>
#include <string_view>

namespace steadyglow::drivers::sysfs {

/// x^8 + x^5 + x^4 + 1, least significant bit first. Source: Analog Devices (Maxim) application note 27.
std::uint8_t w1_crc(std::span<const std::uint8_t> bytes);

/// Millidegrees from the two lines of a w1_slave file: nine bytes with their CRC and the kernel's verdict, then the bytes again and t=.
/// Nothing where the verdict is NO, the CRC does not fit or the shape is another.
std::optional<long> parse_w1_slave(std::string_view text);

/// Such a name as 28-0316a2795cff: family, then serial number, in lower-case hexadecimal.
bool is_w1_rom(std::string_view text);

/// A thermometer that lost its supply since the last conversion says exactly 85.000; one whose supply breaks down while converting
/// says 127.94. Source: kernel Documentation/w1/slaves/w1_therm.
inline constexpr long w1_power_on_millidegrees = 85000;
inline constexpr long w1_weak_power_millidegrees = 127937;
/// 85.000 is a temperature when the thermometer was that near...
inline constexpr long w1_neighbour_millidegrees = 5000;
/// ...not longer ago than this.
inline constexpr std::chrono::seconds w1_neighbour_age_max{60};

enum class W1Verdict : std::uint8_t { believable, power_on, weak_power };

class PowerOnGuard {
 public:
  using Instant = std::chrono::steady_clock::time_point;
  W1Verdict judge(long millidegrees, Instant now);

 private:
  struct Neighbour {
    long millidegrees;
    Instant at;
  };
  std::optional<Neighbour> last_;  ///< the last one that was not 85.000
};

}  // namespace steadyglow::drivers::sysfs
