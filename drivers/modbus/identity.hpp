#pragma once
/// What a device calls itself, and whether that is the one that was meant. No I/O.
#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "drivers/modbus/instrument.hpp"

namespace steadyglow::drivers::modbus {

/// What the registers of a rule say, in address order: text without what pads it, or a number in decimal.
std::string identity_in(const IdentityRule& rule, std::span<const std::uint16_t> registers);

/// Vendor, product and revision (the basic stream of V1.1b3, section 6.21) joined by ",".
std::string identity_in(const std::vector<std::string>& texts);

/// True when this device may be believed: it is the bound one, its type code is right, or nothing was asked of it.
bool is_expected(const IdentityRule& rule, std::string_view bound, std::string_view says);

/// Nobody's values are believed before the device has said who it is.
inline bool must_be_proven(const IdentityRule& rule, std::string_view bound) {
  return rule.source != IdentityRule::Source::none && (!bound.empty() || rule.is.has_value());
}

/// "`A` answers where `B` is bound"; `says` empty: it does not say.
std::string stranger_words(const IdentityRule& rule, std::string_view bound, std::string_view says);

/// The type code was not where the file says, but `step` registers further (-1 or +1).
std::string slip_words(const IdentityRule& rule, std::string_view says, int step);

/// The last channel of a table is refused as unknown and every other one answered.
std::string one_off_words(const Channel& first, const Channel& last);

}  // namespace steadyglow::drivers::modbus
