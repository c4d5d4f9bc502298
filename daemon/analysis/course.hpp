#pragma once
/// Has a figure left the course that its surroundings explain? A generalised likelihood ratio for a ramp or a new level
/// of unknown onset.
#include <array>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <vector>

namespace steadyglow::analysis {

/// The grain of the slow test.
inline constexpr std::int64_t block_minutes = 10;
/// Sixty hours: older blocks fall away.
inline constexpr std::size_t blocks_max = 360;
inline constexpr std::size_t course_columns_max = 12;

/// What is believed of one coefficient before the data speak.
struct Prior {
  double mean = 0.0;
  double sd = 1.0;
};

/// What a healthy figure does beyond its model: block noise, and a wander that forgets itself in a few hours.
struct CourseNoise {
  double white_sd = 0.0;
  double wander_sd = 0.0;
};
inline constexpr double wander_hours = 2.0;

struct Departure {
  double moved = 0.0;       ///< how far it stands from where the surroundings would have it, in y
  double moved_sd = 0.0;
  double per_hour = 0.0;    ///< mean speed since the onset
  std::int64_t onset = 0;   ///< block in which it began, as far as can be told
  double z() const { return moved / moved_sd; }
};

struct CourseFit {
  std::array<double, course_columns_max> coefficients{};
  std::array<double, course_columns_max> sds{};
  std::optional<Departure> departure;  ///< the likeliest ramp or level, however weak
  std::array<double, course_columns_max> beside_departure{};  ///< the coefficients once that is allowed for
  std::array<std::array<double, course_columns_max>, course_columns_max> factor{};  ///< Cholesky factor of the precision
  std::size_t columns = 0;
  double scatter = 0.0;                ///< robust sd of those residuals round zero, whatever their order
  CourseNoise seen;                    ///< noise of the residuals, hours of the last `noise_late_blocks` left out
};
inline constexpr std::size_t noise_late_blocks = 6;

/// Standard deviation of x'b for the fitted b: how unsure the model is of that difference.
double doubt_of(const CourseFit& fit, std::span<const double> x);

/// Works on one stream at a time; holds only scratch space, so one serves all.
///
/// Model: y = X b + g r + wander + noise, r a ramp or a level that is approached with level_minutes, b ~ N(prior). Wander is AR(1) with wander_hours; a Kalman filter for wander and
/// noise turns both sides into independent innovations (gaps need no filling), after which it is a ridge regression.
/// For each candidate onset and shape the coefficient g has z = r'M y / sqrt(r'M r), M the residual projection of the ridge.
/// Source: Harvey, Forecasting, Structural Time Series Models and the Kalman Filter, 3.4 (GLS by the Kalman filter) and
/// Basseville & Nikiforov, Detection of Abrupt Changes, 7.2 (GLR); both from memory.
class Course {
 public:
  /// level_minutes: how fast the figure follows a change of its cause (0: at once).
  void begin(std::span<const Prior> priors, CourseNoise noise, double level_minutes = 0.0);
  /// Blocks in ascending order; x has one figure per prior. doubt_sd: how far this block may be off by itself, beside the
  /// noise (a cold unit's first minutes follow no model).
  void add(std::int64_t block, double y, std::span<const double> x, double doubt_sd = 0.0);
  std::size_t size() const { return blocks_.size(); }
  /// Fits. Nothing for fewer blocks than three.
  std::optional<CourseFit> judge();

 private:
  void whiten();
  double shape_of(bool is_ramp, std::int64_t since, std::int64_t age) const;
  std::vector<Prior> priors_;
  CourseNoise noise_;
  double level_minutes_ = 0.0;
  std::vector<std::int64_t> blocks_;
  std::vector<double> y_;                  ///< raw
  std::vector<double> x_;                  ///< raw, row by row
  std::vector<double> doubt_;              ///< variance
  std::vector<double> gain_;               ///< of the filter
  std::vector<double> keep_;               ///< what the wander keeps from one block to the next
  std::vector<double> scale_;              ///< 1 / sd of the innovation
  std::vector<double> white_y_;
  std::vector<double> white_x_;
  std::vector<double> ramp_;
  std::vector<double> residual_;
};

}  // namespace steadyglow::analysis
