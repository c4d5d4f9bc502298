#include "store/faulty_disk.hpp"

#include <sqlite3.h>

#include <cstring>
#include <fstream>
#include <iterator>

namespace steadyglow::store {
namespace {

sqlite3_vfs* real_disk() {
  static sqlite3_vfs* const real = sqlite3_vfs_find("unix");
  return real;
}

/// SQLite allocates it with room for the real file right behind.
struct File {
  sqlite3_file base;
  const char* path;
  sqlite3_file* real() { return reinterpret_cast<sqlite3_file*>(this + 1); }
};
sqlite3_file* real(sqlite3_file* file) { return reinterpret_cast<File*>(file)->real(); }

int close(sqlite3_file* file) { return real(file)->pMethods->xClose(real(file)); }
int read(sqlite3_file* file, void* to, int size, sqlite3_int64 at) { return real(file)->pMethods->xRead(real(file), to, size, at); }
int write(sqlite3_file* file, const void* from, int size, sqlite3_int64 at) {
  if (const int code = FaultyDisk::instance().next_operation()) return code;
  return real(file)->pMethods->xWrite(real(file), from, size, at);
}
int truncate(sqlite3_file* file, sqlite3_int64 size) {
  if (const int code = FaultyDisk::instance().next_operation()) return code;
  return real(file)->pMethods->xTruncate(real(file), size);
}
int sync(sqlite3_file* file, int flags) {
  if (const int code = FaultyDisk::instance().next_operation()) return code;
  const int code = FaultyDisk::instance().waits_for_the_medium() ? real(file)->pMethods->xSync(real(file), flags) : SQLITE_OK;
  if (const char* path = reinterpret_cast<File*>(file)->path; code == SQLITE_OK && path != nullptr) FaultyDisk::instance().synced(path);
  return code;
}
int file_size(sqlite3_file* file, sqlite3_int64* size) { return real(file)->pMethods->xFileSize(real(file), size); }
int lock(sqlite3_file* file, int level) { return real(file)->pMethods->xLock(real(file), level); }
int unlock(sqlite3_file* file, int level) { return real(file)->pMethods->xUnlock(real(file), level); }
int check_lock(sqlite3_file* file, int* out) { return real(file)->pMethods->xCheckReservedLock(real(file), out); }
int control(sqlite3_file* file, int op, void* argument) { return real(file)->pMethods->xFileControl(real(file), op, argument); }
int sector_size(sqlite3_file* file) { return real(file)->pMethods->xSectorSize(real(file)); }
int traits(sqlite3_file* file) { return real(file)->pMethods->xDeviceCharacteristics(real(file)); }
int shm_map(sqlite3_file* file, int page, int size, int extend, void volatile** out) { return real(file)->pMethods->xShmMap(real(file), page, size, extend, out); }
int shm_lock(sqlite3_file* file, int offset, int n, int flags) { return real(file)->pMethods->xShmLock(real(file), offset, n, flags); }
void shm_barrier(sqlite3_file* file) { real(file)->pMethods->xShmBarrier(real(file)); }
int shm_unmap(sqlite3_file* file, int remove) { return real(file)->pMethods->xShmUnmap(real(file), remove); }

const sqlite3_io_methods methods{2, close, read, write, truncate, sync, file_size, lock, unlock, check_lock, control, sector_size, traits, shm_map, shm_lock, shm_barrier, shm_unmap, nullptr, nullptr};

int open(sqlite3_vfs*, const char* path, sqlite3_file* file, int flags, int* out) {
  auto* ours = reinterpret_cast<File*>(file);
  ours->path = path;
  const int code = real_disk()->xOpen(real_disk(), path, ours->real(), flags, out);
  ours->base.pMethods = ours->real()->pMethods == nullptr ? nullptr : &methods;
  return code;
}

std::string bytes_of(const std::string& path) {
  std::ifstream in(path, std::ios::binary);
  return {std::istreambuf_iterator<char>(in), {}};
}

}  // namespace

FaultyDisk::FaultyDisk() {
  static sqlite3_vfs disk;
  disk = *real_disk();
  disk.zName = "faulty";
  disk.szOsFile = static_cast<int>(sizeof(File)) + real_disk()->szOsFile;
  disk.pNext = nullptr;
  disk.xOpen = open;
  sqlite3_vfs_register(&disk, 1);
}

FaultyDisk& FaultyDisk::instance() {
  static FaultyDisk disk;
  return disk;
}

void FaultyDisk::fail_from(int n, int times, int code) {
  times_ = 0;
  count_ = 0;
  failed_ = 0;
  first_ = n;
  code_ = code;
  times_ = times;
}

int FaultyDisk::next_operation() {
  const int now = ++count_;
  if (now < first_ || now >= first_ + times_) return 0;
  ++failed_;
  return code_;
}

void FaultyDisk::synced(const std::string& path) {
  const std::lock_guard guard(mutex_);
  survives_[path] = bytes_of(path);
}

void FaultyDisk::cut_power(const std::string& file, const std::string& copy) {
  const std::lock_guard guard(mutex_);
  for (const char* which : {"", "-wal"}) {
    const auto found = survives_.find(file + which);
    if (found != survives_.end()) std::ofstream(copy + which, std::ios::binary) << found->second;
  }
}

}  // namespace steadyglow::store
