#include "drivers/modbus/identity.hpp"

#include "drivers/modbus/decode.hpp"
#include "drivers/text.hpp"

namespace steadyglow::drivers::modbus {
namespace {

/// For a log and a page: what is no printable ASCII shows as a question mark.
std::string printable(std::string_view text) {
  std::string shown(trimmed(text, white_and_padding));
  for (char& c : shown)
    if (c < ' ' || c > '~') c = '?';
  return shown;
}

std::string place_of(RegisterTable table, int address) { return std::string(to_word(table)) + " register " + std::to_string(address); }

}  // namespace

std::string identity_in(const IdentityRule& rule, std::span<const std::uint16_t> registers) {
  if (rule.is_number) return std::to_string(static_cast<std::uint64_t>(decode_raw(rule.type, rule.order, registers)));
  std::string text;
  for (const std::uint16_t word : registers) {
    text += static_cast<char>(word >> 8);
    text += static_cast<char>(word & 0xFF);
  }
  return printable(text);
}

std::string identity_in(const std::vector<std::string>& texts) {
  std::string all;
  for (const std::string& text : texts) all += (all.empty() ? "" : ",") + printable(text);
  return all;
}

bool is_expected(const IdentityRule& rule, std::string_view bound, std::string_view says) {
  if (rule.is) return says == std::to_string(*rule.is);
  return trimmed(bound).empty() || trimmed(bound) == says;
}

std::string stranger_words(const IdentityRule& rule, std::string_view bound, std::string_view says) {
  if (rule.is)
    return place_of(rule.table, rule.address) + (says.empty() ? " is refused" : " says " + std::string(says)) + " where every such device has the type code " +
           std::to_string(*rule.is) + ": another kind of device, or the wrong instrument file";
  if (says.empty()) return "a device that does not say who it is answers where `" + std::string(bound) + "` is bound";
  return drivers::stranger_words(says, bound);
}

std::string slip_words(const IdentityRule& rule, std::string_view says, int step) {
  return place_of(rule.table, rule.address) + (says.empty() ? " is refused" : " says " + std::string(says)) + ", the code " + std::to_string(rule.is.value_or(0)) + " stands at " +
         std::to_string(rule.address + step) + ": every address of this file is one too " + (step > 0 ? "low" : "high") + " (zero-based addresses are meant)";
}

std::string one_off_words(const Channel& first, const Channel& last) {
  return "`" + first.name + "` is answered and only the last, `" + last.name + "` at " + place_of(last.table, last.address) +
         ", is unknown to it: if these addresses were copied from a list that counts from 1, every one is one too high (zero-based addresses are meant)";
}

}  // namespace steadyglow::drivers::modbus
