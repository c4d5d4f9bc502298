#pragma once
#include <cstdint>
#include <string>

#include "core/result.hpp"

namespace steadyglow::notify {

/// The key of the links in messages: 32 random bytes in a file that only the daemon reads; made when it is not there.
Result<std::string> link_key(const std::string& file);
/// What a message's link carries for this incident (crypto_auth of libsodium, hexadecimal).
std::string link_token(const std::string& key, std::int64_t incident);
/// Compared in constant time.
bool is_link_token(const std::string& key, std::int64_t incident, const std::string& token);

}  // namespace steadyglow::notify
