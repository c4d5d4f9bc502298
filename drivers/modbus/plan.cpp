#include "drivers/modbus/plan.hpp"

#include <algorithm>
#include <cassert>
#include <limits>
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

/// The cheapest way to read the channels up to one of them.
struct Prefix {
  long cost = 0;
  std::size_t begins = 0;  ///< where its last request begins
};

/// Whether `next` may join a request that reaches from `begin` to `end`.
bool may_join(const Channel& next, int begin, int end, const Instrument& instrument) {
  const bool is_bits = is_bit_table(next.table);
  return next.address - end <= (is_bits ? 0 : instrument.gap_registers_max) &&
         std::max(end, end_of(next)) - begin <= (is_bits ? bits_per_request_limit : instrument.registers_per_request_max);
}

/// Channels of one table in order of address, cut into requests so that their sum is least (dynamic programming over the last cut).
void plan_table(std::span<const std::size_t> members, const Instrument& instrument, long request_costs, std::vector<Request>& plan) {
  constexpr long bits_per_register = 16;
  const long unit = is_bit_table(instrument.channels[members.front()].table) ? 1 : bits_per_register;
  std::vector<Prefix> best(members.size() + 1, {std::numeric_limits<long>::max(), 0});
  best[0].cost = 0;
  for (std::size_t begin = 0; begin < members.size(); ++begin) {
    const int from = instrument.channels[members[begin]].address;
    int end = from;
    for (std::size_t i = begin; i < members.size() && may_join(instrument.channels[members[i]], from, end, instrument); ++i) {
      end = std::max(end, end_of(instrument.channels[members[i]]));
      const long cost = best[begin].cost + request_costs * bits_per_register + (end - from) * unit;
      if (cost <= best[i + 1].cost) best[i + 1] = {cost, begin};
    }
  }
  const std::size_t first = plan.size();
  for (std::size_t end = members.size(); end > 0; end = best[end].begins) plan.push_back(covering(members.subspan(best[end].begins, end - best[end].begins), instrument));
  std::reverse(plan.begin() + static_cast<std::ptrdiff_t>(first), plan.end());
}

}  // namespace

std::vector<Request> plan_requests(const Instrument& instrument, int request_costs) {
  std::vector<std::size_t> order(instrument.channels.size());
  std::iota(order.begin(), order.end(), std::size_t{0});
  std::stable_sort(order.begin(), order.end(), [&](std::size_t a, std::size_t b) {
    const Channel& x = instrument.channels[a];
    const Channel& y = instrument.channels[b];
    return std::tuple(x.table, x.address) < std::tuple(y.table, y.address);
  });
  std::vector<Request> plan;
  const auto table_of = [&](std::size_t place) { return instrument.channels[order[place]].table; };
  for (std::size_t begin = 0, end = 0; begin < order.size(); begin = end) {
    while (end < order.size() && table_of(end) == table_of(begin)) ++end;
    plan_table(std::span<const std::size_t>(order).subspan(begin, end - begin), instrument, request_costs, plan);
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
