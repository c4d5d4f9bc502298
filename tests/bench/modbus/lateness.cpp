/// How late the readings of 32 devices on 32 connections are, ten a second each: from the moment when a poll was due to the moment when
/// its values were complete.
///   lateness [SECONDS]
#include <algorithm>
#include <boost/asio/executor_work_guard.hpp>
#include <boost/asio/io_context.hpp>
#include <charconv>
#include <chrono>
#include <cstdio>
#include <cstring>
#include <memory>
#include <vector>

#include "acquire/bus_thread.hpp"
#include "bench/modbus/plain_server.hpp"
#include "drivers/modbus/modbus_bus.hpp"

namespace {

using namespace steadyglow;
using namespace std::chrono_literals;

constexpr std::size_t devices = 32;
constexpr auto period = 100ms;
constexpr double p99_max_ms = 20.0;

drivers::BusSpec spec_of(int port) {
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
  spec.make = [setup, port] { return std::make_unique<drivers::modbus::ModbusBus>(drivers::TcpEnd{"127.0.0.1", port}, std::vector{setup}, 500ms); };
  return spec;
}

}  // namespace

int main(int count, char** words) {
  int seconds = 20;
  if (count > 1) std::from_chars(words[1], words[1] + std::strlen(words[1]), seconds);
  std::vector<std::unique_ptr<tests::PlainServer>> servers;
  for (std::size_t i = 0; i < devices; ++i) servers.push_back(std::make_unique<tests::PlainServer>());
  boost::asio::io_context loop;
  const auto work = boost::asio::make_work_guard(loop);
  std::vector<acquire::Instant> started(devices);
  std::vector<double> late_ms;
  std::size_t bad = 0;
  std::vector<std::unique_ptr<acquire::BusThread>> threads;
  for (std::size_t i = 0; i < devices; ++i)
    threads.push_back(std::make_unique<acquire::BusThread>(i, spec_of(servers[i]->port), acquire::BusOptions{}, loop, [&](acquire::MeterBatch batch) {
      if (!batch.reply.is_answered) ++bad;
      const auto since = batch.taken_at - started[batch.bus];
      late_ms.push_back(std::chrono::duration<double, std::milli>(since % acquire::Span{period}).count());
    }));
  for (std::size_t i = 0; i < devices; ++i) {
    // The grid begins when the thread does, a little later than this: so every figure is rather too long than too short.
    started[i] = acquire::boottime_now();
    threads[i]->start();
  }
  loop.run_for(std::chrono::seconds{seconds});
  std::uint64_t overruns = 0;
  for (auto& thread : threads) {
    overruns += thread->health().overruns;
    thread->stop();
  }
  std::sort(late_ms.begin(), late_ms.end());
  const auto part = [&](double share) { return late_ms[std::min(late_ms.size() - 1, static_cast<std::size_t>(share * static_cast<double>(late_ms.size())))]; };
  const double expected = static_cast<double>(devices) * seconds * (1000.0 / static_cast<double>(period.count()));
  std::printf("%zu devices, 10 Hz each, %d s: %zu polls of %.0f, %zu unanswered, %llu turns let go\nlate by: median %.2f ms, p99 %.2f ms (under %.0f), worst %.2f ms\n", devices, seconds, late_ms.size(), expected, bad,
              static_cast<unsigned long long>(overruns), part(0.5), part(0.99), p99_max_ms, late_ms.back());
  return bad == 0 && part(0.99) < p99_max_ms && static_cast<double>(late_ms.size()) > 0.98 * expected ? 0 : 1;
}
