#pragma once
/// The least time in which the channels of an instrument can be read over a serial line, by trying every way to cut them into requests.
/// Written apart from the driver's own plan. Source of frames and times: MODBUS over Serial Line V1.02, sections 2.3 and 2.5.1.1;
/// MODBUS Application Protocol V1.1b3, sections 6.1 to 6.4.
#include <algorithm>
#include <cstdint>
#include <filesystem>
#include <map>
#include <stdexcept>
#include <string>
#include <vector>

#include "drivers/modbus/instrument_toml.hpp"
#include "support/house_instruments.hpp"

namespace steadyglow::tests {

/// Seconds of wire for one request and its answer, with the silence before each.
inline double exchange_seconds(bool is_bits, int count, int baud) {
  const double character = 11.0 / baud;
  const double silence = baud > 19200 ? 0.00175 : 3.5 * character;
  const int request = 1 + 1 + 2 + 2 + 2;                                 // unit, function, address, count, check
  const int answer = 1 + 1 + 1 + (is_bits ? (count + 7) / 8 : 2 * count) + 2;  // unit, function, bytes, data, check
  return (request + answer) * character + 2.0 * silence;
}

struct Cost {
  int requests = 0;
  double seconds = 0.0;
};

namespace optimum {

struct Place {
  int address = 0;
  int end = 0;
};

/// Cheapest cost of places[first...], each suffix worked out once.
inline Cost suffix(const std::vector<Place>& places, std::size_t first, bool is_bits, int gap_max, int count_max, int baud, std::map<std::size_t, Cost>& known) {
  if (first == places.size()) return {};
  if (const auto place = known.find(first); place != known.end()) return place->second;
  Cost best{0, 1e9};
  int end = places[first].address;
  for (std::size_t last = first; last < places.size(); ++last) {
    if (places[last].address > end + gap_max) break;
    end = std::max(end, places[last].end);
    const int count = end - places[first].address;
    if (count > count_max) break;
    const Cost rest = suffix(places, last + 1, is_bits, gap_max, count_max, baud, known);
    const double seconds = exchange_seconds(is_bits, count, baud) + rest.seconds;
    if (seconds < best.seconds) best = {1 + rest.requests, seconds};
  }
  return known[first] = best;
}

}  // namespace optimum

inline Cost optimum_of(const drivers::modbus::Instrument& instrument, int baud) {
  using namespace drivers::modbus;
  std::map<RegisterTable, std::vector<optimum::Place>> tables;
  for (const Channel& channel : instrument.channels) tables[channel.table].push_back({channel.address, channel.address + width(channel.type)});
  Cost total;
  for (auto& [table, places] : tables) {
    std::sort(places.begin(), places.end(), [](const auto& a, const auto& b) { return a.address < b.address; });
    const bool is_bits = table == RegisterTable::coil || table == RegisterTable::discrete;
    std::map<std::size_t, Cost> known;
    const Cost cost = optimum::suffix(places, 0, is_bits, is_bits ? 0 : instrument.gap_registers_max, is_bits ? 2000 : instrument.registers_per_request_max, baud, known);
    total = {total.requests + cost.requests, total.seconds + cost.seconds};
  }
  return total;
}

/// A Modbus instrument file of the house.
inline drivers::modbus::Instrument house_modbus(const std::string& name) {
  const drivers::InstrumentText file = house_instrument(name);
  Errors errors;
  auto instrument = drivers::modbus::parse_instrument(file.text, file.file, errors);
  if (!instrument) throw std::runtime_error(errors.front().text());
  return *instrument;
}

/// A meter whose map is wide and full of holes: forty float32 in groups, gaps of 1 to 30 registers that may be read over, 60 registers at most.
inline drivers::modbus::Instrument sparse_instrument() {
  using namespace drivers::modbus;
  Instrument instrument;
  instrument.gap_registers_max = 40;
  instrument.registers_per_request_max = 60;
  int address = 0;
  for (int i = 0; i < 40; ++i) {
    Channel channel;
    channel.name = "c" + std::to_string(i);
    channel.address = static_cast<std::uint16_t>(address);
    channel.type = Type::float32;
    instrument.channels.push_back(channel);
    address += 2 + (i % 5 == 4 ? 1 + (7 * i) % 30 : 0);
  }
  return instrument;
}

inline const std::vector<std::string> house_meters{"analog-8ch-int16", "analog-8ch-microvolt", "thermocouple-8ch-tenths", "rtd-4ch-hundredths",
                                                    "energy-1ph-float32", "energy-1ph-int32", "climate-2ch-tenths", "contacts-8ch"};

}  // namespace steadyglow::tests
