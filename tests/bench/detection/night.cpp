#include "bench/detection/night.hpp"

#include <algorithm>
#include <array>
#include <iterator>
#include <numeric>
#include <stdexcept>

#include "bench/detection/profile_text.hpp"
#include "profile/profile_toml.hpp"

namespace steadyglow::detection {
namespace {

constexpr double hour = 3600.0;
constexpr double physics_step_seconds = 5.0;
/// What is recorded after the damage: smoke needs no detector.
constexpr double after_damage_seconds = 900.0;
constexpr std::string_view meter_prefix = "meter: ";

struct MeterFaultWord {
  MeterFault fault;
  std::string_view word;
};
constexpr std::array meter_faults{
    MeterFaultWord{MeterFault::clip_fallen, "clip falls"}, MeterFaultWord{MeterFault::sensor_off, "sensor comes off"},
    MeterFaultWord{MeterFault::open_sensor, "thermocouple opens"}, MeterFaultWord{MeterFault::stuck, "reading sticks"},
    MeterFaultWord{MeterFault::swapped, "leads exchanged"}, MeterFaultWord{MeterFault::dead, "dead"},
    MeterFaultWord{MeterFault::noisy, "grows noisy"}};

double draw_period(Dice& dice) {
  const double luck = dice.uniform();
  return luck < 0.04 ? 1.0 : luck < 0.08 ? 2.0 : luck < 0.42 ? 5.0 : luck < 0.80 ? 10.0 : luck < 0.92 ? 30.0 : 60.0;
}

Music music_of(const std::string& drive, Dice& dice) {
  if (drive != "programme") return Music::none;
  return dice.chance(0.8) ? Music::with_pauses : Music::restless;
}

struct Victim {
  std::size_t probe;
  std::size_t other;  ///< for leads that are exchanged
};

bool can_fail(const Probe& probe, MeterFault fault) {
  // A counter without a tone and a level in a pause have no reading of their own to lose.
  if (probe.role == "speed" || probe.role == "level") return false;
  switch (fault) {
    case MeterFault::clip_fallen: return probe.meter.has_clip && probe.role != "offset";  // an offset without its clip is a perfect offset
    case MeterFault::sensor_off:
    case MeterFault::open_sensor: return probe.is_temperature() && probe.role != "ambient";
    // What stands still on its display by nature cannot be seen to stick.
    case MeterFault::stuck: return probe.meter.sigma + probe.meter.sigma_ratio * std::fabs(probe.nominal.value_or(0.0)) >= 0.3 * probe.meter.resolution;
    // The energy meter at the inlet has plugs of its own.
    case MeterFault::swapped: return !probe.role.starts_with("mains_");
    default: return true;
  }
}

std::vector<Victim> victims_of(const Unit& unit, MeterFault fault) {
  std::vector<Victim> victims;
  const auto& probes = unit.probes;
  for (std::size_t i = 0; i < probes.size(); ++i) {
    if (!can_fail(probes[i], fault)) continue;
    if (fault != MeterFault::swapped) {
      victims.push_back({i, i});
      continue;
    }
    // Two leads of one kind of meter whose figures can be told apart.
    for (std::size_t j = i + 1; j < probes.size(); ++j)
      if (can_fail(probes[j], fault) && probes[i].uom == probes[j].uom && probes[i].role != probes[j].role && probes[i].role != "offset" && probes[j].role != "offset") victims.push_back({i, j});
  }
  return victims;
}

std::vector<std::string> kinds_of(MeterFault fault) {
  switch (fault) {
    case MeterFault::clip_fallen:
    case MeterFault::noisy: return {"sensor", "intermittent"};
    case MeterFault::open_sensor:
    case MeterFault::dead: return {"sensor", "no_data"};
    case MeterFault::swapped: return {"sensor", "step"};
    default: return {"sensor"};
  }
}

}  // namespace

std::vector<std::string> faults_of(const std::string& unit, std::uint64_t seed) {
  std::vector<std::string> names;
  const auto one = make_unit(unit, seed);
  for (const Fault& fault : one->faults) names.push_back(fault.name);
  for (const MeterFaultWord& word : meter_faults)
    if (!victims_of(*one, word.fault).empty()) names.push_back(std::string(meter_prefix) + std::string(word.word));
  return names;
}

Night::Night(const Order& order) : dice_(order.seed * 7919 + 17) {
  truth_.unit = order.unit;
  truth_.fault = order.fault;
  truth_.seed = order.seed;
  truth_.hours = dice_.uniform(24.0, 48.0);
  truth_.period_seconds = draw_period(dice_);
  end_ = truth_.hours * hour;
  unit_ = make_unit(order.unit, order.seed);
  twin_ = make_unit(order.unit, order.seed);
  surroundings_ = std::make_unique<Surroundings>(dice_.split(), truth_.hours, music_of(unit_->drive, dice_));
  const auto is_protective = [](const Probe& probe) { return probe.trip_low || probe.trip_high; };
  const auto protections = std::count_if(unit_->probes.begin(), unit_->probes.end(), is_protective);
  for (const Probe& probe : unit_->probes) meters_.emplace_back(dice_.split(), probe, truth_.hours, truth_.period_seconds, protections == 1 && is_protective(probe));
  order_.resize(meters_.size());
  std::iota(order_.begin(), order_.end(), std::size_t{0});
  has_turns_ = order.has_turns;
  if (has_turns_) Dice(order.seed * 104729 + 3).shuffle(order_);
  profile_text_ = detection::profile_text(*unit_);
  Errors errors;
  auto profile = profile::parse_profile(profile_text_, order.unit, errors);
  if (!profile) throw std::runtime_error(errors.front().text() + "\n" + profile_text_);
  profile_ = std::move(*profile);
  for (int i = dice_.between(0, 2); i > 0; --i) {
    const double from = dice_.uniform(0.0, end_);
    bus_gaps_.push_back({from, from + dice_.spread(5.0, 50.0), 0.0});
  }
  if (order.fault.empty()) return;
  // Some faults were there from the start, most come when everybody has gone home.
  const double settled = warm_up_seconds() + 0.75 * hour;
  truth_.onset = dice_.chance(0.12) ? warm_up_seconds() * dice_.uniform(0.2, 1.0) : dice_.uniform(settled, std::max(settled + hour, 0.62 * end_));
  if (order.fault.starts_with(meter_prefix)) draw_meter_fault(order.fault.substr(meter_prefix.size()));
  // A unit has two rails and two channels: one of those that fail in this way.
  std::vector<Fault> ways;
  std::copy_if(unit_->faults.begin(), unit_->faults.end(), std::back_inserter(ways), [&](const Fault& fault) { return fault.name == order.fault; });
  if (!ways.empty()) draw_course(ways[dice_.below(ways.size())]);
  if (truth_.points.empty()) throw std::out_of_range(order.unit + " knows no fault " + order.fault);
}

void Night::draw_course(const Fault& fault) {
  fault_ = fault;
  truth_.kinds = fault.kinds;
  for (const std::string& name : fault.points)
    if (const auto id = profile_.find(name)) truth_.points.push_back(*id);
  knob_start_ = unit_->knob(fault.knob);
  // A third stays small, a quarter goes to the bitter end, the rest is somewhere between.
  const double luck = dice_.uniform();
  const double largest = std::max(0.13, fault.effect_max);
  double effect = dice_.spread(std::max(0.12, fault.effect_min), largest);
  if (luck < 0.35 && fault.effect_min < 0.09) effect = dice_.uniform(std::max(0.04, fault.effect_min), 0.09);
  const bool is_bitter = luck > 0.75;
  if (is_bitter) effect = largest;
  final_amount_ = fault.per_tenth * (fault.shape == Shape::ramp || fault.shape == Shape::growing ? effect / 0.1 : 1.0);
  // From three tenths of a percent per hour to minutes; slow ones must still come to something before the morning.
  const double per_hour = is_bitter ? dice_.spread(0.05, 8.0) : dice_.spread(0.003, 3.0);
  ramp_seconds_ = std::clamp(effect / per_hour * hour, 120.0, std::max(600.0, (end_ - truth_.onset) * (is_bitter ? 0.6 : 0.85)));
  if (fault.shape == Shape::jumping) {
    for (double at = truth_.onset; at < end_;) {
      const double until = at + dice_.spread(300.0, 7200.0);
      const double share = spans_.empty() ? dice_.uniform(0.6, 1.0) : dice_.uniform(-0.4, 1.0);
      spans_.push_back({at, until, share});
      at = until;
    }
  }
  if (fault.shape != Shape::bursts) return;
  // A joint that fails comes back at once, and fails again sooner.
  double pause = dice_.spread(600.0, 5400.0);
  for (double at = truth_.onset; at < end_; at += pause * dice_.uniform(0.5, 1.5)) {
    for (int i = dice_.between(1, 4); i > 0 && at < end_; --i) {
      const double lasts = truth_.period_seconds * dice_.spread(0.8, 2.5);
      spans_.push_back({at, at + lasts, 1.0});
      at += lasts + truth_.period_seconds * dice_.uniform(1.0, 4.0);
    }
    pause = std::max(240.0, pause * 0.92);
  }
}

void Night::draw_meter_fault(const std::string& name) {
  for (const MeterFaultWord& word : meter_faults)
    if (word.word == name) meter_fault_ = word.fault;
  const auto victims = victims_of(*unit_, meter_fault_);
  if (victims.empty()) return;
  const Victim victim = victims[dice_.below(victims.size())];
  truth_.size = Size::meter;
  truth_.kinds = kinds_of(meter_fault_);
  truth_.points.push_back(PointId{static_cast<std::uint16_t>(victim.probe)});
  if (meter_fault_ == MeterFault::swapped) {
    truth_.points.push_back(PointId{static_cast<std::uint16_t>(victim.other)});
    swap_with_ = victim.other;
    // Exchanged by a hand, with everything warm enough to differ.
    truth_.onset = std::max(truth_.onset, warm_up_seconds() + 1.5 * hour);
  }
  truth_.seen_at = truth_.onset;
  meters_[victim.probe].fail(meter_fault_, truth_.onset);
}

double Night::amount(double seconds) const {
  if (!fault_ || seconds < truth_.onset) return 0.0;
  const double share = std::min(1.0, (seconds - truth_.onset) / ramp_seconds_);
  switch (fault_->shape) {
    case Shape::ramp: return final_amount_ * share;
    case Shape::growing: return final_amount_ * std::expm1(3.0 * share) / std::expm1(3.0);
    case Shape::step: return final_amount_;
    case Shape::jumping:
    case Shape::bursts:
      for (const Span& span : spans_)
        if (seconds >= span.from && seconds < span.until) return final_amount_ * span.share;
      return 0.0;
  }
  return 0.0;
}

void Night::move_on(double seconds) {
  while (seconds_ < seconds) {
    const double dt = std::min(physics_step_seconds, seconds - seconds_);
    seconds_ += dt;
    const Moment& moment = surroundings_->step(dt);
    if (fault_) {
      unit_->knob(fault_->knob) = knob_start_ + amount(seconds_);
      twin_->step(dt, moment);
    }
    unit_->step(dt, moment);
    if (!truth_.damage_at && unit_->is_damaged(dt)) {
      truth_.damage_at = seconds_;
      end_ = std::min(end_, seconds_ + after_damage_seconds);
      if (!fault_ || seconds_ < truth_.onset) throw std::logic_error(truth_.unit + " dies without a fault, seed " + std::to_string(truth_.seed));
    }
  }
}

void Night::compare(double seconds) {
  if (!fault_ || seconds < truth_.onset) return;
  for (const PointId id : truth_.points) {
    const Probe& probe = unit_->probes[id.index];
    const double is = probe.value(), was = twin_->probes[id.index].value();
    if (std::isnan(is) || std::isnan(was)) continue;
    const double nominal = std::fabs(probe.nominal.value_or(was));
    double scale = std::max(std::fabs(was), 0.2 * nominal);
    if (probe.against == Against::rise) scale = std::max(3.0, was - unit_->seen.room);
    if (probe.against == Against::fixed) scale = probe.fixed_scale;
    const double effect = std::fabs(is - was) / std::max(scale, 1e-9);
    truth_.effect = std::max(truth_.effect, effect);
    if (effect >= small_effect && !seen_small_) seen_small_ = seconds;
    if (effect >= large_effect && !seen_large_) seen_large_ = seconds;
  }
}

Night::Row Night::measure(double seconds, std::span<const std::size_t> points) {
  Row row;
  const double jitter = truth_.period_seconds * 0.08 * dice_.uniform(-1.0, 1.0);
  row.at = at_ms(std::llround(std::max(0.0, seconds + jitter) * 1000.0));
  bool is_bus_silent = dice_.uniform() < 0.0003;
  for (const Span& gap : bus_gaps_) is_bus_silent |= seconds >= gap.from && seconds < gap.until;
  const bool is_swapped = meter_fault_ == MeterFault::swapped && seconds >= truth_.onset;
  for (const std::size_t i : points) {
    std::size_t source = i;
    if (is_swapped && i == truth_.points.front().index) source = swap_with_;
    else if (is_swapped && i == swap_with_) source = truth_.points.front().index;
    const auto shown = meters_[i].show(seconds, unit_->probes[source].value(), unit_->seen.room, is_bus_silent);
    if (!shown) continue;
    const PointId id{static_cast<std::uint16_t>(i)};
    row.readings.push_back(shown->quality == Quality::good ? Reading::good(id, row.at, shown->value) : Reading::bad(id, row.at, shown->quality));
  }
  return row;
}

/// The rows of one round of the bus. Their jitter is that of a row: less than the distance of two turns does not matter.
void Night::measure_in_turns() {
  for (std::size_t turn = 0; turn < order_.size(); ++turn) {
    const double seconds = poll_ + truth_.period_seconds * static_cast<double>(turn) / static_cast<double>(order_.size());
    move_on(seconds);
    compare(seconds);
    turns_.push_back(measure(seconds, std::span(order_).subspan(turn, 1)));
  }
  std::stable_sort(turns_.begin(), turns_.end(), [](const Row& a, const Row& b) { return a.at < b.at; });
  poll_ += truth_.period_seconds;
}

bool Night::next(Timestamp& at, std::vector<Reading>& readings) {
  const auto give = [&](Row row) {
    at = row.at;
    readings = std::move(row.readings);
    return true;
  };
  if (late_row_) {
    Row row = std::move(*late_row_);
    late_row_.reset();
    return give(std::move(row));
  }
  if (has_turns_ && turns_.empty() && poll_ <= end_) measure_in_turns();
  if (!turns_.empty()) {
    Row row = std::move(turns_.front());
    turns_.pop_front();
    return give(std::move(row));
  }
  if (poll_ > end_) return false;
  move_on(poll_);
  compare(poll_);
  Row row = measure(poll_, order_);
  poll_ += truth_.period_seconds;
  const double luck = dice_.uniform();
  if (luck < 0.0002) {
    late_row_ = row;  // comes twice
  } else if (luck < 0.0004 && poll_ <= end_) {
    move_on(poll_);
    compare(poll_);
    Row first = measure(poll_, order_);
    poll_ += truth_.period_seconds;
    late_row_ = std::move(row);  // is overtaken
    return give(std::move(first));
  }
  return give(std::move(row));
}

const Truth& Night::truth() {
  truth_.hours = std::min(end_, poll_) / hour;
  if (!fault_) return truth_;
  truth_.size = seen_large_ ? Size::large : seen_small_ ? Size::small : Size::tiny;
  truth_.seen_at = seen_large_ ? seen_large_ : seen_small_;
  return truth_;
}

}  // namespace steadyglow::detection
