#pragma once
/// One thread per bus: polls its meters by the schedule, puts switching orders before every poll, and posts what came
/// to the program's loop. What is slow or dead on one bus is felt on no other.
#include <atomic>
#include <chrono>
#include <condition_variable>
#include <cstddef>
#include <cstdint>
#include <deque>
#include <functional>
#include <memory>
#include <mutex>
#include <thread>
#include <vector>

#include <boost/asio/io_context.hpp>

#include "acquire/schedule.hpp"
#include "core/result.hpp"
#include "drivers/bus_spec.hpp"
#include "drivers/driver.hpp"

namespace steadyglow::acquire {

/// CLOCK_BOOTTIME now.
Instant boottime_now();

/// One poll of one meter. A silent meter yields batches too, at its own rate, with the qualities of its last poll.
struct MeterBatch {
  std::size_t bus = 0;
  std::size_t meter = 0;
  Instant taken_at{};  ///< boottime, when the reply was complete
  drivers::MeterReply reply;
};

struct BusHealth {
  drivers::BusCounters counters;
  std::uint64_t overruns = 0;         ///< turns of answering meters that the busy bus let go by
  std::uint64_t dropped_batches = 0;  ///< the loop was too slow to take them
  bool is_silent = false;             ///< no meter answers
  std::vector<bool> meter_is_silent;
};

struct BusOptions {
  double clock_rate = 1.0;               ///< run time over real time; other than 1 in the demo only
  std::size_t batches_waiting_max = 512; ///< posted and not yet taken by the loop; beyond, batches are dropped and counted
  std::size_t orders_waiting_max = 64;   ///< beyond, an order fails at once
};

/// Thread: construct, start, stop, order and poll_soon on the loop; health from any thread.
/// Owns: one thread, and on it one drivers::Bus. Fails: by quality in the batch or by the result of an order.
/// What is posted after stop() still arrives, so the loop must be drained before what the callbacks use goes away.
class BusThread {
 public:
  BusThread(std::size_t bus, drivers::BusSpec spec, BusOptions options, boost::asio::io_context& loop,
            std::function<void(MeterBatch)> on_batch);
  ~BusThread();
  BusThread(const BusThread&) = delete;
  BusThread& operator=(const BusThread&) = delete;

  void start();
  /// Joins the thread; returns within one call_deadline() of the bus. Orders not yet begun fail.
  void stop();
  /// Overtakes every poll. `done` runs on the loop: good when the device accepted the order and, where it lets its
  /// output be read back, says the same. That the load is really off only a measurement proves.
  void order(std::size_t meter, std::size_t output, bool on, std::function<void(Result<void>)> done);
  /// Asks the device how this output stands, before every poll. True: energised. `done` runs on the loop.
  void ask(std::size_t meter, std::size_t output, std::function<void(Result<bool>)> done);
  /// Reads this meter next, before its turn and even if it is silent.
  void poll_soon(std::size_t meter);
  BusHealth health() const;
  /// When the thread last began a turn of its work. It does within a second, or one call_deadline() of the bus, whether meters
  /// answer or not. Any thread.
  Instant turned_at() const { return turned_at_; }

 private:
  struct Order {
    std::size_t meter;
    std::size_t output;
    bool on;
    std::function<void(Result<void>)> done;
    std::function<void(Result<bool>)> asked;  ///< set: nothing is written, the output is read
  };
  struct Outbox;

  void run();
  void carry_out(drivers::Bus& bus, Order order);
  void take_turn(drivers::Bus& bus, Schedule& schedule, const Step& step);
  void post(std::size_t meter, Instant taken_at, drivers::MeterReply reply);
  void put(Order order);
  void finish(Order order, Result<void> result);
  void publish(const drivers::Bus& bus, const Schedule& schedule);

  const std::size_t bus_;
  const drivers::BusSpec spec_;
  const BusOptions options_;
  boost::asio::io_context& loop_;
  /// Shared with the handlers that are still in the loop's queue when this object is gone.
  std::shared_ptr<Outbox> outbox_;

  mutable std::mutex mutex_;  // the bus thread blocks on its bus, so values for it wait here
  std::condition_variable has_mail_;
  std::deque<Order> orders_;       // under mutex_
  std::vector<std::size_t> soon_;  // under mutex_
  bool is_stopping_ = false;       // under mutex_
  BusHealth health_;               // under mutex_

  std::atomic<Instant> turned_at_;
  std::vector<drivers::MeterReply> last_replies_;  // bus thread only
  std::thread thread_;
};

}  // namespace steadyglow::acquire
