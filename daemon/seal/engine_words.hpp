#pragma once
/// What an engine says, in the words in which it is stored.
#include <cstdint>
#include <string>
#include <string_view>

#include "profile/profile.hpp"
#include "seal/event_lines.hpp"
#include "soak/event.hpp"

namespace steadyglow::seal {

/// Raised whenever the engine may say something else of the same readings. A record names the one that judged its run;
/// tests/seal keeps records of each, and tells when this number was forgotten.
inline constexpr int engine_version = 4;

/// The event in which a daemon says at a run's start, and when it takes it up again, which engine judges: {"version": N}.
inline constexpr std::string_view event_kind_engine = "engine";

struct RunName {
  std::int64_t number = 0;
  std::string unit;
};

/// One event as the daemon stores it. `after_input` is left 0. The labels in UTC are empty: they are the clock's word, and
/// do not follow from readings.
EventLine stored_words(const soak::Event& event, const profile::Profile& profile, const RunName& run);
/// Does an engine say events of this kind? (Others are notes of the daemon: how the meters were wired, what was not stored.)
bool is_of_the_engine(std::string_view kind);
/// The JSON of a stored event without its labels in UTC, as stored_words() has it.
std::string without_labels(std::string_view kind, const std::string& json);

}  // namespace steadyglow::seal
