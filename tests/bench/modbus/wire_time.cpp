/// Wire time of whole poll rounds on one serial line, measured over a pseudo-terminal whose far end keeps a paced line's timing, against
/// the optimum for the register plan.
///   wire_time [BAUD [ROUNDS]]
#include <fcntl.h>
#include <poll.h>
#include <stdlib.h>
#include <termios.h>
#include <unistd.h>

#include <atomic>
#include <chrono>
#include <cstdio>
#include <cstring>
#include <exception>
#include <string>
#include <thread>
#include <vector>

#include "bench/modbus/arguments.hpp"
#include "bench/modbus/wire_optimum.hpp"
#include "drivers/fault_server.hpp"
#include "drivers/modbus/modbus_bus.hpp"

namespace {

using namespace steadyglow;
using namespace drivers::modbus;
using tests::Bytes;

/// A line with all devices on it: a request takes the time of its characters, the answer comes after a silence and takes its own.
class PacedLine {
 public:
  PacedLine(tests::FaultyDevice& device, int baud) : device_(device), character_(11.0 / baud), silence_(baud > 19200 ? 0.00175 : 3.5 * 11.0 / baud) {
    terminal_ = ::posix_openpt(O_RDWR | O_NOCTTY | O_CLOEXEC);
    char name[64] = {};
    if (terminal_ < 0 || ::grantpt(terminal_) != 0 || ::unlockpt(terminal_) != 0 || ::ptsname_r(terminal_, name, sizeof name) != 0) std::abort();
    path = name;
    other_end_ = ::open(name, O_RDWR | O_NOCTTY | O_CLOEXEC);
    termios raw{};
    ::tcgetattr(other_end_, &raw);
    ::cfmakeraw(&raw);
    ::tcsetattr(other_end_, TCSANOW, &raw);
    thread_ = std::thread([this] { serve(); });
  }
  ~PacedLine() {
    is_stopping_ = true;
    thread_.join();
    ::close(other_end_);
    ::close(terminal_);
  }
  std::string path;

 private:
  void serve() {
    Bytes line;
    while (!is_stopping_) {
      pollfd state{terminal_, POLLIN, 0};
      if (::poll(&state, 1, 50) <= 0) continue;
      const auto began = std::chrono::steady_clock::now();
      std::uint8_t bytes[64];
      const ssize_t got = ::read(terminal_, bytes, sizeof bytes);
      if (got <= 0) continue;
      line.insert(line.end(), bytes, bytes + got);
      const std::size_t length = line.size() > 1 && line[1] == 0x2B ? 7 : 8;
      if (line.size() < length) continue;
      const auto word = [&](std::size_t i) { return static_cast<std::uint16_t>(line[i] << 8 | line[i + 1]); };
      const tests::Asked asked{line[0], line[1], word(2), word(4), {}};
      Bytes answer{asked.unit};
      const Bytes pdu = device_.answer(asked);
      answer.insert(answer.end(), pdu.begin(), pdu.end());
      answer = tests::with_check(answer);
      std::this_thread::sleep_until(began + std::chrono::duration<double>(static_cast<double>(length + answer.size()) * character_ + silence_));
      (void)!::write(terminal_, answer.data(), answer.size());
      line.clear();
    }
  }
  tests::FaultyDevice& device_;
  double character_;
  double silence_;
  int terminal_ = -1;
  int other_end_ = -1;
  std::atomic<bool> is_stopping_{false};
  std::thread thread_;
};

}  // namespace

int main(int count, char** words) try {
  const int baud = tests::whole_number(count, words, 1, 9600);
  const int rounds = tests::whole_number(count, words, 2, 20);
  std::vector<MeterSetup> meters;
  tests::Cost best;
  const auto add = [&](const std::string& name, Instrument instrument) {
    const tests::Cost cost = tests::optimum_of(instrument, baud);
    best = {best.requests + cost.requests, best.seconds + cost.seconds};
    meters.push_back({name, static_cast<std::uint8_t>(meters.size() + 1), std::move(instrument)});
  };
  for (const std::string& name : tests::house_meters) add(name, tests::house_modbus(name));
  add("sparse", tests::sparse_instrument());

  tests::FaultyDevice device;
  PacedLine line(device, baud);
  const std::size_t meter_count = meters.size();
  ModbusBus bus(drivers::SerialLine{line.path, baud, drivers::Parity::none, 8, 1}, std::move(meters), std::chrono::milliseconds{1000});
  const auto round = [&] {
    for (std::size_t i = 0; i < meter_count; ++i)
      if (!bus.read(i).is_answered) std::printf("meter %zu did not answer\n", i);
  };
  round();  // opens, proves its sync, asks who is there
  const auto requests_before = bus.counters().requests;
  const auto began = std::chrono::steady_clock::now();
  for (int i = 0; i < rounds; ++i) round();
  const double seconds = std::chrono::duration<double>(std::chrono::steady_clock::now() - began).count() / rounds;
  const double requests = static_cast<double>(bus.counters().requests - requests_before) / rounds;
  std::printf("%zu meters, %d baud, %d rounds\nrequests a round: %.2f, optimum %d, ratio %.3f\nseconds a round:  %.4f measured, optimum %.4f, ratio %.3f\n", meter_count, baud, rounds, requests, best.requests,
              requests / best.requests, seconds, best.seconds, seconds / best.seconds);
  return requests / best.requests <= 1.05 && seconds / best.seconds <= 1.05 ? 0 : 1;
} catch (const std::exception& error) {
  std::fprintf(stderr, "wire_time: %s\n", error.what());
  return 64;
}
