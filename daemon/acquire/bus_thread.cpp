#include "acquire/bus_thread.hpp"

#include <pthread.h>
#include <csignal>
#include <ctime>

#include <algorithm>
#include <cassert>
#include <cmath>
#include <utility>

#include <boost/asio/post.hpp>

namespace steadyglow::acquire {
namespace {

/// However fast the demo runs, a bus is not asked more often.
constexpr Span period_min = std::chrono::milliseconds{1};
/// A wait is cut here, so that a clock that jumped (suspend) is looked at again.
constexpr Span wait_max = std::chrono::seconds{1};

std::vector<Span> real_periods(const drivers::BusSpec& spec, double clock_rate) {
  std::vector<Span> periods;
  for (const drivers::MeterInfo& meter : spec.meters) {
    const double run_nanoseconds = static_cast<double>(Span(meter.poll_period).count());
    periods.push_back(std::max(period_min, Span{static_cast<Span::rep>(std::llround(run_nanoseconds / clock_rate))}));
  }
  return periods;
}

/// Signals belong to the program's loop: here one would only interrupt a read.
void block_signals() {
  sigset_t all;
  sigfillset(&all);
  pthread_sigmask(SIG_BLOCK, &all, nullptr);
}

}  // namespace

Instant boottime_now() {
  timespec now{};
  clock_gettime(CLOCK_BOOTTIME, &now);
  return std::chrono::seconds{now.tv_sec} + std::chrono::nanoseconds{now.tv_nsec};
}

struct BusThread::Outbox {
  std::function<void(MeterBatch)> on_batch;  // loop only
  std::atomic<std::size_t> waiting{0};
  std::atomic<std::uint64_t> dropped{0};
};

BusThread::BusThread(std::size_t bus, drivers::BusSpec spec, BusOptions options, boost::asio::io_context& loop,
                     std::function<void(MeterBatch)> on_batch)
    : bus_(bus), spec_(std::move(spec)), options_(options), loop_(loop), outbox_(std::make_shared<Outbox>()), turned_at_(boottime_now()) {
  assert(options_.clock_rate > 0.0);
  outbox_->on_batch = std::move(on_batch);
  health_.meter_is_silent.assign(spec_.meters.size(), false);
  for (const drivers::MeterInfo& meter : spec_.meters) {
    drivers::MeterReply nothing;
    nothing.channels.resize(meter.channels.size());
    last_replies_.push_back(std::move(nothing));
  }
}

BusThread::~BusThread() { stop(); }

void BusThread::start() {
  assert(!thread_.joinable());
  turned_at_ = boottime_now();
  thread_ = std::thread([this] { run(); });
}

void BusThread::stop() {
  {
    const std::lock_guard lock(mutex_);
    is_stopping_ = true;
  }
  has_mail_.notify_one();
  if (thread_.joinable()) thread_.join();
  for (Order& order : std::exchange(orders_, {}))
    finish(std::move(order), fail(Fault::unavailable, "the bus is being stopped", {}, spec_.name));
}

void BusThread::order(std::size_t meter, std::size_t output, bool on, std::function<void(Result<void>)> done) {
  put({meter, output, on, std::move(done), {}});
}

void BusThread::ask(std::size_t meter, std::size_t output, std::function<void(Result<bool>)> done) {
  put({meter, output, false, {}, std::move(done)});
}

void BusThread::put(Order order) {
  assert(order.meter < spec_.meters.size() && order.output < spec_.meters[order.meter].outputs.size());
  {
    const std::lock_guard lock(mutex_);
    if (is_stopping_) return finish(std::move(order), fail(Fault::unavailable, "the bus is stopped", {}, spec_.name));
    if (orders_.size() >= options_.orders_waiting_max)
      return finish(std::move(order), fail(Fault::unavailable, "too many orders are waiting for this bus", "open the circuit by hand", spec_.name));
    // Off goes first: what is to be switched on or asked can wait for it, and a switch-on of the same output that has not
    // begun is dropped: it must not follow the off.
    const bool is_off = !order.on && !order.asked;
    if (is_off) {
      const auto is_overtaken = [&](const Order& o) { return o.on && o.meter == order.meter && o.output == order.output; };
      for (Order& overtaken : orders_)
        if (is_overtaken(overtaken)) finish(std::move(overtaken), fail(Fault::unavailable, "an order to switch off overtook it", {}, spec_.name));
      std::erase_if(orders_, [&](const Order& o) { return !o.asked && !o.done; });
    }
    orders_.insert(is_off ? std::find_if(orders_.begin(), orders_.end(), [](const Order& o) { return o.on || o.asked; }) : orders_.end(), std::move(order));
  }
  has_mail_.notify_one();
}

void BusThread::poll_soon(std::size_t meter) {
  assert(meter < spec_.meters.size());
  {
    const std::lock_guard lock(mutex_);
    if (std::find(soon_.begin(), soon_.end(), meter) == soon_.end()) soon_.push_back(meter);
  }
  has_mail_.notify_one();
}

BusHealth BusThread::health() const {
  const std::lock_guard lock(mutex_);
  BusHealth health = health_;
  health.dropped_batches = outbox_->dropped;
  return health;
}

void BusThread::run() {
  block_signals();
  const std::unique_ptr<drivers::Bus> bus = spec_.make();
  Schedule schedule(real_periods(spec_, options_.clock_rate), boottime_now());
  while (true) {
    turned_at_ = boottime_now();
    std::unique_lock lock(mutex_);
    if (is_stopping_) return;
    for (const std::size_t meter : std::exchange(soon_, {})) schedule.poll_soon(meter);
    if (!orders_.empty()) {
      Order order = std::move(orders_.front());
      orders_.pop_front();
      lock.unlock();
      carry_out(*bus, std::move(order));
    } else {
      const Instant now = boottime_now();
      const Step step = schedule.next(now);
      if (step.kind == Step::Kind::wait) {
        has_mail_.wait_for(lock, std::min(step.until - now, wait_max),
                           [&] { return is_stopping_ || !orders_.empty() || !soon_.empty(); });
        continue;
      }
      lock.unlock();
      take_turn(*bus, schedule, step);
    }
    publish(*bus, schedule);
  }
}

void BusThread::take_turn(drivers::Bus& bus, Schedule& schedule, const Step& step) {
  const Instant began = boottime_now();
  drivers::MeterReply& last = last_replies_[step.meter];
  if (step.kind == Step::Kind::report_silent) {
    schedule.reported(step.meter, began);
    return post(step.meter, began, last);
  }
  drivers::MeterReply reply = bus.read(step.meter);
  const Instant ended = boottime_now();
  schedule.polled(step.meter, began, ended, reply.is_answered);
  last = reply;
  last.trouble.clear();  // told once, with the poll that met it
  post(step.meter, ended, std::move(reply));
}

void BusThread::carry_out(drivers::Bus& bus, Order order) {
  if (order.asked) {
    boost::asio::post(loop_, [asked = std::move(order.asked), is_on = bus.read_output(order.meter, order.output)] { asked(is_on); });
    return;
  }
  Result<void> result = bus.write_output(order.meter, order.output, order.on);
  bool is_stopping = false;
  {
    const std::lock_guard lock(mutex_);
    is_stopping = is_stopping_;
  }
  if (result && !is_stopping) {
    const Result<bool> is_on = bus.read_output(order.meter, order.output);
    if (is_on && *is_on != order.on)
      result = fail(Fault::unavailable, "output `" + spec_.meters[order.meter].outputs[order.output] + "` accepted the order and did not follow it",
                    "open the circuit by hand if it must be off", spec_.name);
  }
  finish(std::move(order), std::move(result));
}

void BusThread::finish(Order order, Result<void> result) {
  boost::asio::post(loop_, [order = std::move(order), result = std::move(result)] {
    if (order.asked) order.asked(result ? Result<bool>(false) : Result<bool>(tl::unexpected(result.error())));
    else order.done(result);
  });
}

void BusThread::post(std::size_t meter, Instant taken_at, drivers::MeterReply reply) {
  if (outbox_->waiting.fetch_add(1) >= options_.batches_waiting_max) {
    outbox_->waiting.fetch_sub(1);
    ++outbox_->dropped;
    return;
  }
  boost::asio::post(loop_, [outbox = outbox_, batch = MeterBatch{bus_, meter, taken_at, std::move(reply)}]() mutable {
    outbox->waiting.fetch_sub(1);
    outbox->on_batch(std::move(batch));
  });
}

void BusThread::publish(const drivers::Bus& bus, const Schedule& schedule) {
  const std::lock_guard lock(mutex_);
  health_.counters = bus.counters();
  health_.overruns = schedule.overruns();
  bool is_silent = !spec_.meters.empty();
  for (std::size_t i = 0; i < spec_.meters.size(); ++i) {
    health_.meter_is_silent[i] = schedule.is_silent(i);
    is_silent = is_silent && schedule.is_silent(i);
  }
  health_.is_silent = is_silent;
}

}  // namespace steadyglow::acquire
