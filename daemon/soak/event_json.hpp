#pragma once
/// The events besides findings as JSON: what is stored, streamed and compared.
#include <string_view>

#include <nlohmann/json.hpp>

#include "profile/profile.hpp"
#include "soak/event.hpp"

namespace steadyglow::soak {

/// The word under which an event is stored.
constexpr std::string_view kind_word(const OpenBench&) { return "open_bench"; }
constexpr std::string_view kind_word(const CloseOutlet&) { return "close"; }
constexpr std::string_view kind_word(const SwitchOnDue&) { return "switch_on_due"; }
constexpr std::string_view kind_word(const BleedDown&) { return "bleed_down"; }
constexpr std::string_view kind_word(const SegmentChange&) { return "segment"; }
constexpr std::string_view kind_word(const StartUp&) { return "start_up"; }
constexpr std::string_view kind_word(const Signature&) { return "signature"; }

nlohmann::ordered_json to_json(const OpenBench& event);
nlohmann::ordered_json to_json(const CloseOutlet& event);
nlohmann::ordered_json to_json(const SwitchOnDue& event);
nlohmann::ordered_json to_json(const BleedDown& event);
nlohmann::ordered_json to_json(const SegmentChange& event, const profile::Profile& profile);
nlohmann::ordered_json to_json(const StartUp& event);
nlohmann::ordered_json to_json(const Signature& event);

}  // namespace steadyglow::soak
