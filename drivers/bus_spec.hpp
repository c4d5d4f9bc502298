#pragma once
/// A bus as the configuration describes it: what hangs on it, and how to make it. No driver's own words in here.
#include <chrono>
#include <functional>
#include <limits>
#include <memory>
#include <optional>
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
  double plausible_low = -std::numeric_limits<double>::infinity();  ///< in the uom: all that the channel can say lies between
  double plausible_high = std::numeric_limits<double>::infinity();
};

/// What its maker says of a reading y, in the channels' uom: |error| <= percent_of_reading/100 |y| + counts resolution +
/// percent_of_range/100 range + fixed.
struct MeterAccuracy {
  double percent_of_reading = 0.0;
  double counts = 0.0;
  double resolution = 0.0;
  double percent_of_range = 0.0;
  double range = 0.0;
  double fixed = 0.0;
};

/// What stands on a meter and in its folder, for the record; a text may be empty.
struct MeterPapers {
  std::string serial;
  std::string identification;   ///< as it names itself
  std::string calibrated;       ///< RFC 3339 full-date
  std::string calibration_due;  ///< RFC 3339 full-date
  std::optional<MeterAccuracy> accuracy;
};

struct MeterInfo {
  std::string name;
  std::string instrument;
  std::vector<ChannelInfo> channels;
  std::vector<std::string> outputs;
  std::chrono::milliseconds poll_period{};  ///< in run time
  std::string identity{};                     ///< what the device must call itself; empty: whoever answers is taken
  std::string at{};                           ///< for people, where one wire has several: "address 11"
  MeterPapers papers{};
};

struct BusSpec {
  std::string name;
  std::string driver;
  std::string where;  ///< for people: "127.0.0.1:1502" or the device's path
  std::vector<MeterInfo> meters;
  /// Why an outlet here is never a unit's only cut: more than a wire stands between the order and the contact. Empty: it may be.
  std::string cut_doubt;
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

  /// Adds one meter; fills in its channels and outputs. `info` has name, instrument and identity already: a driver that cannot
  /// ask who answers notes a mistake at `identity` when there is one. `instrument` is null if there is no such file (already reported).
  virtual void read_meter(document::Table& meter, const InstrumentText* instrument, MeterInfo& info, Errors& errors) = 0;
  virtual std::string where() const = 0;
  virtual std::string cut_doubt() const { return {}; }
  virtual std::function<std::unique_ptr<Bus>()> maker() const = 0;
};

}  // namespace steadyglow::drivers
