#pragma once
/// Turns what a sensor gives into the quantity that it measures: here a chain as the configuration writes it.
#include <string_view>

#include "document/table.hpp"
#include "sensor/chain.hpp"

namespace steadyglow::sensor {

/// Reads `accept`, `divider`, `shunt`, `transformer`, `thermocouple`, `platinum`, `thermistor`, `scale` and `offset` of a point. Each mistake
/// is noted with a hint; a mistaken step stays in the chain, so that fit_chain() can say what else is wrong with it.
Chain read_chain(document::Table& point);

/// Where a chain begins and ends, and what these are called.
struct ChainEnds {
  Uom from{};
  Uom to{};
  std::string_view channel;
  std::string_view point;
};
/// Gives the chain its ends, and notes the first step that cannot take what comes to it. True when all fits.
bool fit_chain(document::Table& point, Chain& chain, const ChainEnds& ends);

}  // namespace steadyglow::sensor
