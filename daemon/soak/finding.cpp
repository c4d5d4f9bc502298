#include "soak/finding.hpp"

#include <array>

namespace steadyglow::soak {
namespace {
constexpr std::array<std::string_view, kind_count> kind_words{"limit", "drift",  "runaway", "imbalance", "step",   "intermittent", "rise",
                                                              "settling", "sensor", "no_data", "mains",     "outlet", "speed"};
constexpr std::array<std::string_view, 3> severity_words{"note", "warn", "trip"};
}  // namespace

std::string_view to_word(Kind kind) { return kind_words[static_cast<std::size_t>(kind)]; }
std::string_view to_word(Severity severity) { return severity_words[static_cast<std::size_t>(severity)]; }

}  // namespace steadyglow::soak
