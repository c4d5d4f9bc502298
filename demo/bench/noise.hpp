#pragma once
/// Chance that can be asked twice: the same seed, stream and index give the same number, in any order and on any machine.
#include <cstdint>

namespace steadyglow::demo {

/// Which thing draws: two streams of one seed know nothing of each other.
struct Stream {
  std::uint64_t seed = 0;
  std::uint64_t stream = 0;
};

/// Evenly distributed over 64 bits (a multiply-xorshift mixer; written from memory, tested for its moments).
std::uint64_t bits(Stream stream, std::uint64_t index);
/// Even on 0 <= x < 1.
double even(Stream stream, std::uint64_t index);
/// Normal, mean 0 and standard deviation 1 (Box and Muller 1958).
double normal(Stream stream, std::uint64_t index);

/// A value that wanders round zero: a small step each minute, pulled back with a time constant, straight in between.
class Wander {
 public:
  /// `sd`: standard deviation in the long run; `tau_minutes`: how fast it forgets.
  Wander(Stream stream, double sd, double tau_minutes);
  /// At `seconds` of bench time. Ask in order of time.
  double at(double seconds);

 private:
  void next_minute();

  Stream stream_;
  double step_;
  double pull_;
  std::uint64_t minute_ = 0;
  double from_;
  double to_;
};

}  // namespace steadyglow::demo
