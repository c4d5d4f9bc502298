#pragma once
/// A run told again from what was stored of it: the same inputs through a fresh engine.
#include <cstdint>
#include <deque>
#include <memory>
#include <span>
#include <string>
#include <utility>
#include <vector>

#include "app/settings.hpp"
#include "core/result.hpp"
#include "core/timestamp.hpp"
#include "record/tell_run.hpp"
#include "soak/engine.hpp"
#include "store/reader.hpp"

namespace steadyglow::app {

inline constexpr std::size_t did_max = 500;
inline constexpr Duration counted_mark_every = std::chrono::minutes{10};

/// What the daemon did and met in a run, for the morning: oldest first, the newest did_max.
struct Did {
  Timestamp at{};
  std::string text;
};

/// What the morning sheet needs of a run, kept while it goes on.
class Story {
 public:
  void note(std::span<const soak::Event> events);
  void mark_counted(Timestamp at, const soak::Engine& engine);
  const std::deque<Did>& did() const { return did_; }
  /// Run time and what was counted by then, every counted_mark_every.
  const std::vector<std::pair<Timestamp, Duration>>& counted_marks() const { return counted_marks_; }

 private:
  std::deque<Did> did_;
  std::vector<std::pair<Timestamp, Duration>> counted_marks_;
};

struct Retold {
  std::unique_ptr<soak::Engine> engine;
  Story story;
  Timestamp last_fed{};
  std::uint64_t inputs = 0;
};

/// Thread: any, with a reader of its own. Seconds for a long run: not on the loop while something is guarded there.
/// Fails when the profile or plan is not the one that the run was started with. Damaged rows are logged and left out.
Result<Retold> retell(const UnitSettings& settings, store::StoreReader& reader, const store::RunRow& row);

}  // namespace steadyglow::app
