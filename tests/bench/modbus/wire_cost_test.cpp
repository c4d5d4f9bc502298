/// Requests and computed wire time of the driver's plan against the optimum.
#include <gtest/gtest.h>

#include <random>

#include "bench/modbus/wire_optimum.hpp"
#include "drivers/modbus/link.hpp"
#include "drivers/modbus/plan.hpp"

namespace steadyglow::tests {
namespace {

using namespace drivers::modbus;

constexpr double within = 1.05;

Cost planned(const Instrument& instrument, int baud) {
  Cost cost;
  for (const Request& request : plan_requests(instrument, request_costs_registers(baud))) {
    ++cost.requests;
    cost.seconds += exchange_seconds(is_bit_table(request.table), request.count, baud);
  }
  return cost;
}

TEST(WireCost, OfTheHouseInstrumentsIsTheOptimum) {
  for (const int baud : {9600, 19200, 38400, 115200}) {
    Cost ours, best;
    for (const std::string& name : house_meters) {
      const Instrument instrument = house_modbus(name);
      ours.seconds += planned(instrument, baud).seconds;
      ours.requests += planned(instrument, baud).requests;
      best.seconds += optimum_of(instrument, baud).seconds;
      best.requests += optimum_of(instrument, baud).requests;
    }
    EXPECT_EQ(ours.requests, best.requests) << baud;
    EXPECT_NEAR(ours.seconds, best.seconds, 1e-9) << baud;
  }
}

TEST(WireCost, OfASparseMapIsTheOptimum) {
  for (const int baud : {9600, 115200}) EXPECT_NEAR(planned(sparse_instrument(), baud).seconds, optimum_of(sparse_instrument(), baud).seconds, 1e-9) << baud;
}

TEST(WireCost, OfAThousandRandomMapsIsWithinFivePercent) {
  std::mt19937 random(20260117);
  const auto up_to = [&](int most) { return static_cast<int>(random() % static_cast<unsigned>(most + 1)); };
  double worst = 1.0;
  for (int map = 0; map < 1000; ++map) {
    Instrument instrument;
    instrument.gap_registers_max = up_to(60);
    instrument.registers_per_request_max = 4 + up_to(121);
    for (int i = 1 + up_to(39), address = 0; i > 0; --i) {
      Channel channel;
      channel.type = up_to(1) == 0 ? Type::int16 : Type::float32;
      channel.table = up_to(9) == 0 ? RegisterTable::holding : RegisterTable::input;
      channel.address = static_cast<std::uint16_t>(address);
      instrument.channels.push_back(channel);
      address += width(channel.type) + (up_to(3) == 0 ? up_to(40) : 0);
    }
    const int baud = std::vector<int>{1200, 9600, 19200, 57600, 115200}[static_cast<std::size_t>(up_to(4))];
    worst = std::max(worst, planned(instrument, baud).seconds / optimum_of(instrument, baud).seconds);
  }
  EXPECT_LE(worst, within);
  RecordProperty("worst_over_optimum", std::to_string(worst));
}

TEST(WireCost, TakesTheTimeThatTheSpecificationGives) {
  // 8 registers at 9600 bit/s: 8 + 21 characters and two silences of 3.5, of 11 bits each: 36 characters, 41.25 ms.
  EXPECT_NEAR(exchange_seconds(false, 8, 9600), 0.04125, 1e-12);
  // Above 19200 bit/s the silence is 1.750 ms, whatever a character takes (V1.02, section 2.5.1.1).
  EXPECT_NEAR(exchange_seconds(true, 8, 115200), 14 * 11.0 / 115200 + 0.0035, 1e-12);
}

}  // namespace
}  // namespace steadyglow::tests
