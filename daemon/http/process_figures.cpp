#include <dirent.h>
#include <sys/resource.h>
#include <unistd.h>

#include <chrono>
#include <fstream>
#include <locale>
#include <sstream>
#include <string>
#include <vector>

#include "core/decimal.hpp"
#include "http/metrics.hpp"

namespace steadyglow::http {
namespace {

std::string read_file(const char* path) {
  std::ifstream file(path);
  std::ostringstream text;
  text << file.rdbuf();
  return text.str();
}

/// The fields of /proc/self/stat from the third on: the second, the program's name, may hold anything.
std::vector<std::string> stat_fields() {
  const std::string text = read_file("/proc/self/stat");
  const std::size_t name_end = text.rfind(')');
  std::vector<std::string> fields;
  if (name_end == std::string::npos) return fields;
  std::istringstream rest(text.substr(name_end + 1));
  for (std::string field; rest >> field;) fields.push_back(field);
  return fields;
}

/// Seconds since 1970 at which the machine booted (the btime line of /proc/stat).
std::optional<double> boot_seconds() {
  std::ifstream file("/proc/stat");
  for (std::string line; std::getline(file, line);)
    if (line.starts_with("btime ")) return parse_decimal(line.substr(6));
  return std::nullopt;
}

std::optional<double> count_open_fds() {
  DIR* const folder = opendir("/proc/self/fd");
  if (folder == nullptr) return std::nullopt;
  double count = -3.0;  // ".", ".." and the folder's own descriptor
  while (readdir(folder) != nullptr) count += 1.0;
  closedir(folder);
  return count;
}

}  // namespace

ProcessFigures read_process_figures() {
  // Positions by proc(5), less the two fields that stat_fields() leaves out and one because they count from 1.
  constexpr std::size_t utime = 14 - 3, stime = 15 - 3, num_threads = 20 - 3, starttime = 22 - 3, vsize = 23 - 3, rss = 24 - 3;
  ProcessFigures figures;
  const auto fields = stat_fields();
  const auto number = [&](std::size_t position) { return position < fields.size() ? parse_decimal(fields[position]) : std::nullopt; };
  const auto ticks_per_second = static_cast<double>(sysconf(_SC_CLK_TCK));
  if (number(utime) && number(stime)) figures.cpu_seconds = (*number(utime) + *number(stime)) / ticks_per_second;
  if (number(starttime) && boot_seconds()) figures.start_time_seconds = *boot_seconds() + *number(starttime) / ticks_per_second;
  if (number(rss)) figures.resident_bytes = *number(rss) * static_cast<double>(sysconf(_SC_PAGESIZE));
  figures.virtual_bytes = number(vsize);
  figures.threads = number(num_threads);
  figures.open_fds = count_open_fds();
  rlimit limit{};
  if (getrlimit(RLIMIT_NOFILE, &limit) == 0) figures.max_fds = static_cast<double>(limit.rlim_cur);
  return figures;
}

}  // namespace steadyglow::http
