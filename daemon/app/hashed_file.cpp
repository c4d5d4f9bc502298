#include "app/hashed_file.hpp"

#include <array>
#include <cerrno>
#include <cstring>
#include <filesystem>

namespace steadyglow::app {
namespace {

constexpr std::size_t buffer_bytes = 256 * 1024;

}  // namespace

Result<void> HashedFile::open(const std::string& file) {
  std::error_code code;
  if (std::filesystem::is_directory(file, code)) return fail(Fault::bad_data, "this is a folder, not a file", "", file);
  in_.open(file, std::ios::binary);
  if (!in_) return fail(Fault::bad_data, std::string("cannot be read: ") + std::strerror(errno), "check the path and its permissions", file);
  if (std::filesystem::is_regular_file(file, code)) size_ = std::filesystem::file_size(file, code);
  buffer_.resize(buffer_bytes);
  crypto_hash_sha256_init(&state_);
  return {};
}

HashedFile::int_type HashedFile::underflow() {
  in_.read(buffer_.data(), static_cast<std::streamsize>(buffer_.size()));
  const auto got = static_cast<std::size_t>(in_.gcount());
  if (got == 0) return traits_type::eof();
  crypto_hash_sha256_update(&state_, reinterpret_cast<const unsigned char*>(buffer_.data()), got);
  bytes_read_ += got;
  setg(buffer_.data(), buffer_.data(), buffer_.data() + got);
  return traits_type::to_int_type(buffer_.front());
}

std::string HashedFile::sha256() {
  std::array<unsigned char, crypto_hash_sha256_BYTES> sum{};
  crypto_hash_sha256_final(&state_, sum.data());
  std::array<char, 2 * crypto_hash_sha256_BYTES + 1> hex{};
  sodium_bin2hex(hex.data(), hex.size(), sum.data(), sum.size());
  return hex.data();
}

Result<std::string> sha256_of_file(const std::string& file) {
  HashedFile hashed;
  if (auto opened = hashed.open(file); !opened) return tl::unexpected(opened.error());
  std::vector<char> part(buffer_bytes);
  while (hashed.sgetn(part.data(), static_cast<std::streamsize>(part.size())) > 0) continue;
  return hashed.sha256();
}

}  // namespace steadyglow::app
