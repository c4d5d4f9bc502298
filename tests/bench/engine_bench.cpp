/// What the engine costs. Read ratios within one run; absolute times are this machine's.
#include <benchmark/benchmark.h>

#include <cmath>
#include <random>

#include "support/night.hpp"

namespace steadyglow {
namespace {

/// Sixteen points as on a tube amplifier: eight bias, two supplies, three temperatures, mains volts and watts, room.
std::string sixteen_points() {
  std::string text = "[profile]\nkind = \"tube\"\nmains_nominal_volts = 230.0\n";
  const auto point = [&](const std::string& name, const char* quantity, const char* uom, const char* role, const char* limits) {
    text += "[[point]]\nname = \"" + name + "\"\nquantity = \"" + quantity + "\"\nuom = \"" + uom + "\"\nrole = \"" + role + "\"\n" + limits;
  };
  for (int i = 1; i <= 8; ++i)
    point("v" + std::to_string(i), "voltage", "mV", "bias",
          i == 1 ? "nominal = 380.0\nwarn = { low = 300.0, high = 460.0 }\ntrip = { high = 570.0 }\nmatched_with = [\"v2\", \"v3\", \"v4\", \"v5\", \"v6\", \"v7\", \"v8\"]\n"
                 : "nominal = 380.0\nwarn = { low = 300.0, high = 460.0 }\ntrip = { high = 570.0 }\n");
  point("b_plus", "voltage", "V", "supply", "nominal = 452.0\nwarn = { low = 420.0, high = 490.0 }\n");
  point("screen", "voltage", "V", "supply", "nominal = 440.0\n");
  for (const char* name : {"power_transformer", "output_left", "output_right"}) point(name, "temperature", "Cel", "transformer", "trip = { high = 95.0 }\n");
  point("mains_v", "voltage", "V", "mains_voltage", "");
  point("mains_w", "power", "W", "mains_power", "");
  point("room", "temperature", "Cel", "ambient", "");
  return text;
}

std::vector<std::vector<Reading>> a_recording(double hours) {
  std::mt19937 random(1);
  std::normal_distribution<double> normal;
  std::vector<std::vector<Reading>> rows;
  for (int second = 0; second < static_cast<int>(hours * 3600.0); ++second) {
    const double mains = 230.0 + 3.0 * std::sin(second / 5000.0) + 0.2 * normal(random);
    std::vector<Reading> row;
    const auto add = [&](double value) { row.push_back(Reading::good(PointId{static_cast<std::uint16_t>(row.size())}, at_ms(second * 1000), value)); };
    for (int i = 0; i < 8; ++i) add(380.0 * std::pow(mains / 230.0, 1.5) + normal(random));
    add(452.0 * mains / 230.0);
    add(440.0 * mains / 230.0);
    for (int i = 0; i < 3; ++i) add(23.0 + 40.0 * (1.0 - std::exp(-second / 4200.0)) + 0.05 * normal(random));
    add(mains);
    add(120.0 * std::pow(mains / 230.0, 1.5));
    add(22.0 + std::sin(second / 9000.0));
    rows.push_back(std::move(row));
  }
  return rows;
}

void engine_per_reading(benchmark::State& state) {
  const auto rows = a_recording(static_cast<double>(state.range(0)));
  std::int64_t readings = 0;
  for (auto _ : state) {
    soak::Engine engine(tests::profile_of(sixteen_points()), tests::plan_of(tests::usual_plan));
    for (const auto& row : rows) {
      benchmark::DoNotOptimize(engine.take(row).size());
      readings += static_cast<std::int64_t>(row.size());
    }
  }
  state.SetItemsProcessed(readings);
}
BENCHMARK(engine_per_reading)->Arg(2)->Arg(12)->Unit(benchmark::kMillisecond);

}  // namespace
}  // namespace steadyglow
