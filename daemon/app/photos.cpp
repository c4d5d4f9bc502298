#include <fcntl.h>
#include <sys/stat.h>
#include <unistd.h>

#include <cerrno>
#include <cstring>
#include <filesystem>

#include "app/bench_cards.hpp"
#include "seal/digest.hpp"

namespace steadyglow::app {
namespace {

bool is_digest(const std::string& text) { return text.size() == seal::digest_hex_length && text.find_first_not_of("0123456789abcdef") == std::string::npos; }

tl::unexpected<Error> trouble(const std::string& what, const std::string& file) { return fail(Fault::io, what + ": " + std::strerror(errno), "is the disk full, or the folder not the daemon's?", file); }

/// Closes what it holds.
class OpenFile {
 public:
  OpenFile(const std::string& file, int flags) : fd_(::open(file.c_str(), flags | O_CLOEXEC | O_NOFOLLOW, 0640)) {}
  ~OpenFile() {
    if (fd_ >= 0) ::close(fd_);
  }
  OpenFile(const OpenFile&) = delete;
  OpenFile& operator=(const OpenFile&) = delete;
  int fd() const { return fd_; }
  explicit operator bool() const { return fd_ >= 0; }

 private:
  int fd_;
};

Result<void> write_all(int fd, std::string_view bytes, const std::string& file) {
  while (!bytes.empty()) {
    const auto written = ::write(fd, bytes.data(), bytes.size());
    if (written < 0 && errno == EINTR) continue;
    if (written <= 0) return trouble("the photo cannot be written", file);
    bytes.remove_prefix(static_cast<std::size_t>(written));
  }
  if (::fsync(fd) != 0) return trouble("the photo cannot be written", file);
  return {};
}

Result<std::string> read_all(const std::string& file) {
  const OpenFile open(file, O_RDONLY);
  struct stat info{};
  if (!open || ::fstat(open.fd(), &info) != 0 || !S_ISREG(info.st_mode)) return fail(Fault::bad_data, "there is no such photo");
  if (static_cast<std::size_t>(info.st_size) > http::photo_bytes_max) return fail(Fault::io, "the photo is larger than it was", {}, file);
  std::string bytes(static_cast<std::size_t>(info.st_size), '\0');
  std::size_t at = 0;
  while (at < bytes.size()) {
    const auto got = ::read(open.fd(), bytes.data() + at, bytes.size() - at);
    if (got < 0 && errno == EINTR) continue;
    if (got <= 0) return trouble("the photo cannot be read", file);
    at += static_cast<std::size_t>(got);
  }
  return bytes;
}

}  // namespace

std::string photo_folder(const std::string& store_file) { return store_file + ".photos"; }

std::string picture_type(std::string_view bytes) {
  // JPEG: SOI and the first byte of the next marker (ITU-T T.81, B.1.1.3). PNG: its signature (ISO/IEC 15948, 5.2).
  if (bytes.starts_with("\xFF\xD8\xFF")) return "image/jpeg";
  if (bytes.starts_with("\x89PNG\r\n\x1A\n")) return "image/png";
  return {};
}

Result<std::string> keep_photo(const std::string& store_file, std::string_view bytes) {
  const std::string folder = photo_folder(store_file);
  const std::string digest = seal::sha256_hex(bytes);
  const std::string file = folder + "/" + digest;
  if (const auto there = read_all(file); there && *there == bytes) return digest;
  if (::mkdir(folder.c_str(), 0750) != 0 && errno != EEXIST) return trouble("the folder of the photos cannot be made", folder);
  // Under another name until it is whole: a power cut leaves no half picture under a digest.
  const std::string half = file + ".half";
  {
    const OpenFile open(half, O_WRONLY | O_CREAT | O_TRUNC);
    if (!open) return trouble("the photo cannot be written", half);
    if (auto written = write_all(open.fd(), bytes, half); !written) {
      ::unlink(half.c_str());
      return tl::unexpected(written.error());
    }
  }
  if (::rename(half.c_str(), file.c_str()) != 0) return trouble("the photo cannot be written", file);
  const OpenFile directory(folder, O_RDONLY | O_DIRECTORY);
  if (!directory || ::fsync(directory.fd()) != 0) return trouble("the photo cannot be written", folder);
  return digest;
}

Result<http::Document> read_photo(const std::string& store_file, const std::string& digest) {
  if (!is_digest(digest)) return fail(Fault::bad_data, "there is no such photo", "a photo is named by its SHA-256 in hexadecimal");
  const std::string file = photo_folder(store_file) + "/" + digest;
  auto bytes = read_all(file);
  if (!bytes) return tl::unexpected(bytes.error());
  const std::string type = picture_type(*bytes);
  if (type.empty() || seal::sha256_hex(*bytes) != digest) return fail(Fault::io, "the photo is not what it was when it came", "the disk changed it: take it from a backup", file);
  return http::Document{type, digest + (type == "image/png" ? ".png" : ".jpg"), std::move(*bytes), false};
}

}  // namespace steadyglow::app
