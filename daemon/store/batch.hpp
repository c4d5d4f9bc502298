#pragma once
/// A batch of readings as bytes, and back, bit for bit. The layout is in FORMAT.md.
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "core/reading.hpp"
#include "core/result.hpp"

namespace steadyglow::store {

inline constexpr std::uint8_t batch_version = 1;
/// More readings than this in one batch is damage, not data.
inline constexpr std::size_t batch_readings_max = 65536;

std::string encode_batch(Timestamp at, std::span<const Reading> readings);
/// Fails with Fault::bad_data on an unknown version, a value that cannot be, a short or an over-long text.
Result<std::vector<Reading>> decode_batch(Timestamp at, std::string_view bytes);

}  // namespace steadyglow::store
