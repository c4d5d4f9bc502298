#pragma once
/// A device that says one line of text after another, as a value: how its lines are made and where in them each channel stands.
#include <chrono>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "drivers/channel.hpp"
#include "drivers/lines/checksum.hpp"

namespace steadyglow::drivers::lines {

inline constexpr std::size_t line_bytes_max = 1024;  ///< a longer line is thrown away and counted
inline constexpr std::size_t columns_max = 256;

/// A serial server hands over what it kept while nobody was connected, and nobody knows how old that is: it comes at once.
inline constexpr std::chrono::milliseconds settle_usual{200};

enum class Format : std::uint8_t { key_value, csv };

/// A text in the place of a number, and what the device means by it.
struct WordMeaning {
  std::string text;
  Quality quality = Quality::implausible;
};

struct Channel : ChannelRule {
  std::string key;  ///< of the pair, or the name of the column
  std::vector<WordMeaning> words;
};

struct Instrument {
  std::string title;
  Format format = Format::key_value;
  char separator = ' ';  ///< ' ': any run of spaces and tabs
  std::string counter;   ///< the key whose number goes up by one with each line; may be empty
  std::string id;        ///< the key under which the device says who it is; may be empty
  std::optional<Checksum> checksum;  ///< in hexadecimal digits behind a `*`, of every byte before the `*`
  std::vector<std::string> columns;  ///< csv: their names, when the device does not say them; where nobody has any: "1", "2" and so on
  bool has_header = false;           ///< csv: the device says the names in a line of its own
  std::string ask;                   ///< sent at each poll to a device that speaks when asked; empty: it talks by itself
  std::chrono::milliseconds stale_after{3000};
  std::chrono::milliseconds settle = settle_usual;  ///< from the opening of the port; a board that starts anew then needs more
  std::vector<Channel> channels;
};

}  // namespace steadyglow::drivers::lines
