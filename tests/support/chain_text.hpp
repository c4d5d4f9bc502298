#pragma once
/// A chain as a person writes it at a point, and what is said of it.
#include <string>

#include "document/document.hpp"
#include "document/table.hpp"
#include "sensor/chain_toml.hpp"

namespace steadyglow::tests {

struct ChainText {
  sensor::Chain chain;
  bool fits = false;
  std::string said;  ///< every mistake, one line each
};

/// Reads `text` as the keys of a point whose channel and value have these units of measure ("mV", "Cel"...).
inline ChainText chain_of(const std::string& text, Quantity from, std::string_view from_uom, Quantity to, std::string_view to_uom) {
  Errors errors;
  ChainText read;
  const document::Node root = document::parse(text, "point.toml", errors);
  document::Table table(root, "point.toml", errors);
  read.chain = sensor::read_chain(table);
  table.done();
  read.fits = sensor::fit_chain(table, read.chain, {*find_uom(from, from_uom), *find_uom(to, to_uom), "module.ch1", "sink_c"}) && errors.empty();
  for (const Error& error : errors) read.said += error.text() + "\n";
  return read;
}

}  // namespace steadyglow::tests
