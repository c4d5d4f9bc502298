#pragma once
/// The instrument files of config/instruments, and the [[bus]] tables of a bench that name them.
#include <fstream>
#include <iterator>
#include <stdexcept>
#include <string>
#include <utility>
#include <vector>

#include "document/table.hpp"
#include "drivers/registry.hpp"

namespace steadyglow::tests {

/// Throws when there is none of that name.
inline drivers::InstrumentText house_instrument(const std::string& name) {
  const std::string file = std::string(STEADYGLOW_SOURCE_DIR) + "/config/instruments/" + name + ".toml";
  std::ifstream stream(file);
  if (!stream) throw std::runtime_error("no file " + file);
  return {file, {std::istreambuf_iterator<char>(stream), {}}};
}

struct BusesRead {
  std::vector<drivers::BusSpec> buses;  ///< those without a mistake
  Errors errors;
  std::string said;  ///< the errors as a person reads them, a line each

  /// The first bus; its absence is a failure of the test, and throws.
  const drivers::BusSpec& spec() const {
    if (buses.empty()) throw std::runtime_error(said);
    return buses.front();
  }
};

/// Reads the [[bus]] tables of `toml`.
inline BusesRead read_buses(const std::string& toml, const drivers::InstrumentFinder& find) {
  BusesRead read;
  const document::Node root = document::parse(toml, "bench.toml", read.errors);
  document::Table top(root, "bench.toml", read.errors);
  for (document::Table& bus : top.tables("bus"))
    if (auto spec = drivers::read_bus(bus, find, read.errors)) read.buses.push_back(std::move(*spec));
  for (const Error& error : read.errors) read.said += error.text() + "\n";
  return read;
}

}  // namespace steadyglow::tests
