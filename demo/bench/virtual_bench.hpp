#pragma once
/// The bench as a value machine: time and relay orders go in, readings and the truth come out. It sees no clock and no wire.
#include <array>
#include <chrono>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "demo/bench/meters.hpp"
#include "demo/bench/night.hpp"
#include "demo/bench/surroundings.hpp"
#include "demo/bench/unit.hpp"

namespace steadyglow::demo {

/// What really is, for the state file and the tests; a meter knows less.
struct UnitTruth {
  Model model = Model::brindlecombe35;
  bool is_coil_on = false;
  bool is_powered = false;
  double mains_volts = 0.0;  ///< before the relay
  double amperes = 0.0;
  double watts = 0.0;
  double kilowatt_hours = 0.0;
  Stress stress;
  double worst_percent = 0.0;
  std::string worst_what;
  double worst_at = 0.0;               ///< s of bench time
  double seconds_beyond = 0.0;         ///< the longest stretch beyond the damage threshold
  std::optional<double> damaged_at;    ///< s of bench time
  std::optional<double> lost_power_at; ///< when it last lost its power
  std::vector<Signal> signals;
};

/// Steps on a fixed grid of bench time, and between two of its points only where a relay is switched: what is read, and
/// how often, changes nothing. The same night and the same orders at the same times give the same readings, bit for bit.
class VirtualBench {
 public:
  using Time = std::chrono::milliseconds;  ///< bench time
  static constexpr Time grid{500};

  explicit VirtualBench(Night night);

  void advance(Time to);
  Time now() const { return now_; }
  bool coil(std::size_t relay) const { return coils_[relay]; }
  /// The mains of the whole bench are gone: no meter answers.
  bool is_dark() const { return weather_.mains_volts <= 0.0; }
  void set_coil(std::size_t relay, bool on);

  Registers read(const Device& device) const;
  const Night& night() const { return night_; }
  Weather weather() const { return weather_; }
  std::vector<UnitTruth> truth() const;
  /// What happened since the last call, in words with the time of day.
  std::vector<std::string> take_news();

 private:
  struct Place {
    Model model;
    std::unique_ptr<Unit> unit;
    bool is_closed = false;  ///< it has power
    bool is_welded = false;
    std::optional<double> welds_at;
    double kilowatt_hours = 0.0;
    double worst_percent = 0.0;
    std::string worst_what;
    double worst_at = 0.0;
    double beyond = 0.0;
    double longest_beyond = 0.0;
    std::optional<double> damaged_at;
    std::optional<double> lost_power_at;
  };

  void step_to(Time to);
  void judge(Place& place, double dt, double seconds);
  void move_contact(Place& place, double seconds);
  void say(double seconds, const std::string& text);
  const Place* find(Model model) const;
  std::vector<std::optional<double>> inputs_of(const Device& device) const;
  double amperes(const Place& place) const;

  Night night_;
  Surroundings surroundings_;
  Weather weather_;
  std::vector<Place> places_;
  std::array<bool, coils_in_all> coils_{};  ///< relays power up open
  Time now_{0};
  Time stepped_to_{0};
  std::vector<std::string> news_;
};

}  // namespace steadyglow::demo
