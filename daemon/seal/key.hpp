#pragma once
/// The shop's key and what is signed with it: Ed25519 (RFC 8032), written as RFC 8410 says so that openssl reads it.
#include <array>
#include <cstdint>
#include <string>
#include <string_view>

#include "core/result.hpp"

namespace steadyglow::seal {

inline constexpr std::size_t signature_bytes = 64;
inline constexpr std::size_t fingerprint_digits = 32;

struct PublicKey {
  std::array<std::uint8_t, 32> bytes{};

  /// SubjectPublicKeyInfo as PEM.
  std::string pem() const;
  /// The first 32 digits of the SHA-256 of the 32 bytes, in groups of four.
  std::string fingerprint() const;
  bool has_signed(std::string_view text, std::string_view signature) const;
  friend bool operator==(const PublicKey&, const PublicKey&) = default;
};

/// Strict: only the very text that pem() gives.
Result<PublicKey> public_key_from_pem(std::string_view text);
/// A fingerprint as a person types it (any case, with or without separators) as pem-side fingerprint() spells it; empty if it is none.
std::string as_fingerprint(std::string_view typed);

/// Owns: the secret, which it wipes.
class SigningKey {
 public:
  /// Reads the key beside a store, or makes one (mode 0600) when there is none yet.
  /// Fails: Fault::permission if others can read it or it is no plain file; bad_data if it is no key; cannot_create, io.
  static Result<SigningKey> of_store(const std::string& store_file);
  static Result<SigningKey> at(const std::string& key_file);
  SigningKey(SigningKey&& other) noexcept;
  SigningKey& operator=(SigningKey&&) = delete;
  ~SigningKey();

  const PublicKey& public_key() const { return public_; }
  /// Deterministic: the same text has the same signature.
  std::string sign(std::string_view text) const;

 private:
  explicit SigningKey(const std::array<std::uint8_t, 32>& seed);
  PublicKey public_;
  std::array<std::uint8_t, 64> secret_{};
};

std::string key_file_of(const std::string& store_file);

}  // namespace steadyglow::seal
