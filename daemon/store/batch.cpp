#include "store/batch.hpp"

#include <bit>
#include <limits>
#include <optional>

namespace steadyglow::store {
namespace {

constexpr std::uint8_t flag_own_times = 1;
constexpr unsigned quality_bits = 4;
static_assert(quality_count <= 1u << quality_bits);

std::uint64_t zigzag(std::int64_t value) { return (static_cast<std::uint64_t>(value) << 1) ^ static_cast<std::uint64_t>(value >> 63); }
std::int64_t unzigzag(std::uint64_t value) { return static_cast<std::int64_t>(value >> 1) ^ -static_cast<std::int64_t>(value & 1); }

void put_varint(std::string& out, std::uint64_t value) {
  for (; value >= 0x80; value >>= 7) out += static_cast<char>(value | 0x80);
  out += static_cast<char>(value);
}

void put_double(std::string& out, double value) {
  auto bits = std::bit_cast<std::uint64_t>(value);
  for (int i = 0; i < 8; ++i, bits >>= 8) out += static_cast<char>(bits & 0xFF);
}

/// Takes from the front; once it has failed it stays failed and gives zeros.
class Scanner {
 public:
  explicit Scanner(std::string_view bytes) : rest_(bytes) {}
  std::uint8_t byte() {
    if (rest_.empty()) return is_good_ = false, std::uint8_t{0};
    const auto value = static_cast<std::uint8_t>(rest_.front());
    rest_.remove_prefix(1);
    return value;
  }
  std::uint64_t varint() {
    std::uint64_t value = 0;
    for (unsigned shift = 0; shift < 64; shift += 7) {
      const std::uint8_t part = byte();
      value |= static_cast<std::uint64_t>(part & 0x7F) << shift;
      if (part < 0x80) return value;
    }
    return is_good_ = false, std::uint64_t{0};
  }
  double number() {
    std::uint64_t bits = 0;
    for (unsigned i = 0; i < 8; ++i) bits |= static_cast<std::uint64_t>(byte()) << (8 * i);
    return std::bit_cast<double>(bits);
  }
  bool is_good() const { return is_good_; }
  bool is_at_end() const { return rest_.empty(); }

 private:
  std::string_view rest_;
  bool is_good_ = true;
};

tl::unexpected<Error> damaged(const char* why) { return fail(Fault::bad_data, std::string("the batch of readings is damaged: ") + why); }

}  // namespace

std::string encode_batch(Timestamp at, std::span<const Reading> readings) {
  bool has_own_times = false;
  for (const Reading& reading : readings) has_own_times |= reading.at() != at;
  std::string out;
  out.reserve(4 + 9 * readings.size());
  out += static_cast<char>(batch_version);
  out += static_cast<char>(has_own_times ? flag_own_times : 0);
  put_varint(out, readings.size());
  std::int64_t expected = 0;
  for (const Reading& reading : readings) {
    const bool is_zero = std::bit_cast<std::uint64_t>(reading.as_met()) == 0;
    const std::uint64_t key = zigzag(reading.point().index - expected);
    put_varint(out, key << (quality_bits + 1) | static_cast<std::uint64_t>(reading.quality()) << 1 | (is_zero ? 1 : 0));
    if (has_own_times) put_varint(out, zigzag((reading.at() - at).count()));
    if (!is_zero) put_double(out, reading.as_met());
    expected = reading.point().index + 1;
  }
  return out;
}

Result<std::vector<Reading>> decode_batch(Timestamp at, std::string_view bytes) {
  Scanner in(bytes);
  if (in.byte() != batch_version) return damaged("unknown version");
  const std::uint8_t flags = in.byte();
  if ((flags & ~flag_own_times) != 0) return damaged("unknown flags");
  const std::uint64_t count = in.varint();
  if (!in.is_good()) return damaged("it ends too early");
  if (count > batch_readings_max || count > bytes.size()) return damaged("more readings than it has bytes");
  std::vector<Reading> readings;
  readings.reserve(count);
  std::int64_t expected = 0;
  for (std::uint64_t i = 0; i < count; ++i) {
    const std::uint64_t key = in.varint();
    const std::uint64_t quality = key >> 1 & ((1u << quality_bits) - 1);
    const std::int64_t step = unzigzag(key >> (quality_bits + 1));
    if (step < -65536 || step > 65536) return damaged("a point that cannot be");
    const std::int64_t point = expected + step;
    const std::int64_t later_ms = (flags & flag_own_times) != 0 ? unzigzag(in.varint()) : 0;
    const double value = (key & 1) != 0 ? 0.0 : in.number();
    if (!in.is_good()) return damaged("it ends too early");
    if (point < 0 || point > std::numeric_limits<std::uint16_t>::max()) return damaged("a point that cannot be");
    if (quality >= quality_count) return damaged("an unknown quality");
    // Unsigned, so that a damaged time wraps instead of overflowing.
    const auto ms = static_cast<std::int64_t>(static_cast<std::uint64_t>(ms_of(at)) + static_cast<std::uint64_t>(later_ms));
    readings.push_back(Reading::of(PointId{static_cast<std::uint16_t>(point)}, at_ms(ms), value, static_cast<Quality>(quality)));
    expected = point + 1;
  }
  if (!in.is_at_end()) return damaged("bytes are left over");
  return readings;
}

}  // namespace steadyglow::store
