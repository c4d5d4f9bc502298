#include "demo/bench/noise.hpp"

#include <cmath>
#include <numbers>

namespace steadyglow::demo {
namespace {

std::uint64_t mixed(std::uint64_t x) {
  x += 0x9e3779b97f4a7c15u;
  x = (x ^ (x >> 30)) * 0xbf58476d1ce4e5b9u;
  x = (x ^ (x >> 27)) * 0x94d049bb133111ebu;
  return x ^ (x >> 31);
}

}  // namespace

std::uint64_t bits(Stream stream, std::uint64_t index) { return mixed(mixed(mixed(stream.seed) ^ stream.stream) ^ index); }

double even(Stream stream, std::uint64_t index) { return static_cast<double>(bits(stream, index) >> 11) * 0x1p-53; }

double normal(Stream stream, std::uint64_t index) {
  const double radius = std::sqrt(-2.0 * std::log(1.0 - even(stream, 2 * index)));
  return radius * std::cos(2.0 * std::numbers::pi * even(stream, 2 * index + 1));
}

Wander::Wander(Stream stream, double sd, double tau_minutes)
    : stream_(stream), step_(sd * std::sqrt(1.0 - std::exp(-2.0 / tau_minutes))), pull_(std::exp(-1.0 / tau_minutes)), from_(sd * normal(stream, 0)), to_(from_) {
  to_ = from_ * pull_ + step_ * normal(stream_, 1);
}

void Wander::next_minute() {
  ++minute_;
  from_ = to_;
  to_ = from_ * pull_ + step_ * normal(stream_, minute_ + 1);
}

double Wander::at(double seconds) {
  const double minutes = seconds / 60.0;
  while (static_cast<double>(minute_ + 1) <= minutes) next_minute();
  return from_ + (to_ - from_) * (minutes - static_cast<double>(minute_));
}

}  // namespace steadyglow::demo
