#pragma once
/// Who answers where a meter is expected: another device than the bound one is a fault of the bench with both names, told once.
#include <optional>
#include <string>
#include <vector>

#include "acquire/bus_thread.hpp"
#include "app/bench_alarms.hpp"
#include "drivers/bus_spec.hpp"

namespace steadyglow::app {

inline constexpr std::string_view stranger_alarm = "other_meter";

class MeterWatch {
 public:
  explicit MeterWatch(const std::vector<drivers::BusSpec>& buses);

  /// Raises and clears `other_meter` alarms as the replies of a meter say. A meter that does not answer changes nothing.
  void take(const acquire::MeterBatch& batch, BenchAlarms& alarms, Timestamp now);
  /// What the device last called itself; empty when it was not asked or cannot tell.
  std::string identity(const std::string& meter) const;

 private:
  struct Meter {
    std::string name;
    std::string bound;
    std::string bus;
    std::string identity;
    std::optional<bool> is_stranger;  ///< empty: it has not answered yet
  };
  std::vector<std::vector<Meter>> meters_;
};

}  // namespace steadyglow::app
