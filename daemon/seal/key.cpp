#include "seal/key.hpp"

#include <fcntl.h>
#include <sodium.h>
#include <sys/stat.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <cstring>

#include "seal/digest.hpp"

namespace steadyglow::seal {
namespace {

// RFC 8410, sections 4 and 7: what stands before the 32 bytes in DER.
constexpr std::array<std::uint8_t, 12> public_prefix{0x30, 0x2a, 0x30, 0x05, 0x06, 0x03, 0x2b, 0x65, 0x70, 0x03, 0x21, 0x00};
constexpr std::array<std::uint8_t, 16> private_prefix{0x30, 0x2e, 0x02, 0x01, 0x00, 0x30, 0x05, 0x06, 0x03, 0x2b, 0x65, 0x70, 0x04, 0x22, 0x04, 0x20};
constexpr std::string_view public_label = "PUBLIC KEY";
constexpr std::string_view private_label = "PRIVATE KEY";
constexpr std::size_t key_file_bytes_max = 1024;

using Bytes32 = std::array<std::uint8_t, 32>;

template <std::size_t N>
std::string pem_of(const std::array<std::uint8_t, N>& prefix, const Bytes32& key, std::string_view label) {
  std::array<std::uint8_t, N + 32> der{};
  std::copy(prefix.begin(), prefix.end(), der.begin());
  std::copy(key.begin(), key.end(), der.begin() + N);
  std::string base64(sodium_base64_ENCODED_LEN(N + 32, sodium_base64_VARIANT_ORIGINAL), '\0');
  sodium_bin2base64(base64.data(), base64.size(), der.data(), der.size(), sodium_base64_VARIANT_ORIGINAL);
  base64.pop_back();  // its terminator
  sodium_memzero(der.data(), der.size());
  const std::string words(label);
  return "-----BEGIN " + words + "-----\n" + base64 + "\n-----END " + words + "-----\n";
}

/// Takes the key out of the text, if writing it again gives the same text.
template <std::size_t N>
bool read_pem(std::string_view text, const std::array<std::uint8_t, N>& prefix, std::string_view label, Bytes32& key) {
  const std::size_t begin = text.find('\n');
  const std::size_t end = begin == std::string_view::npos ? begin : text.find('\n', begin + 1);
  if (end == std::string_view::npos) return false;
  std::array<std::uint8_t, N + 32> der{};
  std::size_t length = 0;
  if (sodium_base642bin(der.data(), der.size(), text.data() + begin + 1, end - begin - 1, nullptr, &length, nullptr, sodium_base64_VARIANT_ORIGINAL) != 0 || length != der.size()) return false;
  std::copy(der.begin() + N, der.end(), key.begin());
  sodium_memzero(der.data(), der.size());
  return pem_of(prefix, key, label) == text;
}

struct Descriptor {
  int fd;
  ~Descriptor() {
    if (fd >= 0) close(fd);
  }
};

Error system_error(Fault fault, const std::string& what, const std::string& file, int code) {
  return {fault, what + ": " + std::strerror(code), "check the folder and its permissions", file};
}

Result<void> make_key_file(const std::string& file) {
  Bytes32 seed{};
  randombytes_buf(seed.data(), seed.size());
  std::string text = pem_of(private_prefix, seed, private_label);
  sodium_memzero(seed.data(), seed.size());
  // Whole under another name first: a key that is cut short would be lost with everything it has signed.
  const std::string unfinished = file + ".unfinished." + std::to_string(getpid());
  Descriptor out{open(unfinished.c_str(), O_WRONLY | O_CREAT | O_EXCL | O_NOFOLLOW | O_CLOEXEC, 0600)};
  if (out.fd < 0) return tl::unexpected(system_error(Fault::cannot_create, "the shop's key cannot be written", file, errno));
  const bool is_written = write(out.fd, text.data(), text.size()) == static_cast<ssize_t>(text.size()) && fchmod(out.fd, 0600) == 0 && fsync(out.fd) == 0;
  const int code = errno;
  sodium_memzero(text.data(), text.size());
  // link() and not rename(): whoever was quicker keeps theirs.
  const bool is_there = is_written && (link(unfinished.c_str(), file.c_str()) == 0 || errno == EEXIST);
  const int link_code = errno;
  unlink(unfinished.c_str());
  if (!is_written) return tl::unexpected(system_error(Fault::io, "the shop's key cannot be written", file, code));
  if (!is_there) return tl::unexpected(system_error(Fault::cannot_create, "the shop's key cannot be written", file, link_code));
  return {};
}

}  // namespace

std::string PublicKey::pem() const { return pem_of(public_prefix, bytes, public_label); }

std::string PublicKey::fingerprint() const {
  return in_groups(sha256_hex({reinterpret_cast<const char*>(bytes.data()), bytes.size()}), fingerprint_digits);
}

bool PublicKey::has_signed(std::string_view text, std::string_view signature) const {
  if (sodium_init() < 0 || signature.size() != signature_bytes) return false;
  return crypto_sign_verify_detached(reinterpret_cast<const unsigned char*>(signature.data()), reinterpret_cast<const unsigned char*>(text.data()), text.size(), bytes.data()) == 0;
}

Result<PublicKey> public_key_from_pem(std::string_view text) {
  PublicKey key;
  if (!read_pem(text, public_prefix, public_label, key.bytes)) return fail(Fault::bad_data, "this is no Ed25519 public key as the record writes it", "it is a PEM text of three lines (RFC 8410)");
  return key;
}

std::string as_fingerprint(std::string_view typed) {
  std::string hex;
  for (const char c : typed) {
    if (c == '-' || c == ' ' || c == ':') continue;
    const char lower = c >= 'A' && c <= 'F' ? static_cast<char>(c - 'A' + 'a') : c;
    if (!((lower >= '0' && lower <= '9') || (lower >= 'a' && lower <= 'f'))) return {};
    hex += lower;
  }
  return hex.size() == fingerprint_digits ? in_groups(hex, fingerprint_digits) : std::string();
}

std::string key_file_of(const std::string& store_file) { return store_file + ".seal_key"; }

SigningKey::SigningKey(const std::array<std::uint8_t, 32>& seed) { crypto_sign_seed_keypair(public_.bytes.data(), secret_.data(), seed.data()); }

SigningKey::SigningKey(SigningKey&& other) noexcept : public_(other.public_), secret_(other.secret_) { sodium_memzero(other.secret_.data(), other.secret_.size()); }

SigningKey::~SigningKey() { sodium_memzero(secret_.data(), secret_.size()); }

std::string SigningKey::sign(std::string_view text) const {
  std::string signature(signature_bytes, '\0');
  crypto_sign_detached(reinterpret_cast<unsigned char*>(signature.data()), nullptr, reinterpret_cast<const unsigned char*>(text.data()), text.size(), secret_.data());
  return signature;
}

Result<SigningKey> SigningKey::of_store(const std::string& store_file) { return at(key_file_of(store_file)); }

Result<SigningKey> SigningKey::at(const std::string& file) {
  if (sodium_init() < 0) return fail(Fault::io, "the cryptography library does not start");
  struct stat seen {};
  if (lstat(file.c_str(), &seen) != 0) {
    if (errno != ENOENT) return tl::unexpected(system_error(Fault::io, "the shop's key cannot be looked at", file, errno));
    if (auto made = make_key_file(file); !made) return tl::unexpected(made.error());
  }
  Descriptor in{open(file.c_str(), O_RDONLY | O_NOFOLLOW | O_CLOEXEC | O_NONBLOCK)};
  if (in.fd < 0 || fstat(in.fd, &seen) != 0) {
    if (errno == ELOOP) return fail(Fault::permission, "the shop's key is a link", "put the key itself there", file);
    return tl::unexpected(system_error(errno == EACCES ? Fault::permission : Fault::io, "the shop's key cannot be read", file, errno));
  }
  if (!S_ISREG(seen.st_mode)) return fail(Fault::permission, "the shop's key is no plain file", "move it away; a new key is made on the next use", file);
  if ((seen.st_mode & 077) != 0)
    return fail(Fault::permission, "others can read the shop's key, so its signature proves nothing", "chmod 600 it, and if somebody may have copied it, move it away and tell your buyers of the new fingerprint", file);
  std::string text(key_file_bytes_max, '\0');
  const ssize_t got = read(in.fd, text.data(), text.size());
  if (got < 0) return tl::unexpected(system_error(Fault::io, "the shop's key cannot be read", file, errno));
  Bytes32 seed{};
  const bool is_key = read_pem(std::string_view(text).substr(0, static_cast<std::size_t>(got)), private_prefix, private_label, seed);
  sodium_memzero(text.data(), text.size());
  if (!is_key) return fail(Fault::bad_data, "this is no key of this program", "restore it from a backup, or move it away: a new key has another fingerprint", file);
  SigningKey key(seed);
  sodium_memzero(seed.data(), seed.size());
  return key;
}

}  // namespace steadyglow::seal
