#pragma once
/// Turns what a sensor gives into the quantity that it measures: here the whole way from a meter's channel to a point.
///
/// The steps stand in one order, whatever the order in which they were written down: what may be believed of the channel (`accept`),
/// what stands before the meter (a divider, a shunt or a current transformer), the sensor (thermocouple, platinum or thermistor),
/// then `scale` and `offset`, in the point's uom. What a sensor cannot give (the ohms of an open lead) becomes a quality, never a number.
#include <limits>
#include <optional>
#include <string>
#include <variant>

#include "core/quality.hpp"
#include "core/uom.hpp"
#include "sensor/platinum.hpp"
#include "sensor/resistors.hpp"
#include "sensor/thermistor.hpp"
#include "sensor/thermocouple.hpp"

namespace steadyglow::sensor {

/// Tolerances are what is stated on a part or found for it, either way; empty: not stated.
struct DividerStep {
  Divider parts;
  std::optional<double> tolerance_percent;  ///< of each of its two resistors
};
struct ShuntStep {
  Ohms measured;
  std::optional<double> tolerance_percent;
};
/// A current transformer: of `primary` amperes it makes `secondary` amperes, or volts where it has its burden inside.
struct TransformerStep {
  double primary_amperes = 0.0;
  double secondary = 0.0;
  bool is_secondary_volts = false;
  std::optional<double> tolerance_percent;
};

struct ThermocoupleStep {
  ThermocoupleType type = ThermocoupleType::k;
  std::optional<ThermocoupleClass> tolerance_class;
  std::string junction_channel;  ///< the channel that measures the terminals; empty: they are held at `junction`
  Celsius junction{};
  std::optional<double> junction_tolerance_kelvin;  ///< of a junction that is held
};
struct PlatinumStep {
  Ohms at_zero = pt100;
  int wires = 4;
  Ohms lead{};  ///< both leads together, as measured with the far end shorted
  std::optional<PlatinumClass> tolerance_class;
};
struct ThermistorStep {
  std::variant<BetaThermistor, SteinhartHart> curve;
  std::optional<ThermistorDivider> divider;  ///< volts are read, not ohms
  std::optional<double> tolerance_kelvin;
};

inline constexpr Uom no_uom{"1", Quantity::state, 1.0, ""};

struct Chain {
  Uom from = no_uom;  ///< of the meter's channel
  std::optional<double> accept_low;  ///< in `from`
  std::optional<double> accept_high;
  std::variant<std::monostate, DividerStep, ShuntStep, TransformerStep> before_meter;
  std::variant<std::monostate, ThermocoupleStep, PlatinumStep, ThermistorStep> sensor;
  double scale = 1.0;
  double offset = 0.0;  ///< in `to`
  Uom to = no_uom;      ///< of the point

  bool has_sensor() const { return !std::holds_alternative<std::monostate>(sensor); }
  /// Nothing but a change of the unit of measure.
  bool is_plain() const { return !has_sensor() && std::holds_alternative<std::monostate>(before_meter) && scale == 1.0 && offset == 0.0 && !accept_low && !accept_high; }
  /// The thermocouple's terminals, when another channel measures them; null when the chain wants none.
  const ThermocoupleStep* wants_junction() const;
  /// What stands before the meter: base unit of its output per base unit at the channel. 1 when nothing does.
  double gain() const;
  /// Where there is no sensor: value in `to` = factor() * value in `from` + offset.
  double factor() const { return scale * gain() * from.to_base / to.to_base; }
};

/// What a channel can say at all, in its uom: the band that its instrument file calls plausible.
struct RawBand {
  double low = -std::numeric_limits<double>::infinity();
  double high = std::numeric_limits<double>::infinity();
};

struct Converted {
  double value = 0.0;  ///< in the point's uom; of a bad one the figure as met, or 0
  Quality quality = Quality::no_answer;
  double slope = 0.0;  ///< d value / d raw, in `to` per `from`; 0 where there is no value
};

/// `junction`: the temperature of the terminals now, for a chain that wants one; without it such a chain gives nothing but `stale`.
Converted convert(const Chain& chain, double raw, Quality quality, std::optional<Celsius> junction = std::nullopt);

/// What the channel must read, in `from`, for the point to be at `value`. Nothing when no raw value makes it so; `accept` is not asked.
std::optional<double> raw_for(const Chain& chain, double value, std::optional<Celsius> junction = std::nullopt);

/// Taken for the temperature of a junction that is measured, wherever a worked figure is shown without a meter.
inline constexpr Celsius junction_assumed{23.0};

}  // namespace steadyglow::sensor
