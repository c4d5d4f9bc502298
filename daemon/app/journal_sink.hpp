#pragma once
/// Log lines to the system's journal by its native protocol (systemd.io/JOURNAL_NATIVE_PROTOCOL): one datagram, fields by
/// name, so that `journalctl -p warning UNIT_UNDER_TEST="Brindlecombe 35"` finds what it should.
#include <cstdint>
#include <memory>
#include <mutex>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include <spdlog/sinks/base_sink.h>

namespace steadyglow::app {

inline constexpr const char* journal_socket = "/run/systemd/journal/socket";

/// FIELD=value lines; a value with a line break goes with its length before it.
std::string journal_entry(const std::vector<std::pair<std::string, std::string>>& fields);
/// Of a line "Brindlecombe 35: cut: ..." the unit is what stands before the first ": ", if it is one of `units`.
std::string unit_of_line(std::string_view line, const std::vector<std::string>& units);

/// Is standard error the journal? (JOURNAL_STREAM names its device and inode)
bool is_stderr_the_journal();

class JournalSink : public spdlog::sinks::base_sink<std::mutex> {
 public:
  explicit JournalSink(std::string socket = journal_socket);
  ~JournalSink() override;
  /// Titles of the units, so that their lines carry UNIT_UNDER_TEST.
  void know(std::vector<std::string> units);

 protected:
  void sink_it_(const spdlog::details::log_msg& line) override;
  void flush_() override {}

 private:
  std::string path_;
  int socket_ = -1;
  std::vector<std::string> units_;
};

}  // namespace steadyglow::app
