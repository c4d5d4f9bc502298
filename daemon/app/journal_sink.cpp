#include "app/journal_sink.hpp"

#include <sys/socket.h>
#include <sys/stat.h>
#include <sys/un.h>
#include <unistd.h>

#include <algorithm>
#include <cstdlib>
#include <cstring>

namespace steadyglow::app {
namespace {

/// What does not fit into a datagram is cut: the store has the whole sentence.
constexpr std::size_t message_bytes_max = 32 * 1024;

/// syslog(3): 2 critical, 3 error, 4 warning, 6 informational, 7 debug.
int priority_of(spdlog::level::level_enum level) {
  switch (level) {
    case spdlog::level::critical: return 2;
    case spdlog::level::err: return 3;
    case spdlog::level::warn: return 4;
    case spdlog::level::info: return 6;
    default: return 7;
  }
}

}  // namespace

std::string journal_entry(const std::vector<std::pair<std::string, std::string>>& fields) {
  std::string entry;
  for (const auto& [name, value] : fields) {
    if (value.find('\n') == std::string::npos) {
      entry += name + "=" + value + "\n";
      continue;
    }
    entry += name + "\n";
    std::uint64_t rest = value.size();
    for (int i = 0; i < 8; ++i) entry += static_cast<char>(rest & 0xFFu), rest >>= 8;  // little-endian
    entry += value + "\n";
  }
  return entry;
}

std::string unit_of_line(std::string_view line, const std::vector<std::string>& units) {
  const std::size_t colon = line.find(": ");
  if (colon == std::string_view::npos) return {};
  const std::string head(line.substr(0, colon));
  return std::find(units.begin(), units.end(), head) == units.end() ? std::string{} : head;
}

bool is_stderr_the_journal() {
  const char* stream = std::getenv("JOURNAL_STREAM");
  struct stat found {};
  if (stream == nullptr || ::fstat(STDERR_FILENO, &found) != 0) return false;
  return std::to_string(found.st_dev) + ":" + std::to_string(found.st_ino) == stream;
}

JournalSink::JournalSink(std::string socket) : path_(std::move(socket)) { socket_ = ::socket(AF_UNIX, SOCK_DGRAM | SOCK_CLOEXEC | SOCK_NONBLOCK, 0); }

JournalSink::~JournalSink() {
  if (socket_ >= 0) ::close(socket_);
}

void JournalSink::know(std::vector<std::string> units) {
  const std::lock_guard lock(mutex_);
  units_ = std::move(units);
}

void JournalSink::sink_it_(const spdlog::details::log_msg& line) {
  const std::string message(line.payload.data(), std::min<std::size_t>(line.payload.size(), message_bytes_max));
  std::vector<std::pair<std::string, std::string>> fields{{"MESSAGE", message}, {"PRIORITY", std::to_string(priority_of(line.level))}, {"SYSLOG_IDENTIFIER", "steadyglowd"}};
  if (std::string unit = unit_of_line(message, units_); !unit.empty()) fields.emplace_back("UNIT_UNDER_TEST", std::move(unit));
  const std::string entry = journal_entry(fields);
  sockaddr_un address{};
  address.sun_family = AF_UNIX;
  if (socket_ < 0 || path_.size() >= sizeof address.sun_path) return;
  std::memcpy(address.sun_path, path_.data(), path_.size());
  (void)!::sendto(socket_, entry.data(), entry.size(), MSG_NOSIGNAL, reinterpret_cast<const sockaddr*>(&address), sizeof address);
}

}  // namespace steadyglow::app
