#include "notify/token.hpp"

#include <fcntl.h>
#include <sodium.h>
#include <unistd.h>

#include <array>
#include <cerrno>
#include <cstring>

namespace steadyglow::notify {

Result<std::string> link_key(const std::string& file) {
  if (sodium_init() < 0) return fail(Fault::io, "no source of random numbers");
  std::string key(crypto_auth_KEYBYTES, '\0');
  const int there = open(file.c_str(), O_RDONLY | O_CLOEXEC);
  if (there >= 0) {
    const ssize_t size = read(there, key.data(), key.size());
    close(there);
    if (size == static_cast<ssize_t>(key.size())) return key;
    return fail(Fault::bad_data, "the key of the messages' links is damaged", "remove it: a new one is made, and older links no longer open anything", file);
  }
  randombytes_buf(key.data(), key.size());
  const int made = open(file.c_str(), O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC, 0600);
  if (made < 0) return fail(Fault::cannot_create, std::string("the key of the messages' links cannot be made: ") + std::strerror(errno), {}, file);
  const bool is_written = write(made, key.data(), key.size()) == static_cast<ssize_t>(key.size()) && fsync(made) == 0;
  close(made);
  if (!is_written) return fail(Fault::io, "the key of the messages' links cannot be written", {}, file);
  return key;
}

std::string link_token(const std::string& key, std::int64_t incident) {
  const std::string text = "incident:" + std::to_string(incident);
  std::array<unsigned char, crypto_auth_BYTES> sum{};
  crypto_auth(sum.data(), reinterpret_cast<const unsigned char*>(text.data()), text.size(), reinterpret_cast<const unsigned char*>(key.data()));
  std::array<char, 2 * crypto_auth_BYTES + 1> hex{};
  sodium_bin2hex(hex.data(), hex.size(), sum.data(), sum.size());
  return hex.data();
}

bool is_link_token(const std::string& key, std::int64_t incident, const std::string& token) {
  const std::string right = link_token(key, incident);
  return token.size() == right.size() && sodium_memcmp(token.data(), right.data(), right.size()) == 0;
}

}  // namespace steadyglow::notify
