#pragma once
/// Does warmth feed itself? A transistor that gets warmer draws more, and what it draws makes it warmer. Once round this loop a
/// disturbance comes back multiplied by the loop gain G = Rth dP/dT: below 1 it dies out (a part 1/(1 - G) of it stays), from 1 on
/// nothing but the fuse stops it. G creeps up long before a limit is met, when air is blocked, paste dries or a bias sensor comes loose.
/// Source of the condition dP/dT < 1/Rth: textbook treatment of thermal stability of output stages.
#include <cstddef>
#include <optional>
#include <span>

#include "core/units.hpp"

namespace steadyglow::analysis {

/// What the data sheets and the meter say of one output transistor at idle.
struct OutputStage {
  Volts collector_emitter;
  Amperes idle;
  Ohms emitter_resistor;             ///< 0 when there is none
  KelvinPerWatt to_ambient;          ///< the part of the way that the bias sensor does not follow, or all of it
  Celsius junction{60.0};            ///< decides the thermal voltage kT/q
  double base_volts_per_kelvin = 2.2e-3;  ///< fall of the base-emitter voltage; 2.0 to 2.2 mV/K (textbook figure, from memory)
  double tracking = 0.0;             ///< share of it that the bias network follows: 0 none, 1 all
};

/// kT/q with the exact constants of the SI (2019), in volts: 25.69 mV at 25 degC.
Volts thermal_voltage(Celsius junction);

/// gm = 1 / (Re + Vt/Iq), in A/V.
double transconductance(const OutputStage& stage);

/// G = Vce gm s Rth (1 - tracking).
double loop_gain_by_data_sheet(const OutputStage& stage);

/// Which heat a series of watts counts.
enum class HeatCounted {
  all_on_sink,   ///< the watts of everything that heats this sink, or a fixed share of them (one transistor of four): no watts, no rise
  more_than_it,  ///< mains watts and the like, with losses that heat something else: only movements tell
};

/// Minute medians of one stretch at idle, oldest first, one a minute without a gap, all of the same length (an empty one is not known).
struct LoopMinutes {
  std::span<const double> current;        ///< A, through the output stage; leave empty when `watts` are given
  std::span<const double> supply_volts;   ///< V across it; may be empty when `watts` are given
  std::span<const double> watts;          ///< W; empty: current times supply
  std::span<const double> rise;           ///< K, heatsink over the room
  std::span<const double> room;           ///< degC; may be empty: then the room is taken as steady
  HeatCounted heat = HeatCounted::all_on_sink;
};

inline constexpr std::size_t loop_minutes_min = 30;
inline constexpr std::size_t loop_minutes_max = 720;
/// Time constants that a heatsink in a cabinet may have. Common practice, no source.
inline constexpr double sink_tau_minutes_min = 2.0;
inline constexpr double sink_tau_minutes_max = 240.0;
/// Less movement of the heatsink says nothing of what it moves. Common practice, no source.
inline constexpr double sink_movement_min_kelvin = 1.5;
/// A gain that is known no better than this is not known: it would not tell a sound stage from one on the brink.
inline constexpr double gain_uncertainty_max = 0.15;

struct LoopGain {
  double gain = 0.0;
  double standard_uncertainty = 0.0;
  double kelvin_per_watt = 0.0;              ///< Rth, per watt as counted
  double kelvin_per_watt_uncertainty = 0.0;  ///< standard uncertainty
  double watts_per_kelvin = 0.0;             ///< dP/dT at constant supply, per watt as counted
  double watts_per_kelvin_uncertainty = 0.0;
  double sink_tau_minutes = 0.0;             ///< of the heatsink itself; the loop as a whole takes tau / (1 - G)

  /// Chance that the gain is 1 or more, normal distribution.
  double chance_of_runaway() const;
};

enum class WhyNotKnown {
  known,
  too_short,            ///< fewer than loop_minutes_min, or no series for a figure that is needed
  too_little_movement,  ///< the heatsink stood still: nothing can be seen of what its movement does
  does_not_fit,         ///< the heatsink does not follow these watts: something else heats or cools it
  too_uncertain,        ///< the movements were there and say too little, mostly for want of independent ones
};

struct LoopGainFound {
  std::optional<LoopGain> loop;
  WhyNotKnown why = WhyNotKnown::too_short;
};

/// Estimates the gain from the unit's own minutes: watts on heatsink temperature (and supply) give dP/dT, rise on watts lagged by
/// the sink's time constant gives Rth, and G = Rth dP/dT, u(G) after GUM 5.1.2. The time constant is the one that leaves least
/// residual; standard errors are inflated for residuals that follow each other. G does not depend on how many transistors a meter sees, for
/// their number divides Rth and multiplies dP/dT. A junction that is warmer than the sink by Rjc P belongs to the loop: its part is
/// in the dP/dT that is seen from outside, and G reaches 1 at the same point.
LoopGainFound find_loop_gain(const LoopMinutes& minutes);

/// Rise divided by watts over a stretch in which both stood still.
struct ThermalResistance {
  double kelvin_per_watt = 0.0;
  double standard_uncertainty = 0.0;
  double rise = 0.0;   ///< median, K
  double watts = 0.0;  ///< median, W
};
/// A stretch whose rise or watts still change by more than this from its first half to its second is not settled.
inline constexpr double settled_share_max = 0.03;
/// rise_uncertainty, watts_uncertainty: standard, of the meters, in K and W (0: only the spread counts). Nothing when the stretch is
/// shorter than 5 minutes, not settled, or without heat.
std::optional<ThermalResistance> thermal_resistance(std::span<const double> rise, std::span<const double> watts, double rise_uncertainty = 0.0,
                                                    double watts_uncertainty = 0.0);

/// What a changed rise comes from.
enum class ThermalChange {
  none,      ///< nothing beyond the uncertainty
  air_path,  ///< more kelvins for the same watts: blocked air, a stopped fan, dry paste, a loose sink
  more_heat, ///< the watts went up and the resistance did not: look at bias and load
  both,
  better,    ///< fewer kelvins for a watt: a lid taken off, a draught, or the probe has come loose
};
struct ThermalComparison {
  ThermalChange change = ThermalChange::none;
  double resistance_share = 0.0;              ///< now / then - 1
  double resistance_share_uncertainty = 0.0;  ///< standard
  double watts_share = 0.0;                   ///< now / then - 1
};
/// Changes up to this share are everyday: a lid, a neighbour, the season. Common practice, no source.
inline constexpr double thermal_share_min = 0.10;
/// Compares with the baseline. A change counts beyond thermal_share_min and twice its standard uncertainty.
ThermalComparison compare_thermal(const ThermalResistance& baseline, const ThermalResistance& now);

}  // namespace steadyglow::analysis
