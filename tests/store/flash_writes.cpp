/// Measures what one hour of readings writes to the disk: store_flash_writes FOLDER [page_size]
/// Twenty points once a second, committed each second and every ten seconds; the hour passes as fast as the disk allows.
/// Counted: write_bytes of /proc/self/io, which is what the page cache hands to the file system, in whole pages.
#include <charconv>
#include <cmath>
#include <cstdio>
#include <filesystem>
#include <fstream>
#include <string>

#include "store/sqlite.hpp"
#include "store/store.hpp"

namespace {

using namespace steadyglow;

std::uint64_t written_bytes() {
  std::ifstream io("/proc/self/io");
  std::string name;
  std::uint64_t value = 0;
  while (io >> name >> value)
    if (name == "write_bytes:") return value;
  return 0;
}

double megabytes_per_hour(const std::string& file, int seconds_per_commit, const std::string& page_size) {
  // A page size other than the store's own: begun before the store sees the file.
  if (auto empty = store::Connection::open(file, store::Access::write); empty && !page_size.empty()) (void)empty->run("PRAGMA page_size = " + page_size + "; PRAGMA journal_mode = WAL");
  auto store = store::Store::open(file, {.commit_every = std::chrono::hours{1}});
  if (!store) return std::puts(store.error().text().c_str()), NAN;
  store::RunRow run;
  run.points.assign(20, "point");
  const auto id = (*store)->begin_run(run);
  if (!(*store)->flush()) return NAN;
  const std::uint64_t before = written_bytes();
  for (int second = 1; second <= 3600; ++second) {
    const Timestamp at = at_ms(1000 * second);
    std::vector<Reading> batch;
    for (std::uint16_t point = 0; point < 20; ++point) batch.push_back(Reading::good(PointId{point}, at, 380.0 + std::sin(second) + point));
    (*store)->append_readings(id, at, batch);
    if (second % seconds_per_commit == 0 && !(*store)->flush(std::chrono::minutes{1})) return NAN;
  }
  store->reset();
  return static_cast<double>(written_bytes() - before) / 1e6;
}

}  // namespace

int main(int count, char** arguments) {
  if (count < 2) return std::puts("usage: store_flash_writes FOLDER [page_size]"), 64;
  const std::filesystem::path folder = arguments[1];
  const std::string page_size = count > 2 ? arguments[2] : "";
  for (const int seconds : {1, 10}) {
    const std::string file = (folder / ("flash_" + page_size + "_" + std::to_string(seconds) + ".db")).string();
    for (const char* beside : {"", "-wal", "-shm", ".lock"}) std::filesystem::remove(file + beside);
    const double megabytes = megabytes_per_hour(file, seconds, page_size);
    std::printf("page size %s, commit every %2d s: %.1f MB written per hour, file %.2f MB\n", page_size.empty() ? "the store's own" : page_size.c_str(), seconds, megabytes, static_cast<double>(std::filesystem::file_size(file)) / 1e6);
    for (const char* beside : {"", "-wal", "-shm", ".lock"}) std::filesystem::remove(file + beside);
  }
  return 0;
}
