#include "drivers/modbus/modbus_bus.hpp"

#include <algorithm>
#include <cassert>
#include <span>
#include <thread>
#include <utility>

#include "drivers/modbus/decode.hpp"
#include "drivers/modbus/identity.hpp"
#include "drivers/modbus/poll.hpp"

namespace steadyglow::drivers::modbus {
namespace {

using std::chrono::milliseconds;

/// Draining a doubtful serial line, once per call.
constexpr milliseconds drain_allowance{300};
/// A device that never answers a read past its map (it should refuse) is believed again after this many such reads,
/// each a whole timeout of silence, have followed its last unanswered request.
constexpr unsigned silent_probes_max = 3;
constexpr int write_tries_max = 2;

std::uint16_t byte_count(RegisterTable table, std::uint16_t count) {
  return static_cast<std::uint16_t>(is_bit_table(table) ? (count + 7) / 8 : count * 2);
}

/// A meter that only has relays is asked for a coil, to know that it is alive.
std::vector<Request> plan_for(const Instrument& instrument, int request_costs) {
  auto plan = plan_requests(instrument, request_costs);
  if (plan.empty() && !instrument.outputs.empty())
    plan.push_back({RegisterTable::coil, instrument.outputs.front().coil, 1, {}});
  return plan;
}

std::size_t requests_at_most(const std::vector<MeterSetup>& meters) {
  std::size_t most = 1;
  for (const MeterSetup& meter : meters) most = std::max(most, meter.instrument.channels.size());
  return std::min(most, slow_answers_per_call_max);
}

std::string rest_words(const Request& request) {
  const std::string first = "the " + std::string(to_word(request.table)) + " address";
  if (request.count == 1) return first + " " + std::to_string(request.address) + " is not answered, and rests";
  return first + "es " + std::to_string(request.address) + " to " + std::to_string(request.address + request.count - 1) + " are not answered, and rest";
}

/// Answers that one call may wait for: sync, identity, and the channels.
int answers_at_most(const std::vector<MeterSetup>& meters) {
  const auto has_identity = [](const MeterSetup& meter) { return meter.instrument.identity.source != IdentityRule::Source::none; };
  return static_cast<int>(2 + requests_at_most(meters)) + (std::any_of(meters.begin(), meters.end(), has_identity) ? 1 : 0);
}

milliseconds longest_pause(const std::vector<MeterSetup>& meters) {
  milliseconds longest{};
  for (const MeterSetup& meter : meters) longest = std::max(longest, meter.pause);
  return longest;
}

}  // namespace

SyncProbe choose_sync_probe(const Instrument& instrument, const std::vector<Request>& plan, const std::vector<Request>& unanswered) {
  assert(!plan.empty());
  const auto is_taken = [&](RegisterTable table, int count) {
    const auto bytes = byte_count(table, static_cast<std::uint16_t>(count));
    const auto has_shape = [&](const Request& request) { return request.table == table && byte_count(table, request.count) == bytes; };
    const bool is_coil_read_back = table == RegisterTable::coil && !instrument.outputs.empty() && bytes == 1;
    const IdentityRule& rule = instrument.identity;
    const bool is_identity = rule.source == IdentityRule::Source::registers && table == rule.table && count == rule.count;
    return is_coil_read_back || is_identity || std::any_of(plan.begin(), plan.end(), has_shape) || std::any_of(unanswered.begin(), unanswered.end(), has_shape);
  };
  for (const Request& request : plan)
    for (std::uint16_t count = 1; count < request.count; ++count)
      if (!is_taken(request.table, count)) return {request.table, request.address, count, false};
  const Request& first = plan.front();
  const int step = is_bit_table(first.table) ? 8 : 1;
  const int limit = is_bit_table(first.table) ? bits_per_request_limit : registers_per_request_limit;
  int count = step;
  while (count + step <= limit && is_taken(first.table, count)) count += step;
  // Near the end of the address space the probe begins earlier, so that it stays a well-formed request.
  const int address = std::min<int>(first.address, 65536 - count);
  return {first.table, static_cast<std::uint16_t>(address), static_cast<std::uint16_t>(count), true};
}

ModbusBus::ModbusBus(std::vector<MeterSetup> meters, milliseconds timeout, int request_costs)
    : timeout_(timeout), call_deadline_(std::min((timeout + longest_pause(meters)) * answers_at_most(meters) + drain_allowance, call_deadline_most)) {
  for (MeterSetup& setup : meters) {
    Meter meter;
    meter.plan = plan_for(setup.instrument, request_costs);
    meter.setup = std::move(setup);
    meters_.push_back(std::move(meter));
  }
}

ModbusBus::ModbusBus(TcpEnd end, std::vector<MeterSetup> meters, milliseconds timeout) : ModbusBus(std::move(meters), timeout, tcp_request_costs_registers) {
  link_ = make_tcp_link(std::move(end), counters_);
}

ModbusBus::ModbusBus(SerialLine line, std::vector<MeterSetup> meters, milliseconds timeout, LineManners manners)
    : ModbusBus(std::move(meters), timeout, request_costs_registers(line.baud)) {
  link_ = make_rtu_link(std::move(line), manners, counters_);
}

Exchange ModbusBus::ask(Meter& meter, const Bytes& pdu, Deadline deadline, Urgency urgency, Stray stray) {
  if (Clock::now() >= deadline) return {Outcome::timeout, 0, {}, "no time left in this poll"};
  if (meter.setup.pause.count() > 0) std::this_thread::sleep_until(std::min(deadline, meter.spoken_at + meter.setup.pause));
  ++counters_.requests;
  Exchange exchange = link_->exchange(meter.setup.unit, pdu, {deadline, timeout_}, urgency, stray);
  meter.spoken_at = Clock::now();
  if (exchange.outcome == Outcome::timeout || is_gateway_silence(exchange)) ++counters_.timeouts;
  else if (exchange.outcome == Outcome::refused) ++counters_.refusals;
  const bool is_clear = exchange.outcome == Outcome::answered || exchange.outcome == Outcome::refused;
  if (!is_clear) meter.in_sync_in = 0;
  if (!is_clear || is_gateway_silence(exchange)) meter.known_in = 0;
  else meter.heard_at = meter.spoken_at;
  return exchange;
}

Exchange ModbusBus::ask_read(Meter& meter, const Request& request, Deadline deadline, Urgency urgency) {
  Exchange exchange = ask(meter, read_pdu(request.table, request.address, request.count), deadline, urgency, Stray::is_an_error);
  if (exchange.outcome == Outcome::answered || exchange.outcome == Outcome::refused || !link_->needs_sync_proof()) return exchange;
  const auto bytes = byte_count(request.table, request.count);
  const bool is_known = std::any_of(meter.unanswered.begin(), meter.unanswered.end(), [&](const Request& known) {
    return known.table == request.table && byte_count(known.table, known.count) == bytes;
  });
  if (!is_known) meter.unanswered.push_back({request.table, request.address, request.count, {}});
  return exchange;
}

bool ModbusBus::prove_sync(Meter& meter, Poll& poll) {
  if (!link_->needs_sync_proof()) return true;
  if (meter.in_sync_in == link_->session()) return true;
  const SyncProbe probe = choose_sync_probe(meter.setup.instrument, meter.plan, meter.unanswered);
  const Exchange exchange = ask(meter, read_pdu(probe.table, probe.address, probe.count), poll.deadline, Urgency::poll, Stray::is_expected);
  const bool is_proof = exchange.outcome == Outcome::answered || exchange.outcome == Outcome::refused;
  const bool is_silence = probe.may_be_refused && exchange.outcome == Outcome::timeout;
  meter.silent_probes = is_silence ? meter.silent_probes + 1 : 0;
  if (is_proof || meter.silent_probes >= silent_probes_max) {
    meter.silent_probes = 0;
    meter.unanswered.clear();
    meter.in_sync_in = link_->session();
    return true;
  }
  (void)poll.give_up(exchange);
  return false;
}

void ModbusBus::fill(const Request& request, Quality quality, MeterReply& reply) {
  for (const std::size_t i : request.channels) reply.channels[i] = {0.0, quality};
}

void ModbusBus::fill(const Meter& meter, const Request& request, const Bytes& data, MeterReply& reply) {
  std::vector<std::uint16_t> words(request.count);
  for (std::size_t i = 0; i < words.size(); ++i)
    words[i] = is_bit_table(request.table) ? static_cast<std::uint16_t>(bit_at(data, i)) : register_at(data, i);
  const bool are_flags = !is_bit_table(request.table);
  for (const std::size_t i : request.channels) {
    const Channel& channel = meter.setup.instrument.channels[i];
    const auto registers = std::span<const std::uint16_t>(words).subspan(static_cast<std::size_t>(channel.address - request.address), width(channel.type));
    const bool is_flag = are_flags && channel.type == Type::bit;
    reply.channels[i] = judge(channel, is_flag ? (registers[0] >> channel.bit) & 1 : decode_raw(channel.type, channel.order, registers));
  }
}

/// Reads a request, or its halves where the device refuses the whole; `kept` gets what to ask next time.
/// True if any of it was answered.
bool ModbusBus::read_in_parts(Meter& meter, Request request, Poll& poll, std::vector<Request>& kept) {
  if (poll.is_over || request.rest_for_polls > 0) {
    if (!poll.is_over) {
      --request.rest_for_polls;
      poll.note(rest_words(request));
    }
    kept.push_back(std::move(request));
    return false;
  }
  const Exchange exchange = ask_read(meter, request, poll.deadline, Urgency::poll);
  if (exchange.outcome == Outcome::answered) {
    poll.reply.is_answered = true;
    fill(meter, request, exchange.data, poll.reply);
    request.whole_for_polls = request.misses = 0;
    kept.push_back(std::move(request));
    return true;
  }
  if (exchange.outcome != Outcome::refused || is_gateway_silence(exchange)) {
    fill(request, poll.give_up(exchange), poll.reply);
    ++request.misses;
    if (poll.reply.is_answered && request.misses >= misses_until_rest) request.rest_for_polls = polls_of_rest;
    kept.push_back(std::move(request));
    return false;
  }
  poll.reply.is_answered = true;
  request.misses = 0;
  poll.note(trouble_of(exchange));
  fill(request, Quality::refused, poll.reply);
  if (request.channels.size() < 2 || !is_unknown_to_it(exchange) || request.whole_for_polls > 0) {
    if (request.whole_for_polls > 0) --request.whole_for_polls;
    if (exchange.exception == static_cast<std::uint8_t>(ExceptionCode::illegal_data_address))
      poll.unknown_channels.insert(poll.unknown_channels.end(), request.channels.begin(), request.channels.end());
    kept.push_back(std::move(request));
    return false;
  }
  std::vector<Request> parts;
  auto [first, second] = halves(request, meter.setup.instrument);
  const bool is_first_answered = read_in_parts(meter, std::move(first), poll, parts);
  const bool is_second_answered = read_in_parts(meter, std::move(second), poll, parts);
  if (is_first_answered || is_second_answered) {
    kept.insert(kept.end(), parts.begin(), parts.end());
    return true;
  }
  if (!poll.is_over) request.whole_for_polls = polls_until_split_again;
  kept.push_back(std::move(request));
  return false;
}

MeterReply ModbusBus::read(std::size_t index) {
  Meter& meter = meters_[index];
  Poll poll;
  poll.deadline = Clock::now() + call_deadline_;
  poll.reply.channels.resize(meter.setup.instrument.channels.size());
  poll.reply.identity = meter.says;
  if (!prove_sync(meter, poll) || prove_identity(meter, poll) != Standing::believed) return std::move(poll.reply);
  std::vector<Request> kept;
  for (Request& request : meter.plan) read_in_parts(meter, std::move(request), poll, kept);
  // What met silence is asked last next time, so that it cannot hide the others.
  std::stable_sort(kept.begin(), kept.end(), [](const Request& a, const Request& b) { return a.misses < b.misses; });
  meter.plan = std::move(kept);
  note_one_off(meter, poll);
  return std::move(poll.reply);
}

Result<void> ModbusBus::write_output(std::size_t index, std::size_t output, bool on) {
  Meter& meter = meters_[index];
  const Output& relay = meter.setup.instrument.outputs[output];
  Poll poll;
  poll.deadline = Clock::now() + call_deadline_;
  // Off is always safer, so it is sent to whoever answers; on is not.
  if (on && !is_trusted_with_output(meter, poll))
    return fail(Fault::unavailable, "output `" + relay.name + "` not switched on: " + poll.reply.trouble, "connect the device that is bound here, or correct `identity`", meter.setup.name);
  Exchange exchange;
  // No sync proof first: the echo names coil and state, so a late one confirms the very same order.
  for (int i = 0; i < write_tries_max; ++i) {
    exchange = ask(meter, write_coil_pdu(relay.coil, on), poll.deadline, Urgency::order, Stray::is_expected);
    if (exchange.outcome == Outcome::answered) return {};
    if (exchange.outcome == Outcome::refused) break;
  }
  return fail(Fault::unavailable, "output `" + relay.name + "` not switched " + (on ? "on" : "off") + ": " + trouble_of(exchange),
              "open the circuit by hand if it must be off", meter.setup.name);
}

Result<bool> ModbusBus::read_output(std::size_t index, std::size_t output) {
  Meter& meter = meters_[index];
  const Output& relay = meter.setup.instrument.outputs[output];
  Poll poll;
  poll.deadline = Clock::now() + call_deadline_;
  if (!prove_sync(meter, poll) || !is_trusted_with_output(meter, poll))
    return fail(Fault::unavailable, "output `" + relay.name + "` not read: " + poll.reply.trouble, {}, meter.setup.name);
  const Exchange exchange = ask_read(meter, {RegisterTable::coil, relay.coil, 1, {}}, poll.deadline, Urgency::order);
  if (exchange.outcome == Outcome::answered) return bit_at(exchange.data, 0);
  return fail(Fault::unavailable, "output `" + relay.name + "` not read: " + trouble_of(exchange), {}, meter.setup.name);
}

}  // namespace steadyglow::drivers::modbus
