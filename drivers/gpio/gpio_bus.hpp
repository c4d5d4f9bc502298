#pragma once
/// Contacts and relays on the lines of one GPIO chip, through the kernel's character device.
#include <chrono>
#include <memory>
#include <string>
#include <vector>

#include "drivers/driver.hpp"
#include "drivers/gpio/instrument.hpp"

struct gpiod_chip;
struct gpiod_line;

namespace steadyglow::drivers::gpio {

struct MeterSetup {
  std::string name;
  Instrument instrument;
};

/// A chip on a USB or I2C line takes milliseconds; the kernel bounds what it waits for.
inline constexpr std::chrono::milliseconds call_deadline_of_chip{1000};

/// The chip is found by its label: its number is the order in which the kernel found it. Every output is taken as off with the first call,
/// whichever it is, and is switched off before it is given back: so a probe opens relays that a killed daemon left closed. A process that is killed gives its lines back as they stand: what must open then hangs on a
/// watchdog, not on a line alone.
/// Thread: one bus thread. Owns: the chip and its lines. Fails: by quality or Error; never throws.
class GpioBus final : public Bus {
 public:
  GpioBus(std::string label, std::vector<MeterSetup> meters);
  ~GpioBus() override;

  MeterReply read(std::size_t meter) override;
  Result<void> write_output(std::size_t meter, std::size_t output, bool on) override;
  Result<bool> read_output(std::size_t meter, std::size_t output) override;
  BusCounters counters() const override { return counters_; }
  std::chrono::milliseconds call_deadline() const override { return call_deadline_of_chip; }

 private:
  struct Wire {
    Line line;
    bool is_output = false;
    gpiod_line* held = nullptr;  ///< belongs to the chip; null until the kernel gave it to us
  };
  struct Meter {
    std::string name;
    std::vector<Wire> inputs;
    std::vector<Wire> outputs;
  };
  struct CloseChip {
    void operator()(gpiod_chip* chip) const;
  };
  using Chip = std::unique_ptr<gpiod_chip, CloseChip>;

  bool bring_up();
  Chip find();
  bool hold(Wire& wire);
  int level(Wire& wire);
  void close_down();
  void lose();
  template <class Do>
  void each_wire(Do&& todo);

  const std::string label_;
  std::vector<Meter> meters_;
  Chip chip_;
  bool was_up_ = false;
  std::string trouble_;
  BusCounters counters_;
};

}  // namespace steadyglow::drivers::gpio
