#include "analysis/stream.hpp"

#include <algorithm>
#include <bit>
#include <cmath>

#include "analysis/statistics.hpp"

namespace steadyglow::analysis {
namespace {

constexpr std::array<double, 3> settle_minutes_electrical{12.0, 40.0, 180.0};
constexpr std::array<double, 3> settle_minutes_heavy{30.0, 90.0, 240.0};
/// How sure the ramp test must be. Its noise is estimated, its model is not the unit: six where theory would do with four.
constexpr double z_slow = 6.0;
constexpr double z_strong = 9.0;
constexpr double margins_strong = 2.0;
constexpr int slow_votes_needed = 2;
/// Of the last three minutes with a figure, so many must say it.
constexpr int quick_votes_needed = 2;
constexpr unsigned quick_votes_mask = 0b111;
/// A quick movement must exceed so many times what the meter can show.
constexpr double quick_visible = 1.4;
/// What is not seen wanders, too: by this share of what is allowed for it.
constexpr double unseen_wander = 0.3;
/// A movement of minutes must exceed this many of its usual ones.
constexpr double habits_quick = 6.0;
constexpr double doubts_quick = 3.0;
/// Blocks that a stream needs before anything is said of its course.
constexpr std::size_t blocks_min = 5;
constexpr std::size_t blocks_min_sparse = 15;
/// What is not measured is allowed for: mains wander by about this (ln), a room by this (K).
constexpr double unseen_mains = 0.054;
/// Nor the watts: so much of its rise a part may gain from the mains.
constexpr double unseen_heat = 0.08;
constexpr double unseen_room = 8.0;
constexpr double unseen_room_quick = 3.5;
/// Of a rise over the room: less is within what the weather of a bench does.
constexpr double margin_of_rise = 0.035;
constexpr std::int64_t back_minutes = 30;
/// A heavy part's usual time constant: how fast its temperature follows a change of air or contact.
constexpr double heavy_minutes = 35.0;
constexpr std::int64_t rise_learned_minutes = 120;
constexpr double rise_least = 5.0;
/// A minute that is so far off the others of its block is left out.
constexpr double spreads_wild = 8.0;
constexpr double margins_wild = 2.0;
constexpr std::size_t sparse_least = 3;
/// A temperature without the watts that heat it has to be known first.
constexpr std::int64_t silent_minutes_without_watts = 180;
constexpr std::int64_t cold_minutes = 10;
constexpr std::int64_t cold_minutes_quick = 25;
/// How fast the doubt about a unit that is still warming passes.
constexpr double early_minutes = 15.0;

double median_of(std::array<double, 64>& values, std::size_t count) { return median_in_place(std::span<double>(values.data(), count)); }

}  // namespace

void Habit::learn(double moved) {
  const double oldest = waiting_[next_];
  waiting_[next_] = static_cast<float>(moved);
  next_ = (next_ + 1) % late_minutes;
  if (filled_ < late_minutes) {
    ++filled_;
    return;
  }
  constexpr double clip = 4.0;
  const double clipped = std::min(std::fabs(oldest), clip * sd());
  square_ += (clipped * clipped - square_) / weight_;
  weight_ = std::min(weight_ + 1.0, memory_minutes);
}

double Habit::sd() const { return std::sqrt(square_); }

Stream::Stream(const Traits& traits, bool is_difference)
    : traits_(traits),
      is_difference_(is_difference),
      noise_(traits.noise),
      habits_{Habit(traits.margin_quick / 8.0), Habit(traits.margin_quick / 8.0), Habit(traits.margin_quick / 8.0), Habit(traits.margin_quick / 7.0)} {}

void Stream::begin(std::int64_t minute) {
  begun_ = minute;
  blocks_.clear();
  minutes_ = {};
  fit_.reset();
  quick_votes_ = {};
  moves_ = {};
  slow_votes_ = 0;
  state_ = {};
  minutes_back_ = 0;
}

void Stream::add(std::int64_t minute, double y, std::uint32_t readings) { minutes_[static_cast<std::size_t>(minute) % minutes_kept] = {minute, y, readings}; }

std::size_t Stream::columns(const ClimateNow& climate, double age_minutes, std::array<double, course_columns_max>& x) const {
  const auto& room = climate.room_lag;
  const auto& power = climate.power_lag;
  const double room_mean = (room[0] + room[1] + room[2]) / 3.0;
  if (traits_.scale == Scale::kelvin) {
    const double power_mean = (power[0] + power[1] + power[2]) / 3.0;
    x = {1.0, room_mean, room[0] - room[2], room[1] - room_mean, power_mean, power[0] - power[2], power[1] - power_mean,
         std::exp(-age_minutes / settle_minutes_heavy[0]), std::exp(-age_minutes / settle_minutes_heavy[1]), std::exp(-age_minutes / settle_minutes_heavy[2])};
    return 10;
  }
  x = {1.0, climate.ln_mains, climate.mains_lag[1] - climate.ln_mains, room[1], room[2] - room[0],
       std::exp(-age_minutes / settle_minutes_electrical[0]), std::exp(-age_minutes / settle_minutes_electrical[1]), std::exp(-age_minutes / settle_minutes_electrical[2]),
       power[0], power[1]};
  return 10;
}

void Stream::priors(const Climate& climate, Prior mains_learned, std::vector<Prior>& into) const {
  constexpr double flat = 100.0;
  constexpr double absent = 1e-6;
  const double has_room = climate.has_room() ? 1.0 : absent;
  into.clear();
  if (traits_.scale == Scale::kelvin) {
    const double own = is_difference_ ? 0.15 : 1.0;
    // From cold the lagged power is the warm-up; a unit that was warm already has something to make up for.
    const double settle = has_begun_cold() && climate.has_power() ? 0.3 : 1.0;
    const auto& lag = climate.now().power_lag;
    const double now = std::max(0.05, (lag[0] + lag[1] + lag[2]) / 3.0);
    const double has_power = (climate.has_power() || climate.has_mains() ? 1.0 : absent) / now;
    into = {{0.0, flat},
            {is_difference_ || !climate.has_room() ? 0.0 : 1.0, own * 0.2 * has_room},
            {0.0, own * 0.5 * has_room},
            {0.0, own * 0.5 * has_room},
            {is_difference_ ? 0.0 : rise_ / now, own * (0.4 * rise_ + 3.0) * has_power},
            {0.0, own * (0.5 * rise_ + 2.0) * has_power},
            {0.0, own * (0.5 * rise_ + 2.0) * has_power},
            {0.0, settle * (rise_ + 5.0)},
            {0.0, own * settle * (rise_ + 5.0)},
            {0.0, own * settle * (0.5 * rise_ + 2.0)}};
    return;
  }
  const double power = traits_.power_sd > 0.0 ? traits_.power_sd : absent;
  const double settle = traits_.settle_sd;
  into = {{0.0, flat},
          mains_learned,
          {0.0, 0.4 * traits_.mains.sd},
          {0.0, std::max(absent, traits_.room_sd * has_room)},
          {0.0, std::max(absent, 0.5 * traits_.room_sd * has_room)},
          {0.0, 3.0 * settle},
          {0.0, 1.5 * settle},
          {0.0, settle},
          {0.0, power},
          {0.0, power}};
}

std::size_t Stream::unbroken(std::int64_t minute, const Climate& climate, std::span<double> into) const {
  std::array<double, course_columns_max> x{};
  std::size_t count = 0;
  double newest = 0.0;
  for (std::int64_t m = minute; count < into.size() && m >= begun_ + cold_minutes_quick; --m) {
    const auto& value = minutes_[static_cast<std::size_t>(m) % minutes_kept];
    const ClimateNow* at = climate.minute(m);
    if (value.minute != m || at == nullptr) break;
    const std::size_t n = columns(*at, static_cast<double>(m - begun_) + 0.5, x);
    double r = value.y;
    for (std::size_t i = 0; i < n; ++i) r -= (fit_ ? fit_->coefficients[i] : 0.0) * x[i];
    if (count == 0) newest = value.y - r;
    into[count++] = r + newest;
  }
  std::reverse(into.begin(), into.begin() + static_cast<std::ptrdiff_t>(count));
  return count;
}

double Stream::jump(std::int64_t minute) const {
  const auto& now = minutes_[static_cast<std::size_t>(minute) % minutes_kept];
  for (std::int64_t back = 1; back <= 2; ++back) {
    if (minute < back) break;
    const auto& before = minutes_[static_cast<std::size_t>(minute - back) % minutes_kept];
    if (now.minute == minute && before.minute == minute - back && (back == 2 || minute < 2)) return now.y - before.y;
  }
  return 0.0;
}

std::size_t Stream::horizon_of(double minutes) {
  std::size_t h = 0;
  while (h + 1 < horizons.size() && static_cast<double>(horizons[h]) < minutes) ++h;
  return h;
}

double Stream::move_within(double minutes) const { return moves_[horizon_of(minutes)]; }

double Stream::habit_within(double minutes) const { return habits_[horizon_of(minutes)].sd(); }

bool Stream::has_begun_cold() const {
  constexpr double cold_kelvin = 6.0;
  return is_difference_ || (first_ && !blocks_.empty() && blocks_.front().y > *first_ && blocks_.back().y - *first_ > std::max(cold_kelvin, 0.4 * rise_));
}

/// What the mains and the room may do where nobody measures them.
double Stream::unseen_allowance(const Climate& climate, double room_kelvin) const {
  if (is_difference_) return 0.0;
  double allowance = 0.0;
  if (traits_.scale == Scale::logarithm)
    allowance += climate.unseen_mains() * unseen_mains * (std::fabs(traits_.mains.mean) + 0.5 * traits_.mains.sd);
  else if (traits_.scale == Scale::kelvin && !climate.has_power()) allowance += climate.unseen_mains() * unseen_heat * rise_;
  if (climate.unseen_room() > 0.0) allowance += climate.unseen_room() * room_kelvin * (traits_.scale == Scale::kelvin ? 1.0 : 0.5 * traits_.room_sd);
  return allowance;
}

/// What grows cooler is no hazard, and sun on the room's sensor or a draught on the unit look just like it.
double Stream::cooling_factor(double moved) const {
  constexpr double cooler = 2.0;
  return traits_.scale == Scale::kelvin && !is_difference_ && moved < 0.0 ? cooler : 1.0;
}

std::int64_t Stream::silent_minutes(const Climate& climate) const {
  if (traits_.scale == Scale::kelvin && !climate.has_power()) return std::max(traits_.silent_minutes, silent_minutes_without_watts);
  return traits_.silent_minutes;
}

double Stream::early_doubt(double age_minutes) const {
  const double size = traits_.scale == Scale::kelvin ? 0.5 * rise_ : 4.0 * traits_.settle_sd;
  return size * std::exp(-age_minutes / early_minutes);
}

double Stream::widening(std::int64_t minute) const {
  const double age = static_cast<double>(minute - begun_);
  // Heavy parts are on their way for longer.
  if (traits_.scale == Scale::kelvin) return 1.0 + 3.0 * std::exp(-std::max(0.0, age - 60.0) / 60.0);
  return 1.0 + std::exp(-std::max(0.0, age - 60.0) / 45.0);
}

void Stream::judge(std::int64_t minute, const Climate& climate, Course& course, bool is_judging, Prior mains_learned, double margin_least) {
  const auto& latest = minutes_[static_cast<std::size_t>(minute) % minutes_kept];
  const bool has_value = latest.minute == minute;
  if (has_value && traits_.scale == Scale::kelvin) {
    if (!first_) first_ = latest.y;
    // How hot it runs is learned while it warms up and then stands: a fault must not raise its own expectation.
    if (!is_difference_ && climate.has_room() && minute < begun_ + rise_learned_minutes) rise_ = std::max(rise_least, latest.y - climate.room());
  }
  const bool was_departed = state_.is_departed;
  if ((minute + 1) % block_minutes == 0) judge_block(minute, climate, course, is_judging, mains_learned, margin_least);
  if (has_value) judge_quick(minute, climate, is_judging, margin_least);
  if (was_departed && has_value) follow_departure(minute, climate, margin_least);
}

/// The level of a block: the mean of its minutes without wild ones, as its causes are averaged; nothing while the unit is cold.
std::optional<double> Stream::block_level(std::int64_t index, std::int64_t minute) const {
  std::array<double, 64> values{};
  std::size_t count = 0;
  std::uint32_t most_readings = 0;
  for (std::int64_t m = index * block_minutes; m <= minute; ++m) {
    const auto& value = minutes_[static_cast<std::size_t>(m) % minutes_kept];
    if (value.minute != m) continue;
    values[count++] = value.y;
    most_readings = std::max(most_readings, value.readings);
  }
  // A quiet moment of one reading may be a slip of the meter.
  if (traits_.is_sparse && count < sparse_least && most_readings < sparse_least) return std::nullopt;
  // Cold tubes and empty capacitors: no model of ours holds in the first minutes.
  if (count == 0 || index * block_minutes < begun_ + cold_minutes) return std::nullopt;
  std::array<double, 64> work = values;
  if (traits_.is_sparse && !is_difference_) {
    // What passed for quiet may still hold some programme: it adds to currents and takes from supplies, never the other way.
    std::sort(work.begin(), work.begin() + static_cast<std::ptrdiff_t>(count));
    const std::size_t low = std::max<std::size_t>(count / 4, count > 2 ? 1 : 0);  // the lowest of several may be a slip
    return traits_.is_lifted ? work[low] : work[count - 1 - low];
  }
  const double centre = median_of(work, count);
  for (std::size_t i = 0; i < count; ++i) work[i] = std::fabs(values[i] - centre);
  const double wild = spreads_wild * mad_to_sigma * median_of(work, count) + margins_wild * traits_.margin_quick;
  double sum = 0.0;
  std::size_t kept = 0;
  for (std::size_t i = 0; i < count; ++i) {
    if (std::fabs(values[i] - centre) > wild) continue;
    sum += values[i];
    ++kept;
  }
  return sum / static_cast<double>(kept);
}

/// What it does by itself, as far as it has shown; what was expected of its role counts as some blocks.
void Stream::learn_noise(const CourseFit& fit) {
  constexpr double prior_blocks = 12.0;
  constexpr double white_least = 0.5;  // of what was expected: a calm night is no promise
  constexpr double wander_least = 0.4;
  const double seen_blocks = std::max(0.0, static_cast<double>(blocks_.size()) - prior_blocks);
  const auto blend = [&](double expected, double seen) {
    return std::sqrt((prior_blocks * expected * expected + seen_blocks * seen * seen) / (prior_blocks + seen_blocks));
  };
  const CourseNoise& expected = traits_.noise;
  noise_ = {std::max(white_least * expected.white_sd, blend(expected.white_sd, fit.seen.white_sd)),
            std::max(wander_least * expected.wander_sd, blend(expected.wander_sd, fit.seen.wander_sd))};
  if (traits_.is_sparse) noise_.white_sd = std::max(noise_.white_sd, fit.scatter);
}

void Stream::judge_block(std::int64_t minute, const Climate& climate, Course& course, bool is_judging, Prior mains_learned, double margin_least) {
  const std::int64_t index = minute / block_minutes;
  const auto level = block_level(index, minute);
  if (!level) return;
  if (blocks_.size() == blocks_max) blocks_.pop_front();
  blocks_.push_back({index, static_cast<float>(*level)});
  if (blocks_.size() < (traits_.is_sparse ? blocks_min_sparse : blocks_min)) return;

  std::vector<Prior> prior;
  priors(climate, mains_learned, prior);
  CourseNoise noise = noise_;
  const double unseen = unseen_allowance(climate, unseen_room);
  const double margin = std::max(traits_.margin + (traits_.scale == Scale::kelvin ? margin_of_rise * rise_ : 0.0), margin_least) + unseen;
  noise.wander_sd = std::hypot(noise.wander_sd, unseen_wander * unseen);
  course.begin(prior, noise, traits_.scale == Scale::kelvin ? heavy_minutes : 0.0);
  std::array<double, course_columns_max> x{};
  for (const Block& block : blocks_) {
    // The block that is ending is not closed in the climate yet: its newest minute stands for it.
    const ClimateNow* at = climate.block(block.index);
    if (at == nullptr && block.index != index) continue;
    const double middle = static_cast<double>(block.index * block_minutes - begun_) + 0.5 * static_cast<double>(block_minutes);
    const std::size_t n = columns(at != nullptr ? *at : climate.open_block(), middle, x);
    course.add(block.index, block.y, std::span<const double>(x.data(), n), early_doubt(middle));
  }
  fit_ = course.judge();
  if (!fit_) return;
  learn_noise(*fit_);
  if (!fit_->departure || state_.is_departed) return;
  const Departure& departure = *fit_->departure;
  const double wide = widening(minute);
  const double needed = wide * margin * cooling_factor(departure.moved);
  const bool is_out = std::fabs(departure.moved) > needed && std::fabs(departure.z()) > z_slow;
  const bool is_far = std::fabs(departure.moved) > margins_strong * needed && std::fabs(departure.z()) > z_strong;
  slow_votes_ = is_out ? slow_votes_ + 1 : 0;
  if (!is_judging || minute < begun_ + silent_minutes(climate) || (slow_votes_ < slow_votes_needed && !is_far)) return;
  frozen_ = fit_->beside_departure;
  State state;
  state.is_departed = true;
  state.moved = departure.moved;
  state.moved_sd = departure.moved_sd;
  state.per_hour = departure.per_hour;
  state.since_minute = departure.onset * block_minutes;
  depart(state);
}

void Stream::judge_quick(std::int64_t minute, const Climate& climate, bool is_judging, double margin_least) {
  const std::array<double, course_columns_max>* b = nullptr;
  std::array<double, course_columns_max> start{};
  if (fit_) b = &fit_->coefficients;
  else {
    if (traits_.scale == Scale::kelvin) {
      start[1] = is_difference_ || !climate.has_room() ? 0.0 : 1.0;
      start[4] = 0.0;
    } else {
      start[1] = traits_.mains.mean;
    }
    b = &start;
  }
  std::array<double, minutes_kept> residual{};
  std::array<bool, minutes_kept> is_there{};
  std::array<std::array<double, course_columns_max>, minutes_kept> causes;
  std::size_t n = 0;
  const std::int64_t reach = horizons.back() + horizons.back() / 4;
  for (std::int64_t back = 0; back < reach; ++back) {
    const std::int64_t m = minute - back;
    if (m < begun_ + cold_minutes_quick) break;
    const auto& value = minutes_[static_cast<std::size_t>(m) % minutes_kept];
    const ClimateNow* at = climate.minute(m);
    if (value.minute != m || at == nullptr) continue;
    const auto slot = static_cast<std::size_t>(back);
    n = columns(*at, static_cast<double>(m - begun_) + 0.5, causes[slot]);
    double r = value.y;
    for (std::size_t i = 0; i < n; ++i) r -= (*b)[i] * causes[slot][i];
    residual[slot] = r;
    is_there[slot] = true;
  }
  const double wide = widening(minute);
  const double margin = std::max(traits_.margin_quick + (traits_.scale == Scale::kelvin ? margin_of_rise * rise_ : 0.0), quick_visible * margin_least) + unseen_allowance(climate, unseen_room_quick);
  for (std::size_t h = 0; h < horizons.size(); ++h) {
    const std::int64_t window = std::max<std::int64_t>(5, horizons[h] / 4);  // of five, two may be wild
    std::array<double, 64> near{};
    std::array<double, 64> far{};
    std::size_t near_count = 0;
    std::size_t far_count = 0;
    std::array<double, course_columns_max> cause_near{};
    std::array<double, course_columns_max> cause_far{};
    for (std::int64_t i = 0; i < window; ++i) {
      const auto a = static_cast<std::size_t>(i);
      const auto z = static_cast<std::size_t>(horizons[h] + i);
      if (is_there[a]) {
        near[near_count++] = residual[a];
        for (std::size_t k = 0; k < n; ++k) cause_near[k] += causes[a][k];
      }
      if (is_there[z]) {
        far[far_count++] = residual[z];
        for (std::size_t k = 0; k < n; ++k) cause_far[k] += causes[z][k];
      }
    }
    const std::size_t least = traits_.is_sparse ? sparse_least : 1;
    if (near_count < least || far_count < least) {
      quick_votes_[h] = 0;
      moves_[h] = 0.0;
      continue;
    }
    const double then = median_of(far, far_count);
    const double moved = median_of(near, near_count) - then;
    moves_[h] = moved;
    // What the causes did in between, times what is not known of how this figure follows them.
    for (std::size_t k = 0; k < n; ++k) cause_near[k] = cause_near[k] / static_cast<double>(near_count) - cause_far[k] / static_cast<double>(far_count);
    const double doubt = fit_ ? doubt_of(*fit_, cause_near) : traits_.mains.sd * std::fabs(cause_near[1]);
    const double needed = wide * std::max(margin, habits_quick * habits_[h].sd()) + doubts_quick * doubt;
    const bool is_out = std::fabs(moved) > needed * cooling_factor(moved);
    quick_votes_[h] = ((quick_votes_[h] << 1) | (is_out ? 1U : 0U)) & quick_votes_mask;
    if (wide < 1.6 && !state_.is_departed) habits_[h].learn(moved);
    if (!is_judging || minute < begun_ + silent_minutes(climate) || state_.is_departed || !is_out || std::popcount(quick_votes_[h]) < quick_votes_needed) continue;
    State state;
    state.is_departed = true;
    state.is_quick = true;
    state.moved = moved;
    state.moved_sd = habits_[h].sd();
    state.quick_minutes = static_cast<double>(horizons[h]);
    state.per_hour = moved * 60.0 / static_cast<double>(horizons[h]);
    state.since_minute = minute - horizons[h];
    constexpr double abrupt_share = 0.7;
    for (std::size_t i = 0; i + 2 <= static_cast<std::size_t>(horizons[h]); ++i)
      if (is_there[i] && is_there[i + 2] && std::fabs(residual[i] - residual[i + 2]) > abrupt_share * std::fabs(moved)) state.is_abrupt = true;
    frozen_ = *b;
    frozen_[0] += then;
    depart(state);
  }
}

void Stream::depart(const State& state) {
  state_ = state;
  minutes_back_ = 0;
  slow_votes_ = 0;
}

void Stream::follow_departure(std::int64_t minute, const Climate& climate, double margin_least) {
  std::array<double, course_columns_max> x{};
  std::array<double, 64> values{};
  std::size_t count = 0;
  for (std::int64_t m = minute; m > minute - block_minutes && m >= begun_; --m) {
    const auto& value = minutes_[static_cast<std::size_t>(m) % minutes_kept];
    const ClimateNow* at = climate.minute(m);
    if (value.minute != m || at == nullptr) continue;
    const std::size_t n = columns(*at, static_cast<double>(m - begun_) + 0.5, x);
    double r = value.y;
    for (std::size_t i = 0; i < n; ++i) r -= frozen_[i] * x[i];
    values[count++] = r;
  }
  if (count == 0) return;
  state_.moved = median_of(values, count);
  const double margin = std::max(traits_.margin, margin_least);
  minutes_back_ = std::fabs(state_.moved) < 0.5 * margin ? minutes_back_ + 1 : 0;
  if (minutes_back_ < back_minutes) return;
  // What it did meanwhile is neither its habit nor its course.
  const std::int64_t returned = minute - back_minutes;
  for (MinuteValue& value : minutes_)
    if (value.minute <= returned) value.minute = -1;
  std::erase_if(blocks_, [&](const Block& block) { return block.index * block_minutes + block_minutes > state_.since_minute && block.index * block_minutes <= returned; });
  state_ = {};
  minutes_back_ = 0;
  quick_votes_ = {};
}

}  // namespace steadyglow::analysis
