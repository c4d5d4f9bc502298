#include "analysis/climate.hpp"

#include <algorithm>
#include <cmath>
#include <span>

#include "analysis/statistics.hpp"

namespace steadyglow::analysis {
namespace {

constexpr double watts_worth_watching = 4.0;

template <class Each>
void each_figure(ClimateNow& into, const ClimateNow& from, Each each) {
  each(into.ln_mains, from.ln_mains);
  for (std::size_t i = 0; i < lags_minutes.size(); ++i) {
    each(into.mains_lag[i], from.mains_lag[i]);
    each(into.room_lag[i], from.room_lag[i]);
    each(into.power_lag[i], from.power_lag[i]);
  }
}

}  // namespace

void Climate::step(std::int64_t minute, const Input& input) {
  if (input.ln_mains) {
    has_mains_ = true;
    is_guessed_ = input.is_mains_guessed;
    now_.ln_mains = *input.ln_mains;
  }
  if (input.room) {
    room_now_ = steady_room(*input.room);
    if (!has_room_) first_room_ = room_now_;
    has_room_ = true;
    is_room_guessed_ = input.is_room_guessed;
  }
  if (input.watts && *input.watts > watts_worth_watching) {
    has_power_ = true;
    if (!reference_watts_) reference_watts_ = *input.watts;
  }
  // Without a wattmeter heat is taken to go with the mains as the power 1.5.
  const double power = has_power_ ? (input.watts ? *input.watts / *reference_watts_ : last_power_) : std::exp(1.5 * now_.ln_mains);
  last_power_ = power;
  for (std::size_t i = 0; i < lags_minutes.size(); ++i) {
    now_.mains_lag[i] = mains_[i].step(minute, now_.ln_mains);
    now_.room_lag[i] = has_room_ ? room_[i].step(minute, room_now_ - first_room_) : 0.0;
    if (!power_[i].value()) power_[i].step(minute - 1, 0.0);
    now_.power_lag[i] = power_[i].step(minute, power);
  }
  recent_[static_cast<std::size_t>(minute) % recent_minutes] = {minute + 1, now_};
  const std::int64_t index = minute / block_minutes;
  if (index != open_) {
    close_block();
    open_ = index;
  }
  each_figure(sum_, now_, [](double& into, double from) { into += from; });
  ++count_;
}

double Climate::steady_room(double room) {
  rooms_[room_count_ % rooms_.size()] = room;
  ++room_count_;
  std::array<double, 5> work = rooms_;
  return median_in_place(std::span<double>(work.data(), std::min(room_count_, work.size())));
}

ClimateNow Climate::open_block() const {
  if (count_ == 0) return now_;
  const double share = 1.0 / static_cast<double>(count_);
  ClimateNow mean;
  each_figure(mean, sum_, [share](double& into, double from) { into = from * share; });
  return mean;
}

void Climate::close_block() {
  if (count_ > 0) {
    if (blocks_.size() == blocks_max) blocks_.pop_front();
    blocks_.push_back({open_, open_block()});
  }
  sum_ = {};
  count_ = 0;
}

const ClimateNow* Climate::minute(std::int64_t minute) const {
  const Block& recent = recent_[static_cast<std::size_t>(minute) % recent_minutes];
  return recent.index == minute + 1 ? &recent.at : nullptr;
}

const ClimateNow* Climate::block(std::int64_t block) const {
  const auto it = std::lower_bound(blocks_.begin(), blocks_.end(), block, [](const Block& b, std::int64_t index) { return b.index < index; });
  return it != blocks_.end() && it->index == block ? &it->at : nullptr;
}

}  // namespace steadyglow::analysis
