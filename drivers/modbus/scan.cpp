#include "drivers/modbus/scan.hpp"

#include <algorithm>
#include <deque>
#include <thread>
#include <utility>

#include "drivers/modbus/identity.hpp"

namespace steadyglow::drivers::modbus {
namespace {

constexpr int address_max = 65535;
constexpr int first_tcp_unit_tested = 1;
/// So many identifiers in a row, and all of them answer: it is one device that does not look at them.
constexpr std::size_t answers_until_ignored = 20;

std::string place_words(const ScanPlace& place) {
  if (const auto* line = std::get_if<SerialLine>(&place.end)) return line->device;
  const TcpEnd& end = std::get<TcpEnd>(place.end);
  return end.host + ":" + std::to_string(end.port);
}

std::unique_ptr<Link> make_link(const ScanPlace& place, BusCounters& counters) {
  if (const auto* line = std::get_if<SerialLine>(&place.end)) return make_rtu_link(*line, place.manners, counters);
  return make_tcp_link(std::get<TcpEnd>(place.end), counters);
}

/// Opening and falling silent may take so many timeouts, and no longer than open_allowance_max.
constexpr int timeouts_to_open = 2;
/// The slice of a pause in which a stop is noticed.
constexpr std::chrono::milliseconds stop_noticed_within{50};

void pause(std::chrono::milliseconds time, const std::atomic<bool>& stop) {
  const auto end = Clock::now() + time;
  while (!stop && Clock::now() < end) std::this_thread::sleep_for(std::min<Clock::duration>(stop_noticed_within, end - Clock::now()));
}

}  // namespace

struct Scanner::Asking {
  explicit Asking(ScanPlace where) : place(std::move(where)), link(make_link(place, counters)) {}

  Exchange exchange(std::uint8_t unit, const Bytes& pdu) {
    // Stray frames are read over: a late answer of the address before must not count for this one.
    return link->exchange(unit, pdu, {Clock::now() + place.timeout + std::min(place.timeout * timeouts_to_open, open_allowance_max), place.timeout}, Urgency::order, Stray::is_expected);
  }
  std::string identification(std::uint8_t unit);

  ScanPlace place;
  BusCounters counters;
  std::unique_ptr<Link> link;
};

std::string Scanner::Asking::identification(std::uint8_t unit) {
  const Exchange said = exchange(unit, identification_pdu(0));
  return said.outcome == Outcome::answered ? identity_in(read_identification(said.data).texts) : std::string{};
}

Scanner::Scanner(ScanPlace place) : asking_(std::make_unique<Asking>(std::move(place))) {}
Scanner::~Scanner() = default;

AddressReport Scanner::find_addresses(int first, int last, const OnScanProgress& on_progress, const std::atomic<bool>& stop) {
  AddressReport report;
  const bool is_tcp = std::holds_alternative<TcpEnd>(asking_->place.end);
  for (int address = first; address <= last; ++address) {
    if (stop) {
      report.is_stopped = true;
      break;
    }
    if (on_progress) on_progress({address, address - first, last - first + 1, report.found.size()});
    const auto unit = static_cast<std::uint8_t>(address);
    const std::uint64_t garbage_before = asking_->counters.garbage;
    const Exchange said = asking_->exchange(unit, read_pdu(RegisterTable::holding, 0, 1));
    if (said.outcome == Outcome::link_down) {
      report.trouble = place_words(asking_->place) + ": " + said.trouble;
      break;
    }
    ++report.asked;
    const bool is_answer = said.outcome == Outcome::answered || (said.outcome == Outcome::refused && !is_gateway_silence(said));
    if (is_answer) report.found.push_back({address, said.exception, stop ? std::string{} : asking_->identification(unit)});
    else if (said.outcome == Outcome::garbage || asking_->counters.garbage > garbage_before) report.noisy.push_back(address);
    else ++report.silent;
    if (is_tcp && first <= first_tcp_unit_tested && report.found.size() >= answers_until_ignored && report.found.size() == static_cast<std::size_t>(report.asked)) {
      report.is_address_ignored = true;
      break;
    }
  }
  return report;
}

Window Scanner::read_window(const WindowAsk& ask, const std::atomic<bool>& stop) {
  Window window;
  window.table = ask.table;
  window.from = ask.from;
  window.count = std::clamp<int>(ask.count, 1, std::min(window_count_max, address_max + 1 - ask.from));
  window.first = std::max(0, window.from - 1);
  const int end = std::min(address_max + 1, window.from + window.count + 1);
  window.words.resize(static_cast<std::size_t>(end - window.first));
  // What was asked for first, and the edges by themselves: a device that ends there refuses a request that reaches over.
  std::deque<std::pair<int, int>> open{{window.from, window.from + window.count}};
  if (window.first < window.from) open.emplace_back(window.first, window.from);
  if (end > window.from + window.count) open.emplace_back(window.from + window.count, end);
  for (int requests = 0; !open.empty() && requests < window_requests_max; ++requests) {
    if (stop) {
      window.trouble = "stopped before all of it was asked for";
      return window;
    }
    const auto [from, to] = open.front();
    open.pop_front();
    const Exchange said = asking_->exchange(ask.unit, read_pdu(ask.table, static_cast<std::uint16_t>(from), static_cast<std::uint16_t>(to - from)));
    window.is_answered |= said.outcome == Outcome::answered || (said.outcome == Outcome::refused && !is_gateway_silence(said));
    if (said.outcome == Outcome::answered) {
      for (int address = from; address < to; ++address) {
        const auto i = static_cast<std::size_t>(address - from);
        window.words[static_cast<std::size_t>(address - window.first)] = is_bit_table(ask.table) ? static_cast<std::uint16_t>(bit_at(said.data, i)) : register_at(said.data, i);
      }
    } else if (is_unknown_to_it(said) && to - from > 1) {
      const int middle = from + (to - from) / 2;
      open.emplace_back(from, middle);
      open.emplace_back(middle, to);
    } else if (!is_unknown_to_it(said)) {
      window.trouble = place_words(asking_->place) + ": " + trouble_of(said);
      // A late answer must not be taken for that of the next window: on a serial line nothing else tells them apart.
      if (said.outcome == Outcome::timeout) pause(asking_->place.timeout, stop);
      return window;
    }
  }
  if (!open.empty()) window.trouble = "not all of it was asked for: too many of its registers are refused";
  return window;
}

}  // namespace steadyglow::drivers::modbus
