#pragma once
/// The kinds of units, each made anew from a seed: no two of a kind are alike.
#include "bench/detection/unit.hpp"

namespace steadyglow::detection {

std::unique_ptr<Unit> fixed_bias_amp(std::uint64_t seed, int valves);
std::unique_ptr<Unit> cathode_bias_amp(std::uint64_t seed);
std::unique_ptr<Unit> single_ended_amp(std::uint64_t seed);

/// Class AB in four guises.
enum class Guise { stereo, receiver, mono_pair, headphone };
std::unique_ptr<Unit> class_ab(std::uint64_t seed, Guise guise, bool is_driven);
std::unique_ptr<Unit> class_a_amp(std::uint64_t seed);

std::unique_ptr<Unit> tube_preamp(std::uint64_t seed);
std::unique_ptr<Unit> solid_preamp(std::uint64_t seed);
std::unique_ptr<Unit> tuner(std::uint64_t seed);
std::unique_ptr<Unit> disc_player(std::uint64_t seed);
std::unique_ptr<Unit> crossover(std::uint64_t seed);

std::unique_ptr<Unit> tape_deck(std::uint64_t seed);
std::unique_ptr<Unit> turntable(std::uint64_t seed);
/// Something nobody has a profile for.
std::unique_ptr<Unit> unknown_thing(std::uint64_t seed);

}  // namespace steadyglow::detection
