#pragma once
/// Points, spans and findings as somebody says them who has never seen the profile.
#include <string>
#include <string_view>
#include <vector>

#include "core/timestamp.hpp"
#include "profile/profile.hpp"

namespace steadyglow::record {

/// "v1_cathode_mv" -> "V1 cathode", "b_plus_v" -> "B+".
std::string point_words(const profile::Point& point);
/// "idle current", "temperature of a heatsink".
std::string_view role_words(profile::Role role);
/// "36.2 h", "46 min", "12 s".
std::string span_words(Duration span);
/// "12 h 40 min" into the run.
std::string run_time_words(Timestamp at);
/// The limits of a band: "304 to 456 mV", "below 85 °C"; empty: none.
std::string band_words(const profile::Point& point, const profile::Band& band);
/// So many significant digits, small values too: "0.0013", "0.263", "34.4".
std::string significant(double value, int digits);
/// What a reader might think was seen, and was not; a sentence each.
std::vector<std::string> not_measured(const profile::Profile& profile);

}  // namespace steadyglow::record
