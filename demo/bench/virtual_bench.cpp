#include "demo/bench/virtual_bench.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <utility>

namespace steadyglow::demo {
namespace {

double seconds_of(VirtualBench::Time time) { return static_cast<double>(time.count()) / 1000.0; }

/// Dry winter air, warmer is drier: for the look of it.
double humidity(double room_celsius) { return std::clamp(46.0 - 1.2 * (room_celsius - 20.0), 20.0, 80.0); }

}  // namespace

VirtualBench::VirtualBench(Night night) : night_(std::move(night)), surroundings_(night_), weather_(surroundings_.at(0.0)) {
  for (const Model model : night_.units) {
    Place place;
    place.model = model;
    place.unit = make_unit(model, weather_.room_celsius);
    for (const ScriptedFault& fault : night_.faults) {
      if (fault.unit != model) continue;
      place.unit->apply(fault);
      if (fault.kind == FaultKind::welded_relay) place.welds_at = fault.at;
    }
    places_.push_back(std::move(place));
  }
}

void VirtualBench::advance(Time to) {
  if (to <= now_) return;
  now_ = to;
  while (true) {
    const Time next = (stepped_to_ / grid + 1) * grid;
    if (next > now_) return;
    step_to(next);
  }
}

void VirtualBench::step_to(Time to) {
  if (to <= stepped_to_) return;
  const double dt = seconds_of(to - stepped_to_);
  const double seconds = seconds_of(to);
  stepped_to_ = to;
  const bool was_dark = is_dark();
  weather_ = surroundings_.at(seconds);
  if (is_dark() != was_dark) {
    say(seconds, is_dark() ? "the mains of the bench are gone" : "the mains of the bench are back; every contact is open");
    coils_.fill(false);
  }
  for (Place& place : places_) {
    move_contact(place, seconds);
    place.unit->step(dt, seconds, {place.is_closed ? weather_.mains_volts : 0.0, weather_.room_celsius, night_.mains.nominal_volts});
    place.kilowatt_hours += place.unit->watts() * dt / 3.6e6;
    judge(place, dt, seconds);
  }
}

void VirtualBench::set_coil(std::size_t relay, bool on) {
  if (coils_[relay] == on) return;
  step_to(now_);
  coils_[relay] = on;
  const double seconds = seconds_of(now_);
  const std::string name = relay == contactor_coil ? "contactor" : relay == watchdog_coil ? "watchdog" : fmt::format("relay {}", relay + 1);
  say(seconds, fmt::format("{}: coil {}", name, on ? "on" : "off"));
  for (Place& place : places_) move_contact(place, seconds);
}

void VirtualBench::move_contact(Place& place, double seconds) {
  const bool was_closed = place.is_closed;
  // A contact can only weld while current flows through it; the contactor in front of it breaks all the same.
  place.is_welded = place.is_welded || (place.welds_at && seconds >= *place.welds_at && was_closed);
  const bool is_fed = !is_dark() && (!night_.wiring.has_contactor || coils_[contactor_coil]);
  place.is_closed = is_fed && (coils_[relay_of(place.model)] || place.is_welded);
  if (was_closed == place.is_closed) return;
  if (place.is_closed) return say(seconds, fmt::format("{} has power", to_word(place.model)));
  place.unit->lose_power();
  place.lost_power_at = seconds;
  say(seconds, fmt::format("{} lost its power", to_word(place.model)));
}

void VirtualBench::judge(Place& place, double dt, double seconds) {
  const Stress stress = place.unit->stress();
  if (stress.percent > place.worst_percent) {
    place.worst_percent = stress.percent;
    place.worst_what = stress.what;
    place.worst_at = seconds;
  }
  place.beyond = stress.percent > stress.damage_percent ? place.beyond + dt : 0.0;
  place.longest_beyond = std::max(place.longest_beyond, place.beyond);
  if (place.damaged_at || place.beyond < stress.damage_seconds) return;
  place.damaged_at = seconds;
  say(seconds, fmt::format("{} is DAMAGED: {} beyond {:.0f} % for {:.0f} s", to_word(place.model), stress.what, stress.damage_percent, stress.damage_seconds));
}

void VirtualBench::say(double seconds, const std::string& text) { news_.push_back(time_of_day(night_, seconds) + "  " + text); }

std::vector<std::string> VirtualBench::take_news() { return std::exchange(news_, {}); }

const VirtualBench::Place* VirtualBench::find(Model model) const {
  for (const Place& place : places_)
    if (place.model == model) return &place;
  return nullptr;
}

double VirtualBench::amperes(const Place& place) const {
  return place.is_closed ? place.unit->watts() / (weather_.mains_volts * place.unit->power_factor()) : 0.0;
}

std::vector<std::optional<double>> VirtualBench::inputs_of(const Device& device) const {
  if (device.kind == DeviceKind::relay_8ch) {
    const bool is_smoke = night_.wiring.smoke_at && static_cast<double>(now_.count()) / 1000.0 >= *night_.wiring.smoke_at;
    return {is_smoke ? 1.0 : 0.0};
  }
  if (device.kind == DeviceKind::ambient_sensor) return {weather_.room_celsius, humidity(weather_.room_celsius)};
  if (device.kind == DeviceKind::energy_meter) {
    const Place* place = find(*device.model);
    if (place == nullptr) return {weather_.mains_volts, 0.0, 0.0, weather_.mains_hertz, 0.0};
    return {weather_.mains_volts, amperes(*place), place->unit->watts(), weather_.mains_hertz, place->kilowatt_hours};
  }
  std::vector<std::optional<double>> inputs(channels_per_device);
  for (const Place& place : places_) {
    const std::vector<Signal> signals = place.unit->signals();
    for (const Connection& connection : connections()) {
      if (connection.unit_id != device.unit_id || connection.model != place.model) continue;
      for (const Signal& signal : signals)
        if (signal.name == connection.signal) inputs[connection.channel] = signal.value * connection.gain;
    }
  }
  return inputs;
}

Registers VirtualBench::read(const Device& device) const {
  return measure(device, inputs_of(device), night_.seed, static_cast<std::uint64_t>(now_ / grid));
}

std::vector<UnitTruth> VirtualBench::truth() const {
  std::vector<UnitTruth> all;
  for (const Place& place : places_) {
    UnitTruth truth;
    truth.model = place.model;
    truth.is_coil_on = coils_[relay_of(place.model)];
    truth.is_powered = place.is_closed;
    truth.mains_volts = weather_.mains_volts;
    truth.amperes = amperes(place);
    truth.watts = place.unit->watts();
    truth.kilowatt_hours = place.kilowatt_hours;
    truth.stress = place.unit->stress();
    truth.worst_percent = place.worst_percent;
    truth.worst_what = place.worst_what;
    truth.worst_at = place.worst_at;
    truth.seconds_beyond = place.longest_beyond;
    truth.damaged_at = place.damaged_at;
    truth.lost_power_at = place.lost_power_at;
    truth.signals = place.unit->signals();
    all.push_back(std::move(truth));
  }
  return all;
}

}  // namespace steadyglow::demo
