#include "seal/scratch_file.hpp"

#include <fcntl.h>
#include <sys/stat.h>
#include <unistd.h>

#include <cerrno>
#include <cstdlib>
#include <cstring>
#include <filesystem>

namespace steadyglow::seal {
namespace {

struct Descriptor {
  int fd;
  ~Descriptor() {
    if (fd >= 0) close(fd);
  }
};

}  // namespace

Result<ScratchFile> ScratchFile::make(std::string_view bytes) {
  std::error_code code;
  std::string folder = std::filesystem::temp_directory_path(code).string();
  if (code) return fail(Fault::io, "there is no folder for temporary files: " + code.message(), "set TMPDIR");
  folder += "/record.XXXXXX";
  if (mkdtemp(folder.data()) == nullptr) return fail(Fault::cannot_create, std::string("no temporary folder can be made: ") + std::strerror(errno), "set TMPDIR to a folder with room", folder);
  ScratchFile file(folder);
  if (!bytes.empty())
    if (auto written = write_new_file(file.path(), bytes); !written) return tl::unexpected(written.error());
  return file;
}

ScratchFile::~ScratchFile() {
  if (folder_.empty()) return;
  std::error_code ignored;
  std::filesystem::remove_all(folder_, ignored);
}

Result<std::string> read_plain_file(const std::string& path, std::size_t bytes_max) {
  Descriptor in{open(path.c_str(), O_RDONLY | O_NOFOLLOW | O_NONBLOCK | O_CLOEXEC)};
  struct stat seen {};
  if (in.fd < 0) return fail(errno == ELOOP ? Fault::bad_data : Fault::io, errno == ELOOP ? "this is a link" : std::strerror(errno), "", path);
  if (fstat(in.fd, &seen) != 0) return fail(Fault::io, std::strerror(errno), "", path);
  if (!S_ISREG(seen.st_mode)) return fail(Fault::bad_data, "this is no plain file", "", path);
  if (static_cast<std::uint64_t>(seen.st_size) > bytes_max) return fail(Fault::bad_data, "it has " + std::to_string(seen.st_size) + " bytes; more than " + std::to_string(bytes_max) + " are not read", "", path);
  std::string bytes(static_cast<std::size_t>(seen.st_size), '\0');
  std::size_t done = 0;
  while (done < bytes.size()) {
    const ssize_t got = read(in.fd, bytes.data() + done, bytes.size() - done);
    if (got < 0 && errno == EINTR) continue;
    if (got < 0) return fail(Fault::io, std::strerror(errno), "", path);
    if (got == 0) break;  // it became shorter
    done += static_cast<std::size_t>(got);
  }
  bytes.resize(done);
  return bytes;
}

Result<void> write_new_file(const std::string& path, std::string_view bytes) {
  Descriptor out{open(path.c_str(), O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC, 0644)};
  if (out.fd < 0) return fail(Fault::cannot_create, std::string("cannot be written: ") + std::strerror(errno), "check the folder and its permissions", path);
  std::size_t done = 0;
  while (done < bytes.size()) {
    const ssize_t put = write(out.fd, bytes.data() + done, bytes.size() - done);
    if (put < 0 && errno == EINTR) continue;
    if (put < 0) return fail(Fault::io, std::string("cannot be written to its end: ") + std::strerror(errno), "is the disk full?", path);
    done += static_cast<std::size_t>(put);
  }
  if (fsync(out.fd) != 0) return fail(Fault::io, std::strerror(errno), "look at the disk or card", path);
  return {};
}

}  // namespace steadyglow::seal
