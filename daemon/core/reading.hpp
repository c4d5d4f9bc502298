#pragma once
#include <cassert>

#include "core/ids.hpp"
#include "core/quality.hpp"
#include "core/timestamp.hpp"

namespace steadyglow {

/// One value of one point at one moment, in the point's own uom, or the reason why there is none.
/// A bad reading is data, not an error. It may carry the figure as the meter gave it, for the record only.
class Reading {
 public:
  static Reading good(PointId point, Timestamp at, double value) { return {point, at, value, Quality::good}; }
  static Reading bad(PointId point, Timestamp at, Quality why, double as_met = 0.0) {
    assert(why != Quality::good);
    return {point, at, as_met, why};
  }
  static Reading of(PointId point, Timestamp at, double value, Quality quality) { return {point, at, value, quality}; }

  PointId point() const { return point_; }
  Timestamp at() const { return at_; }
  Quality quality() const { return quality_; }
  bool is_good() const { return quality_ == Quality::good; }
  /// The value of a good reading. Asking a bad one is a programming mistake.
  double value() const {
    assert(is_good());
    return value_;
  }
  /// What the meter said, good or bad: only the store and the record may want it.
  double as_met() const { return value_; }
  Reading with_quality(Quality quality) const { return {point_, at_, value_, quality}; }
  Reading with_time(Timestamp at) const { return {point_, at, value_, quality_}; }

 private:
  Reading(PointId point, Timestamp at, double value, Quality quality)
      : at_(at), value_(value), point_(point), quality_(quality) {}
  Timestamp at_;
  double value_;
  PointId point_;
  Quality quality_;
};

}  // namespace steadyglow
