#include "drivers/modbus/plan.hpp"

#include <algorithm>
#include <cassert>
#include <numeric>
#include <span>
#include <tuple>

namespace steadyglow::drivers::modbus {
namespace {

int end_of(const Channel& channel) { return channel.address + width(channel.type); }

Request covering(std::span<const std::size_t> members, const Instrument& instrument) {
  assert(!members.empty());
  const Channel& first = instrument.channels[members.front()];
  int end = 0;
  for (const std::size_t i : members) end = std::max(end, end_of(instrument.channels[i]));
  Request request;
  request.table = first.table;
  request.address = first.address;
  request.count = static_cast<std::uint16_t>(end - first.address);
  request.channels.assign(members.begin(), members.end());
  return request;
}

bool fits(const Request& request, const Channel& next, const Instrument& instrument) {
  if (next.table != request.table) return false;
  const bool is_bits = is_bit_table(request.table);
  const int gap = next.address - (request.address + request.count);
  const int count = std::max<int>(request.address + request.count, end_of(next)) - request.address;
  return gap <= (is_bits ? 0 : instrument.gap_registers_max) &&
         count <= (is_bits ? bits_per_request_limit : instrument.registers_per_request_max);
}

}  // namespace

std::vector<Request> plan_requests(const Instrument& instrument) {
  std::vector<std::size_t> order(instrument.channels.size());
  std::iota(order.begin(), order.end(), std::size_t{0});
  std::stable_sort(order.begin(), order.end(), [&](std::size_t a, std::size_t b) {
    const Channel& x = instrument.channels[a];
    const Channel& y = instrument.channels[b];
    return std::tuple(x.table, x.address) < std::tuple(y.table, y.address);
  });
  std::vector<Request> plan;
  for (const std::size_t i : order) {
    const Channel& channel = instrument.channels[i];
    if (plan.empty() || !fits(plan.back(), channel, instrument)) {
      plan.push_back(covering(std::span(&i, 1), instrument));
      continue;
    }
    Request& request = plan.back();
    request.count = static_cast<std::uint16_t>(std::max<int>(request.address + request.count, end_of(channel)) - request.address);
    request.channels.push_back(i);
  }
  return plan;
}

std::pair<Request, Request> halves(const Request& request, const Instrument& instrument) {
  assert(request.channels.size() >= 2);
  const std::span<const std::size_t> all(request.channels);
  const std::size_t middle = all.size() / 2;
  return {covering(all.first(middle), instrument), covering(all.subspan(middle), instrument)};
}

}  // namespace steadyglow::drivers::modbus
