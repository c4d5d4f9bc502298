#pragma once
/// How long repaired units lasted: one life for each repair, in the soak and with the owner.
#include <string>
#include <vector>

#include "card/cards.hpp"
#include "reliability/life.hpp"

namespace steadyglow::card {

/// Empty: all.
struct Which {
  std::string kind;
  std::string model;
};

struct RepairLife {
  std::string card;
  std::string kind;
  std::string model;
  reliability::Life life;
  bool is_return = false;  ///< it failed with its owner
};

struct Lives {
  std::vector<RepairLife> all;
  std::size_t sold = 0;
  std::size_t returned = 0;                ///< with a fault of the unit
  std::size_t returned_without_hours = 0;  ///< of these; they count as having left the shop well
  std::size_t runs_unread = 0;             ///< over, and nobody has told them again yet

  std::vector<reliability::Life> lives() const;
};

/// A life begins with the first run after a repair, a failure or a return. Runs of one repair add up. It ends where the unit failed, in
/// the soak (hours with power) or with its owner (soak hours plus owner hours), and else goes on unended (censored) at its counted hours:
/// what did not count (warm-up, gaps) is left out, which errs to the side of shorter lives. A run that goes on, and one that is over
/// without an hour, says nothing.
Lives lives_of(const Cards& cards, const Which& which = {});

}  // namespace steadyglow::card
