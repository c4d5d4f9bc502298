#pragma once
#include <cstdint>
#include <optional>
#include <string_view>

namespace steadyglow {

/// What is measured. The words are those of a profile's `quantity`.
enum class Quantity : std::uint8_t { voltage, current, power, temperature, frequency, speed, ratio, energy, state, resistance };

inline constexpr std::uint8_t quantity_count = 10;

std::string_view to_word(Quantity quantity);
std::optional<Quantity> quantity_from_word(std::string_view word);

/// A unit of measure in the UCUM spelling, with its factor to the quantity's base unit
/// (V, A, W, Cel, Hz, Hz for speed, 1, J, 1, Ohm): base = factor * value.
struct Uom {
  std::string_view symbol;  ///< UCUM case-sensitive symbol; points at static storage
  Quantity quantity;
  double to_base;
  std::string_view shown;  ///< how a person writes it ("°C" for Cel, empty for 1)
};

/// Looks a symbol up for a quantity ("mV" for voltage). Source of symbols: UCUM, section 4 tables.
std::optional<Uom> find_uom(Quantity quantity, std::string_view symbol);
/// The symbols known for a quantity, joined by ", ": for hints.
std::string_view uoms_of(Quantity quantity);

}  // namespace steadyglow
