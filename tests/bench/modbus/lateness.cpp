/// How late the readings of 32 devices on 32 connections are, ten a second each: from the moment when a poll was due to the moment when
/// its values were complete. A poll that comes after turns that were let go answers for the first of them.
///   lateness [SECONDS]
#include <algorithm>
#include <boost/asio/executor_work_guard.hpp>
#include <boost/asio/io_context.hpp>
#include <chrono>
#include <cstdint>
#include <cstdio>
#include <exception>
#include <memory>
#include <utility>
#include <vector>

#include "acquire/bus_thread.hpp"
#include "bench/modbus/arguments.hpp"
#include "bench/modbus/plain_server.hpp"
#include "drivers/modbus/modbus_bus.hpp"

namespace {

using namespace steadyglow;
using namespace std::chrono_literals;

constexpr std::size_t devices = 32;
constexpr auto period = 100ms;
constexpr double p99_max_ms = 20.0;

double milliseconds(acquire::Span span) { return std::chrono::duration<double, std::milli>(span).count(); }

/// What one device's polls came to. Its bus thread writes; read when that has ended.
struct Lateness {
  std::vector<double> late_ms;
  std::int64_t let_go = 0;  ///< turns without a poll of their own
};

/// The bus under test, with the turns of its one meter counted from the moment when it was made: the grid of its polls begins a moment later,
/// so every figure is rather too long than too short.
class TimedBus : public drivers::Bus {
 public:
  TimedBus(std::unique_ptr<drivers::Bus> bus, Lateness& lateness) : bus_(std::move(bus)), lateness_(lateness) {}
  drivers::MeterReply read(std::size_t meter) override {
    const std::int64_t turn = (acquire::boottime_now() - started_) / acquire::Span{period};
    drivers::MeterReply reply = bus_->read(meter);
    const std::int64_t first_due = std::min(last_turn_ + 1, turn);
    lateness_.late_ms.push_back(milliseconds(acquire::boottime_now() - started_ - first_due * acquire::Span{period}));
    lateness_.let_go += turn - first_due;
    last_turn_ = turn;
    return reply;
  }
  Result<void> write_output(std::size_t meter, std::size_t output, bool on) override { return bus_->write_output(meter, output, on); }
  Result<bool> read_output(std::size_t meter, std::size_t output) override { return bus_->read_output(meter, output); }
  drivers::BusCounters counters() const override { return bus_->counters(); }
  std::chrono::milliseconds call_deadline() const override { return bus_->call_deadline(); }

 private:
  std::unique_ptr<drivers::Bus> bus_;
  Lateness& lateness_;
  const acquire::Instant started_ = acquire::boottime_now();
  std::int64_t last_turn_ = -1;
};

drivers::BusSpec spec_of(int port, Lateness& lateness) {
  drivers::modbus::MeterSetup setup;
  drivers::MeterInfo info;
  info.name = setup.name = "m";
  info.poll_period = period;
  for (std::uint16_t i = 0; i < 8; ++i) {
    drivers::modbus::Channel channel;
    channel.name = "r" + std::to_string(i);
    channel.address = i;
    setup.instrument.channels.push_back(channel);
    info.channels.push_back({channel.name, Quantity::voltage, "V"});
  }
  drivers::BusSpec spec;
  spec.name = "b";
  spec.meters = {info};
  spec.make = [setup, port, &lateness] {
    return std::make_unique<TimedBus>(std::make_unique<drivers::modbus::ModbusBus>(drivers::TcpEnd{"127.0.0.1", port}, std::vector{setup}, 500ms), lateness);
  };
  return spec;
}

}  // namespace

int main(int count, char** words) try {
  const int seconds = tests::whole_number(count, words, 1, 20);
  std::vector<std::unique_ptr<tests::PlainServer>> servers;
  for (std::size_t i = 0; i < devices; ++i) servers.push_back(std::make_unique<tests::PlainServer>());
  boost::asio::io_context loop;
  const auto work = boost::asio::make_work_guard(loop);
  std::vector<Lateness> lateness(devices);
  std::size_t bad = 0;
  std::vector<std::unique_ptr<acquire::BusThread>> threads;
  for (std::size_t i = 0; i < devices; ++i)
    threads.push_back(std::make_unique<acquire::BusThread>(i, spec_of(servers[i]->port, lateness[i]), acquire::BusOptions{}, loop,
                                                           [&](acquire::MeterBatch batch) { bad += batch.reply.is_answered ? 0 : 1; }));
  for (const auto& thread : threads) thread->start();
  loop.run_for(std::chrono::seconds{seconds});
  std::uint64_t overruns = 0;
  std::int64_t let_go = 0;
  std::vector<double> late_ms;
  for (std::size_t i = 0; i < devices; ++i) {
    threads[i]->stop();
    overruns += threads[i]->health().overruns;
    let_go += lateness[i].let_go;
    late_ms.insert(late_ms.end(), lateness[i].late_ms.begin(), lateness[i].late_ms.end());
  }
  std::sort(late_ms.begin(), late_ms.end());
  const auto part = [&](double share) { return late_ms[std::min(late_ms.size() - 1, static_cast<std::size_t>(share * static_cast<double>(late_ms.size())))]; };
  const double expected = static_cast<double>(devices) * seconds * (1000.0 / static_cast<double>(period.count()));
  std::printf("%zu devices, 10 Hz each, %d s: %zu polls of %.0f, %zu unanswered, %lld turns let go (%llu by the daemon's count)\nlate by: median %.2f ms, p99 %.2f ms (under %.0f), worst %.2f ms\n", devices, seconds, late_ms.size(), expected, bad,
              static_cast<long long>(let_go), static_cast<unsigned long long>(overruns), part(0.5), part(0.99), p99_max_ms, late_ms.back());
  return bad == 0 && part(0.99) < p99_max_ms && static_cast<double>(late_ms.size()) > 0.98 * expected ? 0 : 1;
} catch (const std::exception& error) {
  std::fprintf(stderr, "lateness: %s\n", error.what());
  return 64;
}
