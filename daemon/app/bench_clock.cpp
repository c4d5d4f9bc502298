#include "app/bench_clock.hpp"

#include <fmt/format.h>

#include <ctime>

#include "app/replay.hpp"
#include "app/text_file.hpp"

namespace steadyglow::app {

Boottime boottime_now() {
  timespec now{};
  clock_gettime(CLOCK_BOOTTIME, &now);
  return std::chrono::seconds{now.tv_sec} + std::chrono::nanoseconds{now.tv_nsec};
}

std::string boot_id() {
  const auto text = read_text_file("/proc/sys/kernel/random/boot_id");
  return text ? text->substr(0, text->find('\n')) : "unknown";
}

std::string utc_label(std::int64_t utc_ms) {
  const std::time_t seconds = utc_ms / 1000;
  std::tm utc{};
  gmtime_r(&seconds, &utc);
  return fmt::format("{:04}-{:02}-{:02}T{:02}:{:02}:{:02}.{:03}Z", utc.tm_year + 1900, utc.tm_mon + 1, utc.tm_mday, utc.tm_hour, utc.tm_min, utc.tm_sec, utc_ms % 1000);
}

std::int64_t utc_now_ms() {
  return std::chrono::duration_cast<std::chrono::milliseconds>(std::chrono::system_clock::now().time_since_epoch()).count();
}

std::string clock_label(std::int64_t utc_ms) {
  const std::time_t seconds = utc_ms / 1000;
  std::tm local{};
  localtime_r(&seconds, &local);
  return fmt::format("{:02}:{:02}:{:02}", local.tm_hour, local.tm_min, local.tm_sec);
}

std::int64_t utc_from_label(const std::string& label) {
  const auto seconds = parse_rfc3339(label);
  return seconds ? static_cast<std::int64_t>(*seconds * 1000.0 + 0.5) : 0;
}

}  // namespace steadyglow::app
