#pragma once
/// Tells the run of a record again, and holds what is said against what the record says.
#include <functional>
#include <string>
#include <vector>

#include "core/result.hpp"
#include "seal/event_lines.hpp"
#include "seal/run_file.hpp"

namespace steadyglow::seal {

/// The event that says that a run was brought in from a file.
inline constexpr std::string_view event_kind_imported = "imported";

struct Derived {
  std::vector<EventLine> events;  ///< of the engine
  std::string verdict;            ///< proposed; empty while there is none
  std::string signed_word;        ///< by a person; empty without a signature
  std::string signed_by;
  std::vector<std::string> unread;  ///< inputs that could not be read
  std::vector<std::int64_t> resumes;  ///< numbers of the inputs that say: the daemon was away until now
};

/// Feeds a fresh engine. `sealed` are the record's events: what time alone made the engine say after the last input is told
/// as far as they go. `each_input` hears of every input.
/// Fails: Fault::bad_data when the file or its profile or plan cannot be read.
Result<Derived> derive(RunFileReader& file, const std::vector<EventLine>& sealed, const std::function<void(const store::InputRow&)>& each_input);

struct Compared {
  std::vector<std::string> differences;
  std::vector<std::string> remarks;
};
/// Event by event. An event that was said just before the daemon stopped, by readings that were lost with it, is a remark.
Compared compare(const std::vector<EventLine>& sealed, const Derived& derived);

}  // namespace steadyglow::seal
