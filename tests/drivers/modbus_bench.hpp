#pragma once
/// A meter for tests of the Modbus bus: registers that read address + level; and rounds of polls with faults and without.
#include <gtest/gtest.h>

#include <algorithm>
#include <atomic>
#include <functional>
#include <string>
#include <vector>

#include "drivers/fault_server.hpp"
#include "drivers/modbus/instrument.hpp"
#include "drivers/modbus/modbus_bus.hpp"

namespace steadyglow::tests {

inline drivers::modbus::Channel input_register(std::uint16_t address) {
  drivers::modbus::Channel channel;
  channel.name = "r" + std::to_string(address);
  channel.table = drivers::modbus::RegisterTable::input;
  channel.address = address;
  channel.type = drivers::modbus::Type::uint16;
  channel.uom = "V";
  return channel;
}

inline drivers::modbus::MeterSetup meter_with(std::vector<std::uint16_t> addresses, std::uint8_t unit = 1) {
  drivers::modbus::MeterSetup setup;
  setup.name = "meter_" + std::to_string(unit);
  setup.unit = unit;
  for (const std::uint16_t address : addresses) setup.instrument.channels.push_back(input_register(address));
  return setup;
}

inline drivers::modbus::MeterSetup relays(std::uint8_t unit = 1) {
  drivers::modbus::MeterSetup setup;
  setup.name = "relays";
  setup.unit = unit;
  setup.instrument.outputs = {{"outlet_1", 0}, {"outlet_2", 1}};
  return setup;
}

inline constexpr int clean_rounds = 15;
/// A busy machine may cost a poll. More are forgiven only when they do not come again, as a fault of the driver would.
inline constexpr int polls_lost_to_load_max = 1;
inline constexpr int series_max = 3;

struct Rounds {
  int lost = 0;             ///< clean rounds of the last series in which not every channel was good
  int believed_in_bad = 0;  ///< good values in bad rounds, of the worst series
};

/// Reads channels at 10 and 20 in bad rounds and clean ones by turns. A good value must be the one of this very round.
inline Rounds play_rounds(FaultyDevice& device, std::atomic<bool>& is_bad_round, const std::function<drivers::MeterReply()>& read) {
  Rounds rounds{.lost = clean_rounds};
  for (int series = 0; series < series_max && rounds.lost > polls_lost_to_load_max; ++series) {
    int whole = 0;
    int believed_in_bad = 0;
    for (int round = 0; round < 2 * clean_rounds; ++round) {
      is_bad_round = round % 2 == 0;
      device.level = static_cast<std::uint16_t>(round * 7);
      const drivers::MeterReply reply = read();
      int good = 0;
      for (const std::size_t i : {0u, 1u}) {
        if (reply.channels[i].quality != Quality::good) continue;
        ++good;
        EXPECT_EQ(reply.channels[i].value, static_cast<double>((i + 1) * 10 + device.level)) << "round " << round;
      }
      if (is_bad_round) believed_in_bad += good;
      else whole += good == 2 ? 1 : 0;
    }
    rounds = {.lost = clean_rounds - whole, .believed_in_bad = std::max(rounds.believed_in_bad, believed_in_bad)};
  }
  return rounds;
}

}  // namespace steadyglow::tests
