#pragma once
/// What a person may order by POST, as a table: which address, and which fields its body may have.
#include <optional>
#include <string>
#include <vector>

#include "http/exchange.hpp"
#include "http/server.hpp"

namespace steadyglow::http {

inline constexpr std::size_t list_entries_max = 64;

/// "/api/v1/units/NAME/acts" in parts. Knows this address; empty: it is none of the orders.
bool is_order(const std::vector<std::string>& parts);
/// Checks the body (one object, known fields, texts bounded and without control characters, `who` where it is needed) and
/// hands it on. 400 for a bad body.
Response carry_out(const std::vector<std::string>& parts, const std::string& body, const Backend& backend);

/// The HTTP status of a refusal.
unsigned status_of(Fault fault);

}  // namespace steadyglow::http
