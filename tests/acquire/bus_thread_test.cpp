#include "acquire/bus_thread.hpp"

#include <gtest/gtest.h>

#include <atomic>
#include <boost/asio/steady_timer.hpp>
#include <functional>
#include <latch>
#include <map>

#include "drivers/fault_server.hpp"
#include "drivers/registry.hpp"

namespace steadyglow::acquire {
namespace {

using namespace std::chrono_literals;
using tests::Asked;
using tests::Fault;
using tests::FaultyDevice;

constexpr std::string_view map_text = R"([instrument]
protocol = "modbus"
[[channel]]
name = "r10"
table = "input"
address = 10
type = "uint16"
quantity = "voltage"
uom = "V"
[[output]]
name = "outlet_1"
coil = 0
)";

/// A bus as the configuration would give it, to a device of the tests.
drivers::BusSpec bus_on(int port, const std::string& poll_seconds, const std::string& timeout_seconds, const std::vector<int>& units) {
  std::string toml = "[[bus]]\nname = \"b\"\ndriver = \"modbus_tcp\"\nhost = \"127.0.0.1\"\nport = " + std::to_string(port) + "\ntimeout_seconds = " + timeout_seconds + "\n";
  for (const int unit : units)
    toml += "[[bus.meter]]\nname = \"m" + std::to_string(unit) + "\"\ninstrument = \"map\"\naddress = " + std::to_string(unit) + "\npoll_seconds = " + poll_seconds + "\n";
  Errors errors;
  const document::Node root = document::parse(toml, "bench.toml", errors);
  document::Table top(root, "bench.toml", errors);
  auto buses = top.tables("bus");
  auto spec = drivers::read_bus(buses.at(0), [](const std::string&) { return drivers::InstrumentText{"map.toml", std::string(map_text)}; }, errors);
  EXPECT_TRUE(spec) << (errors.empty() ? "" : errors[0].text());
  return *spec;
}

class Live {
 public:
  Live(drivers::BusSpec spec, BusOptions options = {})
      : bus(0, std::move(spec), options, loop, [this](MeterBatch batch) { batches[batch.meter].push_back(std::move(batch)); }) {}

  void run_for(std::chrono::milliseconds time) {
    loop.restart();
    loop.run_for(time);
  }
  /// Runs the loop until `is_there`, for two seconds at most.
  bool run_until(const std::function<bool()>& is_there) {
    const auto end = std::chrono::steady_clock::now() + 2s;
    while (!is_there() && std::chrono::steady_clock::now() < end) run_for(5ms);
    return is_there();
  }

  boost::asio::io_context loop;
  boost::asio::executor_work_guard<boost::asio::io_context::executor_type> keep_running{loop.get_executor()};
  std::map<std::size_t, std::vector<MeterBatch>> batches;
  BusThread bus;
};

TEST(BusThread, PostsWhatTheMetersSay) {
  FaultyDevice device;
  tests::TcpFaultServer server(device);
  Live live(bus_on(server.port(), "0.05", "0.2", {1}));
  live.bus.start();
  ASSERT_TRUE(live.run_until([&] { return live.batches[0].size() >= 3; }));
  const MeterBatch& batch = live.batches[0][1];
  EXPECT_TRUE(batch.reply.is_answered);
  EXPECT_EQ(batch.reply.channels.at(0).value, 10.0);
  EXPECT_LT(boottime_now() - batch.taken_at, 2s);
  EXPECT_LT(live.batches[0][0].taken_at, batch.taken_at);
}

TEST(BusThread, ADeadMeterCostsTheOthersLessThanFivePercent) {
  FaultyDevice device;
  device.units = {1, 2};
  tests::TcpFaultServer server(device);
  Live live(bus_on(server.port(), "0.05", "0.1", {1, 2, 9}));
  live.bus.start();
  live.run_for(500ms);  // until it counts as silent
  for (auto& [meter, batches] : live.batches) batches.clear();
  live.run_for(6000ms);
  live.bus.stop();
  for (const std::size_t meter : {0u, 1u}) {
    int good = 0;
    for (const MeterBatch& batch : live.batches[meter]) good += batch.reply.channels[0].quality == Quality::good ? 1 : 0;
    EXPECT_GE(good, 0.95 * 6.0 / 0.05) << meter;
  }
  EXPECT_GE(live.batches[2].size(), 100u);  // its loss is told at its own rate
  for (const MeterBatch& batch : live.batches[2]) EXPECT_EQ(batch.reply.channels[0].quality, Quality::no_answer);
  EXPECT_TRUE(live.bus.health().meter_is_silent[2]);
  EXPECT_FALSE(live.bus.health().is_silent);
}

TEST(BusThread, AMeterThatComesBackIsHeardAgain) {
  FaultyDevice device;
  std::atomic<bool> is_dead{true};
  device.fault = [&](const Asked&) { return is_dead ? Fault::silent : Fault::none; };
  tests::TcpFaultServer server(device);
  Live live(bus_on(server.port(), "0.05", "0.05", {1}));
  live.bus.start();
  ASSERT_TRUE(live.run_until([&] { return live.bus.health().is_silent; }));
  is_dead = false;
  EXPECT_TRUE(live.run_until([&] { return !live.bus.health().is_silent; }));
}

TEST(BusThread, AnOrderSwitchesTheRelayAndReportsOnTheLoop) {
  FaultyDevice device;
  tests::TcpFaultServer server(device);
  Live live(bus_on(server.port(), "0.05", "0.2", {1}));
  live.bus.start();
  std::optional<Result<void>> result;
  live.bus.order(0, 0, true, [&](Result<void> r) { result = std::move(r); });
  ASSERT_TRUE(live.run_until([&] { return result.has_value(); }));
  EXPECT_TRUE(*result);
  EXPECT_TRUE(device.coil(0));
}

TEST(BusThread, ARelayThatAcceptsAndDoesNotFollowIsReported) {
  FaultyDevice device;
  device.is_relay_stuck = true;
  tests::TcpFaultServer server(device);
  Live live(bus_on(server.port(), "0.05", "0.2", {1}));
  live.bus.start();
  std::optional<Result<void>> result;
  live.bus.order(0, 0, true, [&](Result<void> r) { result = std::move(r); });
  ASSERT_TRUE(live.run_until([&] { return result.has_value(); }));
  ASSERT_FALSE(*result);
  EXPECT_NE(result->error().message.find("did not follow"), std::string::npos);
}

/// A bus whose reads end when the test says so, to see what comes next.
class GatedBus final : public drivers::Bus {
 public:
  struct Log {
    std::mutex mutex;
    std::vector<std::string> calls;
    std::atomic<int> reads_allowed{0};
    std::atomic<bool> is_open{false};
    std::atomic<int> reads_begun{0};

    void add(std::string call) {
      const std::lock_guard lock(mutex);
      calls.push_back(std::move(call));
    }
    std::vector<std::string> all() {
      const std::lock_guard lock(mutex);
      return calls;
    }
  };
  explicit GatedBus(std::shared_ptr<Log> log) : log_(std::move(log)) {}

  drivers::MeterReply read(std::size_t meter) override {
    log_->add("read " + std::to_string(meter));
    ++log_->reads_begun;
    while (!log_->is_open && log_->reads_allowed <= 0) std::this_thread::sleep_for(1ms);
    --log_->reads_allowed;
    return {{{1.0, Quality::good}}, true, {}};
  }
  Result<void> write_output(std::size_t meter, std::size_t, bool on) override {
    log_->add("write " + std::to_string(meter) + (on ? " on" : " off"));
    return {};
  }
  Result<bool> read_output(std::size_t, std::size_t) override { return fail(steadyglow::Fault::io, "cannot be read back"); }
  drivers::BusCounters counters() const override { return {}; }
  std::chrono::milliseconds call_deadline() const override { return 1000ms; }

 private:
  std::shared_ptr<Log> log_;
};

drivers::BusSpec gated(const std::shared_ptr<GatedBus::Log>& log, std::size_t meters, std::chrono::milliseconds period) {
  drivers::BusSpec spec;
  spec.name = "gated";
  for (std::size_t i = 0; i < meters; ++i) spec.meters.push_back({"m" + std::to_string(i), "none", {{"c", Quantity::voltage, "V"}}, {"outlet"}, period});
  spec.make = [log] { return std::make_unique<GatedBus>(log); };
  return spec;
}

void wait_for(const std::function<bool()>& is_there) {
  for (int i = 0; i < 2000 && !is_there(); ++i) std::this_thread::sleep_for(1ms);
  ASSERT_TRUE(is_there());
}

TEST(BusThread, AnOrderOvertakesEveryPollThatIsDue) {
  const auto log = std::make_shared<GatedBus::Log>();
  Live live(gated(log, 5, 1h));
  live.bus.start();
  wait_for([&] { return log->reads_begun == 1; });  // meter 0 is being read; 1 to 4 are due
  live.bus.poll_soon(4);
  live.bus.order(3, 0, false, [](Result<void>) {});
  log->reads_allowed = 5;
  wait_for([&] { return log->reads_begun == 5; });
  EXPECT_EQ(log->all(), (std::vector<std::string>{"read 0", "write 3 off", "read 4", "read 1", "read 2", "read 3"}));
  log->is_open = true;
}

TEST(BusThread, AnOrderIsGoodWhereTheOutputCannotBeReadBack) {
  const auto log = std::make_shared<GatedBus::Log>();
  log->is_open = true;
  Live live(gated(log, 1, 1h));
  live.bus.start();
  std::optional<Result<void>> result;
  live.bus.order(0, 0, false, [&](Result<void> r) { result = std::move(r); });
  ASSERT_TRUE(live.run_until([&] { return result.has_value(); }));
  EXPECT_TRUE(*result);
}

TEST(BusThread, ALoopThatDoesNotTakeBatchesMakesThemDropAndCount) {
  const auto log = std::make_shared<GatedBus::Log>();
  log->is_open = true;
  BusOptions options;
  options.batches_waiting_max = 4;
  Live live(gated(log, 1, 1ms), options);
  live.bus.start();
  wait_for([&] { return live.bus.health().dropped_batches >= 10; });
  live.bus.stop();
  live.run_for(10ms);
  EXPECT_EQ(live.batches[0].size(), 4u);
}

TEST(BusThread, TheClockRateShortensThePeriod) {
  const auto log = std::make_shared<GatedBus::Log>();
  log->is_open = true;
  BusOptions options;
  options.clock_rate = 480.0;
  Live live(gated(log, 1, 10s), options);  // 20.8 ms of real time
  live.bus.start();
  live.run_for(1000ms);
  live.bus.stop();
  EXPECT_NEAR(static_cast<double>(live.batches[0].size()), 48.0, 4.0);
}

TEST(BusThread, StopFailsTheOrdersThatHaveNotBegunAndReturnsInTime) {
  FaultyDevice device;
  device.units = {};  // nobody answers
  tests::TcpFaultServer server(device);
  Live live(bus_on(server.port(), "0.05", "0.2", {1}));
  live.bus.start();
  std::vector<bool> results;
  for (int i = 0; i < 5; ++i) live.bus.order(0, 0, false, [&](Result<void> r) { results.push_back(r.has_value()); });
  std::this_thread::sleep_for(20ms);
  const auto began = std::chrono::steady_clock::now();
  live.bus.stop();
  EXPECT_LT(std::chrono::steady_clock::now() - began, 1s);  // call_deadline of this bus: 0.9 s
  live.run_for(10ms);
  EXPECT_EQ(results, std::vector<bool>(5, false));
}

TEST(BusThread, TooManyOrdersFailAtOnce) {
  const auto log = std::make_shared<GatedBus::Log>();
  BusOptions options;
  options.orders_waiting_max = 2;
  Live live(gated(log, 1, 1h), options);
  live.bus.start();
  wait_for([&] { return log->reads_begun == 1; });
  int failed = 0;
  for (int i = 0; i < 5; ++i) live.bus.order(0, 0, false, [&](Result<void> r) { failed += r ? 0 : 1; });
  live.run_for(10ms);
  EXPECT_EQ(failed, 3);
  log->is_open = true;
}

TEST(BusThread, WhatWasPostedMayOutliveIt) {
  FaultyDevice device;
  tests::TcpFaultServer server(device);
  boost::asio::io_context loop;
  int taken = 0;
  {
    BusThread bus(7, bus_on(server.port(), "0.05", "0.2", {1}), {}, loop, [&](MeterBatch batch) { taken += batch.bus == 7 ? 1 : 0; });
    bus.start();
    std::this_thread::sleep_for(120ms);
  }
  loop.run();
  EXPECT_GE(taken, 1);
}

TEST(BusThread, SaysHowAnOutputStands) {
  FaultyDevice device;
  tests::TcpFaultServer server(device);
  Live live(bus_on(server.port(), "10.0", "0.2", {1}));
  live.bus.start();
  std::optional<bool> before, after;
  live.bus.ask(0, 0, [&](Result<bool> r) { before = r.value_or(true); });
  live.bus.order(0, 0, true, [](Result<void>) {});
  live.bus.ask(0, 0, [&](Result<bool> r) { after = r.value_or(false); });
  ASSERT_TRUE(live.run_until([&] { return after.has_value(); }));
  EXPECT_EQ(before, false);
  EXPECT_EQ(after, true);
}

TEST(BusThread, AnOffOvertakesWhatWaitsAndCancelsASwitchOnOfTheSameOutput) {
  FaultyDevice device;
  tests::TcpFaultServer server(device);
  Live live(bus_on(server.port(), "10.0", "0.2", {1}));
  std::vector<std::string> heard;
  live.bus.order(0, 0, true, [&](Result<void> r) { heard.push_back(r ? "on" : "overtaken"); });
  live.bus.order(0, 0, false, [&](Result<void> r) { heard.push_back(r ? "off" : "off failed"); });
  live.bus.start();
  ASSERT_TRUE(live.run_until([&] { return heard.size() == 2; }));
  EXPECT_EQ(heard, (std::vector<std::string>{"overtaken", "off"}));
  std::optional<bool> is_on;
  live.bus.ask(0, 0, [&](Result<bool> r) { is_on = r.value_or(true); });
  ASSERT_TRUE(live.run_until([&] { return is_on.has_value(); }));
  EXPECT_EQ(is_on, false);
}

}  // namespace
}  // namespace steadyglow::acquire
