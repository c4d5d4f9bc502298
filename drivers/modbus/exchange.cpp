#include <string_view>

#include "drivers/modbus/link.hpp"

namespace steadyglow::drivers::modbus {
namespace {

std::string_view exception_words(std::uint8_t code) {
  switch (code) {  // V1.1b3, section 7
    case 0x01: return "it does not know this function";
    case 0x02: return "it has no such address";
    case 0x03: return "it does not accept this count or value";
    case 0x04: return "it failed while answering";
    case 0x05: return "it needs more time";
    case 0x06: return "it is busy";
    case 0x08: return "its memory fails a check";
    case 0x0A: return "the gateway has no path to it";
    case 0x0B: return "the gateway gets no answer from it";
    default: return "for a reason of its own";
  }
}

}  // namespace

bool is_gateway_silence(const Exchange& exchange) {
  return exchange.outcome == Outcome::refused &&
         (exchange.exception == static_cast<std::uint8_t>(ExceptionCode::gateway_path_unavailable) ||
          exchange.exception == static_cast<std::uint8_t>(ExceptionCode::gateway_target_silent));
}

bool is_unknown_to_it(const Exchange& exchange) {
  return exchange.outcome == Outcome::refused && exchange.exception >= static_cast<std::uint8_t>(ExceptionCode::illegal_function) &&
         exchange.exception <= static_cast<std::uint8_t>(ExceptionCode::illegal_data_value);
}

std::string trouble_of(const Exchange& exchange) {
  if (exchange.outcome != Outcome::refused) return exchange.trouble;
  return "refused, exception " + std::to_string(exchange.exception) + ": " + std::string(exception_words(exchange.exception));
}

}  // namespace steadyglow::drivers::modbus
