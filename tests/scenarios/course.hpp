#pragma once
/// The course of one point over a night, from a line of words: "holds 380, follows mains 1.5, noise 1".
#include <functional>
#include <optional>
#include <string>
#include <vector>

#include "core/quality.hpp"
#include "core/result.hpp"
#include "scenarios/scenario.hpp"

namespace steadyglow::scenarios {

/// What every course may ask about the bench at a moment.
struct Bench {
  bool is_powered = true;      ///< mains present and outlet closed
  double powered_since = 0.0;  ///< seconds
};

/// One point's words, ready to be asked in order of time. A clause that speaks of another point asks that one first.
class Course {
 public:
  using Step = std::function<double(double before, double seconds)>;
  /// Reads `text` for this point of the profile; mistakes go to `errors` at `where`.
  void add(const Scenario& scenario, std::size_t point, const std::string& text, const std::string& where, Errors& errors);
  /// Gives the other courses and the bench. Fails when courses ask each other in a circle.
  void bind(std::vector<Course>* all, const Bench* bench);

  /// The true value, without the meter. Each second is worked out once.
  double at(double seconds);
  /// What the meter says of it: nothing at all, a quality, a frozen value.
  struct Seen {
    bool is_missing = false;
    Quality quality = Quality::good;
    double value = 0.0;
  };
  Seen seen(double seconds, const std::function<double()>& normal);
  bool is_given() const { return !steps_.empty() || !blanks_.empty(); }
  /// Goes to zero with the power.
  void set_electrical(bool is_electrical) { is_electrical_ = is_electrical; }
  /// Its meter knows no sign: watts, hertz, an alternating voltage.
  void set_unsigned(bool is_unsigned) { is_unsigned_ = is_unsigned; }
  std::vector<std::size_t> asks;  ///< the points that its clauses speak of

 private:
  friend class Words;
  struct Window {
    Span when;
    double every = 0.0;  ///< seconds; 0: all of it
    double lasting = 0.0;
    bool is_in(double seconds) const;
  };
  struct Blank {
    Window window;
    bool is_missing = false;
    bool is_frozen = false;
    Quality quality = Quality::good;
  };
  struct Noise {
    Window window;
    double sigma;
  };

  double other(std::size_t point, double seconds) { return (*all_)[point].at(seconds); }

  std::vector<Step> steps_;
  std::vector<Blank> blanks_;
  std::vector<Noise> noises_;
  double digit_ = 0.0;
  bool is_electrical_ = true;
  bool is_unsigned_ = false;
  std::vector<Course>* all_ = nullptr;
  const Bench* bench_ = nullptr;
  double at_ = -1.0;
  double value_ = 0.0;
  std::optional<double> frozen_;
};

/// One course per point of the scenario's profile, bound to each other; `errors` gets every mistake.
void read_courses(const Scenario& scenario, bool is_healthy_twin, std::vector<Course>& courses, Errors& errors);

}  // namespace steadyglow::scenarios
