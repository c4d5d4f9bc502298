#pragma once
/// Turns what a sensor gives into the quantity that it measures: here what a chain is in words, and how far it can be off.
#include <optional>
#include <string>
#include <vector>

#include "sensor/chain.hpp"

namespace steadyglow::sensor {

/// "4 MΩ", "33.2 kΩ", "10.02 Ω".
std::string ohms_words(Ohms resistance);

/// A chain as a plain sentence, its steps in their order: "divider 4 MΩ over 33.2 kΩ with 100 kΩ input: × 161.5". Empty for a plain one.
std::string words_of(const Chain& chain);

/// Standard uncertainties of what goes in; empty: not stated.
struct InputDoubt {
  std::optional<double> meter;     ///< in the channel's uom
  std::optional<double> junction;  ///< of a measured junction, in kelvin
};

/// How far a point can be off.
struct Doubt {
  double standard = 0.0;              ///< standard uncertainty of all that is stated, in the point's uom
  std::vector<std::string> left_out;  ///< what is not stated and therefore not in it
};
/// u_c^2 = sum (c_i u_i)^2 over the meter, the parts before it, the sensor's tolerance and the junction, each with the local slope of the
/// chain; a tolerance of +-a is rectangular, u = a/sqrt(3). Source: JCGM 100:2008 (GUM), 5.1.2 and 4.3.7. Nothing where the chain
/// has no value.
std::optional<Doubt> doubt_of(const Chain& chain, double raw, const InputDoubt& inputs, std::optional<Celsius> junction = std::nullopt);

}  // namespace steadyglow::sensor
