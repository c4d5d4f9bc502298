#include "store/file_lock.hpp"

#include <fcntl.h>
#include <sys/file.h>
#include <unistd.h>

#include <cerrno>
#include <system_error>

namespace steadyglow::store {

Result<FileLock> FileLock::take(const std::string& file) {
  const int fd = ::open(file.c_str(), O_RDWR | O_CREAT | O_CLOEXEC, 0644);
  if (fd < 0) {
    const int why = errno;
    return fail(why == EACCES || why == EROFS || why == EPERM ? Fault::permission : Fault::cannot_create, std::generic_category().message(why),
                "does the folder exist, and may this account write in it?", file);
  }
  FileLock lock(fd);
  while (::flock(fd, LOCK_EX | LOCK_NB) != 0) {
    if (errno == EINTR) continue;
    if (errno == EWOULDBLOCK) return fail(Fault::unavailable, "another process has this store open", "is a daemon running already? one store has one daemon", file);
    return fail(Fault::io, std::generic_category().message(errno), "use a local disk, not a network share", file);
  }
  return lock;
}

FileLock::~FileLock() {
  if (fd_ >= 0) ::close(fd_);
}

}  // namespace steadyglow::store
