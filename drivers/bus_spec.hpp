#pragma once
/// A bus as the configuration describes it: what hangs on it, and how to make it. No driver's own words in here.
#include <chrono>
#include <functional>
#include <memory>
#include <string>
#include <vector>

#include "core/result.hpp"
#include "core/uom.hpp"
#include "document/table.hpp"
#include "drivers/driver.hpp"

namespace steadyglow::drivers {

/// One thing that a meter measures; its values come in this uom.
struct ChannelInfo {
  std::string name;
  Quantity quantity = Quantity::voltage;
  std::string uom;  ///< UCUM symbol
};

struct MeterInfo {
  std::string name;
  std::string instrument;
  std::vector<ChannelInfo> channels;
  std::vector<std::string> outputs;
  std::chrono::milliseconds poll_period{};  ///< in run time
};

struct BusSpec {
  std::string name;
  std::string driver;
  std::string where;  ///< for people: "127.0.0.1:1502" or the device's path
  std::vector<MeterInfo> meters;
  std::function<std::unique_ptr<Bus>()> make;  ///< opens nothing yet; call it on the thread that will own the bus
};

/// The text of an instrument file, and the name that its mistakes carry.
struct InstrumentText {
  std::string file;
  std::string text;
};

/// What a driver's folder gives to the registry: it reads the keys of a [[bus]] that are the driver's own.
/// Mistakes go to the tables' list of errors, those of an instrument file to `errors`; reading goes on after each.
class BusReader {
 public:
  virtual ~BusReader() = default;
  BusReader() = default;
  BusReader(const BusReader&) = delete;
  BusReader& operator=(const BusReader&) = delete;

  /// Adds one meter; fills in its channels and outputs. `instrument` is null if there is no such file (already reported).
  virtual void read_meter(document::Table& meter, const InstrumentText* instrument, MeterInfo& info, Errors& errors) = 0;
  virtual std::string where() const = 0;
  virtual std::function<std::unique_ptr<Bus>()> maker() const = 0;
};

}  // namespace steadyglow::drivers
