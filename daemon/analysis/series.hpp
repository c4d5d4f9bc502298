#pragma once
/// The last hours of one point as one-minute medians, with what the mains and the room did meanwhile.
#include <cstdint>
#include <deque>

namespace steadyglow::analysis {

struct SeriesMinute {
  std::int64_t index = 0;   ///< minute of run time
  double raw = 0.0;         ///< median as measured, in the point's uom
  double ln_mains = 0.0;    ///< ln(V / V nominal) as this point feels it (lagged for temperatures); 0 when unknown
  double room = 0.0;        ///< room temperature as this point feels it (lagged), degC; 0 when there is no ambient point
};

/// Twelve hours: longer horizons are the baseline's business.
inline constexpr std::size_t series_minutes_max = 720;

class Series {
 public:
  void add(SeriesMinute minute) {
    if (minutes_.size() == series_minutes_max) minutes_.pop_front();
    minutes_.push_back(minute);
  }
  void clear() { minutes_.clear(); }
  bool empty() const { return minutes_.empty(); }
  std::size_t size() const { return minutes_.size(); }
  const SeriesMinute& back() const { return minutes_.back(); }
  auto begin() const { return minutes_.begin(); }
  auto end() const { return minutes_.end(); }
  auto rbegin() const { return minutes_.rbegin(); }
  auto rend() const { return minutes_.rend(); }

 private:
  std::deque<SeriesMinute> minutes_;
};

}  // namespace steadyglow::analysis
