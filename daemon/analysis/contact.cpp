#include "analysis/contact.hpp"

#include <algorithm>
#include <cmath>

#include "analysis/minute.hpp"

namespace steadyglow::analysis {

void ContactWatch::learn(double level, std::optional<double> watts, std::int64_t minute) {
  if (state_ != State::attached || (real_in_ && minute <= *real_in_)) return;
  // What is left after a real fall is no level that a clip could fall from.
  if (std::fabs(level) < collapsed_share * usual_) return;
  usual_ = std::max(usual_, std::fabs(level));
  level_ = level;
  // A part that dies slowly takes its watts along before it is gone: they must stand where they stood a minute ago, too.
  watts_before_ = watts_ ? watts_ : watts;
  watts_ = watts;
}

void ContactWatch::clear() {
  const double usual = usual_;
  const auto real_in = real_in_;
  *this = ContactWatch{};
  usual_ = usual;
  real_in_ = real_in;
}

ContactVerdict ContactWatch::step(Timestamp at, double value, std::optional<double> watts, Timestamp watts_at, bool has_company) {
  if (!level_) return ContactVerdict::fine;
  const bool is_collapsed = is_collapse(value);
  switch (state_) {
    case State::attached:
      if (!is_collapsed) return ContactVerdict::fine;
      state_ = State::suspect;
      since_ = at;
      return ContactVerdict::suspect;
    case State::suspect: {
      if (!is_collapsed) {
        state_ = State::attached;
        return ContactVerdict::fine;
      }
      if (has_company) {
        clear();
        real_in_ = minute_of(at);
        return ContactVerdict::real;
      }
      const bool has_witness = watts && watts_ && watts_at - since_ >= witness_after;
      const bool is_nothing = !watts && at - since_ >= decide_within && std::fabs(value) < nothing_share * std::fabs(*level_);
      if (is_nothing) {
        state_ = State::lost;
        back_ = 0;
        return ContactVerdict::lost;
      }
      const auto stands_at = [&](double before) { return std::fabs(*watts - before) < watts_share * std::fabs(before); };
      if (has_witness && stands_at(*watts_) && stands_at(watts_before_.value_or(*watts_))) {
        state_ = State::lost;
        back_ = 0;
        return ContactVerdict::lost;
      }
      if (has_witness || at - since_ >= decide_within) {
        clear();
        real_in_ = minute_of(at);
        return ContactVerdict::real;
      }
      return ContactVerdict::suspect;
    }
    case State::lost:
      break;
  }
  constexpr int samples_back = 3;
  const bool is_back = std::fabs(value - *level_) < returned_share * std::fabs(*level_);
  back_ = is_back ? back_ + 1 : 0;
  if (back_ < samples_back) return ContactVerdict::lost;
  state_ = State::attached;
  return ContactVerdict::fine;
}

}  // namespace steadyglow::analysis
