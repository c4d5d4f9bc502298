#include "bench/detection/judges.hpp"

#include <cmath>
#include <optional>

#include "soak/engine.hpp"

namespace steadyglow::detection {
namespace {

class EngineJudge : public Judge {
 public:
  explicit EngineJudge(const profile::Profile& profile) : engine_(profile, profile::plan_without_file()) {}

  void take(Timestamp at, std::span<const Reading> readings) override {
    if (is_off_) return;
    for (const soak::Event& event : readings.empty() ? engine_.advance(at) : engine_.take(readings)) {
      if (const auto* finding = std::get_if<soak::Finding>(&event)) {
        if (!finding->is_raised) continue;
        const Weight weight = finding->severity == soak::Severity::note ? Weight::note : finding->severity == soak::Severity::warn ? Weight::warn : Weight::trip;
        cries.push_back({seconds_of(at), weight, finding->points, std::string(soak::to_word(finding->kind)), finding->message});
      } else if (const auto* order = std::get_if<soak::OpenOutlet>(&event); order != nullptr && order->is_trip) {
        if (cries.empty() || cries.back().weight != Weight::trip) cries.push_back({seconds_of(at), Weight::trip, {}, "outlet", order->reason});
        is_off_ = true;
      }
    }
  }

 private:
  soak::Engine engine_;
  bool is_off_ = false;
};

constexpr int samples_needed = 3;

class LimitsJudge : public Judge {
 public:
  LimitsJudge(const profile::Profile& profile, double warm_up_seconds) : profile_(profile), warm_up_(warm_up_seconds), states_(profile.points.size()) {}

  void take(Timestamp at, std::span<const Reading> readings) override {
    for (const Reading& reading : readings) {
      if (is_off_ || !reading.is_good()) continue;
      const profile::Point& point = profile_.point(reading.point());
      State& state = states_[reading.point().index];
      const bool is_warm = seconds_of(at) > warm_up_;
      judge(state.trip, is_outside(point.trip, reading.value(), is_warm), at, Weight::trip, reading);
      judge(state.warn, is_outside(point.warn, reading.value(), is_warm), at, Weight::warn, reading);
    }
  }

 private:
  struct Count {
    int outside = 0;
    int inside = 0;
    bool is_raised = false;
  };
  struct State {
    Count warn, trip;
  };
  /// A unit that is not warm yet may well be short of its figures, whatever their sign.
  static bool is_outside(const profile::Band& band, double value, bool is_warm) {
    const auto counts = [&](double limit) { return is_warm || std::fabs(value) > std::fabs(limit); };
    return (band.high && value > *band.high && counts(*band.high)) || (band.low && value < *band.low && counts(*band.low));
  }

  void judge(Count& count, bool is_outside, Timestamp at, Weight weight, const Reading& reading) {
    count.outside = is_outside ? count.outside + 1 : 0;
    count.inside = is_outside ? 0 : count.inside + 1;
    if (count.is_raised && count.inside >= samples_needed) count.is_raised = false;
    if (count.is_raised || count.outside < samples_needed) return;
    count.is_raised = true;
    cries.push_back({seconds_of(at), weight, {reading.point()}, "limit", profile_.point(reading.point()).name + " is outside its limits"});
    is_off_ |= weight == Weight::trip;
  }

  profile::Profile profile_;
  double warm_up_;
  std::vector<State> states_;
  bool is_off_ = false;
};

class CusumJudge : public Judge {
 public:
  CusumJudge(const profile::Profile& profile, double warm_up_seconds) : profile_(profile), baseline_from_(warm_up_seconds), charts_(profile.points.size()) {}

  void take(Timestamp at, std::span<const Reading> readings) override {
    const auto minute = static_cast<std::int64_t>(seconds_of(at) / 60.0);
    for (const Reading& reading : readings) {
      // Mains and room are what the night does, not what the unit does.
      const profile::Point& point = profile_.point(reading.point());
      if (!reading.is_good() || point.role == profile::Role::mains_voltage || point.role == profile::Role::ambient) continue;
      Chart& chart = charts_[reading.point().index];
      if (chart.minute != minute && chart.count > 0) close(chart, reading.point());
      chart.minute = minute;
      chart.sum += reading.value();
      ++chart.count;
    }
  }

 private:
  static constexpr double k = 0.5;
  static constexpr double h = 5.0;
  static constexpr double baseline_seconds = 7200.0;
  struct Chart {
    std::int64_t minute = 0;
    double sum = 0.0;
    int count = 0;
    double learned = 0.0, mean = 0.0, squares = 0.0;  ///< of the baseline, after Welford
    double high = 0.0, low = 0.0;
  };

  void close(Chart& chart, PointId id) {
    const double mean = chart.sum / chart.count;
    const double at = static_cast<double>(chart.minute + 1) * 60.0;
    chart.sum = 0.0;
    chart.count = 0;
    if (at < baseline_from_) return;
    if (at < baseline_from_ + baseline_seconds) {
      chart.learned += 1.0;
      const double before = mean - chart.mean;
      chart.mean += before / chart.learned;
      chart.squares += before * (mean - chart.mean);
      return;
    }
    if (chart.learned < 2.0 || chart.squares <= 0.0) return;
    const double z = (mean - chart.mean) / std::sqrt(chart.squares / (chart.learned - 1.0));
    chart.high = std::max(0.0, chart.high + z - k);
    chart.low = std::max(0.0, chart.low - z - k);
    if (chart.high <= h && chart.low <= h) return;
    cries.push_back({at, Weight::warn, {id}, "drift", profile_.point(id).name + (chart.high > h ? " has risen" : " has fallen")});
    chart.high = chart.low = 0.0;
  }

  profile::Profile profile_;
  double baseline_from_;
  std::vector<Chart> charts_;
};

}  // namespace

std::unique_ptr<Judge> engine_judge(const profile::Profile& profile) { return std::make_unique<EngineJudge>(profile); }
std::unique_ptr<Judge> limits_judge(const profile::Profile& profile, double warm_up_seconds) { return std::make_unique<LimitsJudge>(profile, warm_up_seconds); }
std::unique_ptr<Judge> cusum_judge(const profile::Profile& profile, double warm_up_seconds) { return std::make_unique<CusumJudge>(profile, warm_up_seconds); }

}  // namespace steadyglow::detection
