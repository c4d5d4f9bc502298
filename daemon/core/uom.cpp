#include "core/uom.hpp"

#include <array>

namespace steadyglow {
namespace {

constexpr std::array<std::string_view, quantity_count> quantity_words{
    "voltage", "current", "power", "temperature", "frequency", "speed", "ratio", "energy", "state", "resistance"};

constexpr std::array<std::string_view, quantity_count> uom_lists{
    "uV, mV, V, kV", "uA, mA, A", "mW, W, kW, V.A", "Cel", "Hz, kHz", "Hz, %, {rpm}", "1, %, dB", "J, kJ, W.h, kW.h", "1", "mOhm, Ohm, kOhm, MOhm"};

constexpr std::array known{
    Uom{"uV", Quantity::voltage, 1e-6, "µV"},     Uom{"mV", Quantity::voltage, 1e-3, "mV"},
    Uom{"V", Quantity::voltage, 1.0, "V"},        Uom{"kV", Quantity::voltage, 1e3, "kV"},
    Uom{"uA", Quantity::current, 1e-6, "µA"},     Uom{"mA", Quantity::current, 1e-3, "mA"},
    Uom{"A", Quantity::current, 1.0, "A"},        Uom{"mW", Quantity::power, 1e-3, "mW"},
    Uom{"W", Quantity::power, 1.0, "W"},          Uom{"kW", Quantity::power, 1e3, "kW"},
    Uom{"V.A", Quantity::power, 1.0, "VA"},       Uom{"Cel", Quantity::temperature, 1.0, "°C"},
    Uom{"Hz", Quantity::frequency, 1.0, "Hz"},    Uom{"kHz", Quantity::frequency, 1e3, "kHz"},
    Uom{"Hz", Quantity::speed, 1.0, "Hz"},        Uom{"%", Quantity::speed, 1.0, "%"},
    Uom{"{rpm}", Quantity::speed, 1.0 / 60.0, "rpm"},    Uom{"1", Quantity::ratio, 1.0, ""},
    Uom{"%", Quantity::ratio, 0.01, "%"},         Uom{"dB", Quantity::ratio, 1.0, "dB"},
    Uom{"J", Quantity::energy, 1.0, "J"},         Uom{"kJ", Quantity::energy, 1e3, "kJ"},
    Uom{"W.h", Quantity::energy, 3600.0, "Wh"},   Uom{"kW.h", Quantity::energy, 3.6e6, "kWh"},
    Uom{"1", Quantity::state, 1.0, ""},           Uom{"mOhm", Quantity::resistance, 1e-3, "mΩ"},
    Uom{"Ohm", Quantity::resistance, 1.0, "Ω"},    Uom{"kOhm", Quantity::resistance, 1e3, "kΩ"},
    Uom{"MOhm", Quantity::resistance, 1e6, "MΩ"},
};

}  // namespace

std::string_view to_word(Quantity quantity) { return quantity_words[static_cast<std::size_t>(quantity)]; }

std::optional<Quantity> quantity_from_word(std::string_view word) {
  for (std::size_t i = 0; i < quantity_words.size(); ++i)
    if (quantity_words[i] == word) return static_cast<Quantity>(i);
  return std::nullopt;
}

std::optional<Uom> find_uom(Quantity quantity, std::string_view symbol) {
  for (const Uom& uom : known)
    if (uom.quantity == quantity && uom.symbol == symbol) return uom;
  return std::nullopt;
}

std::string_view uoms_of(Quantity quantity) { return uom_lists[static_cast<std::size_t>(quantity)]; }

}  // namespace steadyglow
