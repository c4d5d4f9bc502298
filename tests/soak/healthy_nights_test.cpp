/// Nights with everything that a healthy bench goes through: nobody may be woken, nothing may be cut.
#include <gtest/gtest.h>

#include <memory>

#include "support/tube_amp.hpp"

namespace steadyglow::tests {
namespace {

/// A value that wanders: each minute a small step, pulled back to `centre` with a time constant; steps and dips besides.
class Wander {
 public:
  Wander(unsigned seed, double centre, double step, double tau_minutes) : random_(seed) {
    std::normal_distribution<double> normal;
    double value = centre;
    for (int minute = 0; minute < 48 * 60; ++minute) {
      value += step * normal(random_) - (value - centre) / tau_minutes;
      minutes_.push_back(value);
    }
  }
  /// From a random minute on, the value is shifted by up to `size` either way.
  Wander& step_once(double size) {
    const int from = std::uniform_int_distribution<int>(0, 14 * 60)(random_);
    const double by = std::uniform_real_distribution<double>(-size, size)(random_);
    for (std::size_t minute = static_cast<std::size_t>(from); minute < minutes_.size(); ++minute) minutes_[minute] += by;
    return *this;
  }
  /// Falls through the night to `by` below, with a time constant of hours: the heating is off.
  Wander& cool_down(double by) {
    for (std::size_t minute = 120; minute < minutes_.size(); ++minute) minutes_[minute] -= by * (1.0 - std::exp(-(static_cast<double>(minute) - 120.0) / 150.0));
    return *this;
  }
  double at(double seconds) const { return minutes_[std::min(minutes_.size() - 1, static_cast<std::size_t>(seconds / 60.0))]; }

 private:
  std::mt19937 random_;
  std::vector<double> minutes_;
};

class HealthyNight : public testing::TestWithParam<unsigned> {};

TEST_P(HealthyNight, WakesNobodyAndEndsWithPassProposed) {
  const unsigned seed = GetParam();
  auto mains = std::make_shared<Wander>(seed, 230.0, 0.25, 90.0);
  mains->step_once(5.0).step_once(4.0);
  auto room = std::make_shared<Wander>(seed + 1000, 22.0, 0.06, 60.0);
  room->cool_down(2.0 + seed % 7);
  // A sag of 15 % for eight seconds, three times a night.
  const auto volts = [mains](double s) { return mains->at(s) * (std::fmod(s, 5 * hours) > 4 * hours && std::fmod(s, 5 * hours) < 4 * hours + 8.0 ? 0.85 : 1.0); };
  Night night = healthy_night(volts, [room](double s) { return room->at(s); });
  // New tubes climb by themselves for three hours; each a little differently.
  for (int tube = 1; tube <= 4; ++tube) {
    const double climb = 0.02 + 0.01 * ((seed + static_cast<unsigned>(tube)) % 3);
    night.point("v" + std::to_string(tube) + "_mv",
                [=](double s) { return 370.0 * (1.0 - std::exp(-(s + 10.0) / 300.0)) * (1.0 + climb * (1.0 - std::exp(-s / (1.2 * hours)))) * std::pow(volts(s) / 230.0, 1.5); }, 1.5);
  }
  for (double s = 2 * hours; s < 14 * hours; s += 1700.0) night.bad("v2_mv", Quality::no_answer, s, s + 10.0);
  night.run_until(16.0 * hours);
  EXPECT_EQ(night.loud(), "");
  ASSERT_TRUE(night.engine.verdict().has_value());
  EXPECT_EQ(night.engine.verdict()->word, soak::VerdictWord::pass);
  EXPECT_LE(night.all<soak::OpenOutlet>().size(), 1u) << "the plan's own end, and no other";
}

INSTANTIATE_TEST_SUITE_P(ThirtyOfThem, HealthyNight, testing::Range(1u, 31u));

}  // namespace
}  // namespace steadyglow::tests
