#pragma once
/// Finds out what hangs on a Modbus line and what its registers hold. It only reads: no function in here can write.
/// Pure parts (`read_rows`, `find_value`) need no device; `Scanner` asks one.
/// Source of functions and addresses: MODBUS Application Protocol Specification V1.1b3, sections 4.4, 6.1 to 6.4 and 6.21.
#include <atomic>
#include <chrono>
#include <cstdint>
#include <functional>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <variant>
#include <vector>

#include "drivers/driver.hpp"
#include "drivers/modbus/instrument.hpp"
#include "drivers/modbus/link.hpp"
#include "drivers/place_toml.hpp"

namespace steadyglow::drivers::modbus {

// ---- where to look -----------------------------------------------------------------------------------------------------

struct ScanPlace {
  std::variant<TcpEnd, SerialLine> end;    ///< a serial line's `device` is a full path; baud and parity must be the line's
  LineManners manners{};                   ///< serial lines only
  std::chrono::milliseconds timeout{200};  ///< for one whole answer; a slow device behind a gateway wants more
};

// ---- which addresses answer --------------------------------------------------------------------------------------------

struct ScanProgress {
  int address = 0;        ///< being asked now
  int done = 0;           ///< addresses asked before
  int total = 0;          ///< addresses to ask in all
  std::size_t found = 0;  ///< that answered until now
};
using OnScanProgress = std::function<void(const ScanProgress&)>;

struct FoundAddress {
  int address = 0;             ///< Modbus address (serial line) or unit identifier (TCP)
  std::uint8_t exception = 0;  ///< 0: it gave a value; else it answered with this exception, which is an answer too
  std::string names_itself;    ///< what it says by function 43 / 14 ("vendor,product,revision"); empty: it does not know that function
};

struct AddressReport {
  std::vector<FoundAddress> found;
  std::vector<int> noisy;  ///< something came that is no answer: two devices on one address, wrong baud or parity, a late answer
  int asked = 0;
  int silent = 0;
  bool is_stopped = false;          ///< by the stop flag, before the end
  bool is_address_ignored = false;  ///< TCP: it answers to every identifier, so it is one device; use 1 or 255
  std::string trouble;              ///< the place could not be opened, or was lost; for a person; empty when all went well
};

// ---- what a window of registers holds ----------------------------------------------------------------------------------

struct WindowAsk {
  std::uint8_t unit = 1;
  RegisterTable table = RegisterTable::holding;
  std::uint16_t from = 0;    ///< zero-based
  std::uint16_t count = 40;  ///< 1 to window_count_max
};
inline constexpr int window_count_max = 120;  ///< with its two edges it still fits one request

/// What stood in the registers (or bits), with one more at either edge where the address space has one: manuals count from 0 or from 1.
struct Window {
  RegisterTable table = RegisterTable::holding;
  int from = 0;                                     ///< first address that was asked for
  int count = 0;                                    ///< how many were asked for
  int first = 0;                                    ///< address of words[0]: from, or one less
  std::vector<std::optional<std::uint16_t>> words;  ///< nothing: the device refuses this address
  bool is_answered = false;                         ///< it said something, were it a refusal
  std::string trouble;                              ///< for a person; empty when all went well

  bool is_edge(int address) const { return address < from || address >= from + count; }
};

/// One way to read registers, in the words of a [[channel]].
struct Way {
  int address = 0;  ///< zero-based, of its first register
  Type type = Type::int16;
  WordOrder order = WordOrder::abcd;
  double scale = 1.0;  ///< a power of ten
  double value = 0.0;  ///< raw * scale
};

/// What a value looks like to somebody who knows a bench.
enum class Likeness : std::uint8_t { mains_voltage, mains_frequency, room_temperature };
std::string_view to_word(Likeness likeness);  ///< "mains voltage"

struct Guess {
  Way way;
  Likeness likeness = Likeness::mains_voltage;
};

/// One register with everything that may begin there.
struct WindowRow {
  int address = 0;
  bool is_edge = false;                ///< outside what was asked for
  std::optional<std::uint16_t> word;   ///< as it came; nothing: refused
  std::vector<Way> ways;               ///< int16, uint16 and each 32-bit type and order that gives a plausible number; scale 1
  std::vector<Guess> guesses;          ///< likeliest first
};
/// One row for each address of the window. A 32-bit integer is plausible below 100 million, a float between 0.0001 and 10 million or 0.
std::vector<WindowRow> read_rows(const Window& window);

/// A way to read the window that gives what a person sees on the device's display or on a meter beside it.
struct ScanMatch {
  Way way;
  double off_percent = 0.0;  ///< how far it is from what was expected
  int outside = 0;           ///< 0: in the window; -1, +1: one register below or above it: the manual counts from another number
};
inline constexpr double match_within_percent = 1.0;
/// Every way that gives `expected` within match_within_percent at a power-of-ten scale; the likeliest first. Nothing for 0.
std::vector<ScanMatch> find_value(const Window& window, double expected);

/// A scale without an exponent: "0.000001".
std::string scale_text(double scale);

/// The lines of an instrument file for this way, to copy: [[channel]] with name, table, zero-based address, type, word_order, scale, and
/// quantity and uom as given.
std::string channel_lines(RegisterTable table, const Way& way, std::string_view name, std::string_view quantity, std::string_view uom);

/// A zero-based address as manuals write it: input register 6 is "30007". Common practice, no source: the specification numbers data from
/// 1 within each table (section 4.4) and knows no leading digit.
std::string manual_number(RegisterTable table, int address);

// ---- asking ------------------------------------------------------------------------------------------------------------

/// Thread: one thread calls every member (not the program's loop: each blocks); `stop` may be set from any.
/// Owns: the link, open from the first question on. A serial line must have no other reader meanwhile.
/// Fails: by what the structs say; never throws.
class Scanner {
 public:
  explicit Scanner(ScanPlace place);
  ~Scanner();

  /// Asks each address from `first` to `last` for one register (holding 0, function 3). Takes one timeout for each silent one. Once `stop` is
  /// set it ends after the question that it waits for: a timeout and open_allowance_max at most.
  AddressReport find_addresses(int first, int last, const OnScanProgress& on_progress, const std::atomic<bool>& stop);
  /// Reads a window once. A refused range is halved until what can be read is known; at most window_requests_max requests.
  /// `stop` as above; what was not asked for by then is a trouble of the window.
  Window read_window(const WindowAsk& ask, const std::atomic<bool>& stop);

 private:
  struct Asking;
  std::unique_ptr<Asking> asking_;
};
inline constexpr int window_requests_max = 64;
/// For opening and falling silent, beside the answer's own time.
inline constexpr std::chrono::milliseconds open_allowance_max{1000};

}  // namespace steadyglow::drivers::modbus
