/// Polls a second of eight registers on one TCP connection: the driver against a bare libmodbus loop, in turns, in the same run.
///   tcp_polls
#include <modbus/modbus.h>

#include <array>
#include <chrono>
#include <cstdio>
#include <functional>

#include "bench/modbus/plain_server.hpp"
#include "drivers/modbus/modbus_bus.hpp"

namespace {

using namespace steadyglow;
using namespace drivers::modbus;

constexpr int registers = 8;
constexpr int polls_a_turn = 100;
constexpr int turns = 300;
constexpr double ratio_least = 0.8;

double seconds_of(const std::function<void()>& what) {
  const auto began = std::chrono::steady_clock::now();
  what();
  return std::chrono::duration<double>(std::chrono::steady_clock::now() - began).count();
}

}  // namespace

int main() {
  tests::PlainServer server;
  MeterSetup setup;
  setup.name = "analog";
  for (std::uint16_t i = 0; i < registers; ++i) {
    Channel channel;
    channel.address = i;
    setup.instrument.channels.push_back(channel);
  }
  ModbusBus bus(drivers::TcpEnd{"127.0.0.1", server.port}, {setup}, std::chrono::milliseconds{1000});
  modbus_t* bare = modbus_new_tcp("127.0.0.1", server.port);
  if (modbus_connect(bare) != 0) return 1;
  modbus_set_slave(bare, 1);
  double ours = 0.0, theirs = 0.0;
  int wrong = 0;
  for (int turn = 0; turn < turns; ++turn) {
    ours += seconds_of([&] {
      for (int i = 0; i < polls_a_turn; ++i) wrong += bus.read(0).channels[registers - 1].value == registers - 1 ? 0 : 1;
    });
    theirs += seconds_of([&] {
      std::array<std::uint16_t, registers> words{};
      for (int i = 0; i < polls_a_turn; ++i) wrong += modbus_read_input_registers(bare, 0, registers, words.data()) == registers && words[registers - 1] == registers - 1 ? 0 : 1;
    });
  }
  modbus_close(bare);
  modbus_free(bare);
  constexpr double polls = static_cast<double>(turns) * polls_a_turn;
  std::printf("polls a second: driver %.0f, bare loop %.0f, ratio %.3f (at least %.1f); %d wrong\n", polls / ours, polls / theirs, theirs / ours, ratio_least, wrong);
  return wrong == 0 && theirs / ours >= ratio_least ? 0 : 1;
}
