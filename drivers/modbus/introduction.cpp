/// Who answers: asked after every connection and every silence, and now and then without either, before one value is believed.
#include <algorithm>
#include <utility>

#include "drivers/modbus/identity.hpp"
#include "drivers/modbus/modbus_bus.hpp"
#include "drivers/modbus/poll.hpp"

namespace steadyglow::drivers::modbus {
namespace {

/// Vendor, product and revision may come in as many answers, not in more.
constexpr int identification_answers_max = 3;

std::vector<std::uint16_t> words_of(const Bytes& data) {
  std::vector<std::uint16_t> words(data.size() / 2);
  for (std::size_t i = 0; i < words.size(); ++i) words[i] = register_at(data, i);
  return words;
}

}  // namespace

ModbusBus::Introduction ModbusBus::introduce(Meter& meter, Poll& poll) {
  const IdentityRule& rule = meter.setup.instrument.identity;
  Introduction introduction;
  if (rule.source == IdentityRule::Source::registers) {
    introduction.exchange = ask_read(meter, {rule.table, rule.address, rule.count, {}}, poll.deadline, Urgency::poll);
    if (introduction.exchange.outcome == Outcome::answered) introduction.says = identity_in(rule, words_of(introduction.exchange.data));
    return introduction;
  }
  std::vector<std::string> texts;
  std::uint8_t object = 0;
  for (int i = 0; i < identification_answers_max; ++i) {
    introduction.exchange = ask(meter, identification_pdu(object), poll.deadline, Urgency::poll, Stray::is_an_error);
    if (introduction.exchange.outcome != Outcome::answered) return introduction;
    Identification part = read_identification(introduction.exchange.data);
    std::move(part.texts.begin(), part.texts.end(), std::back_inserter(texts));
    if (!part.is_more || part.next_object <= object) break;
    object = part.next_object;
  }
  introduction.says = identity_in(texts);
  return introduction;
}

/// Once for each answer that is not the type code: does the code stand one register further?
std::string ModbusBus::look_for_slip(Meter& meter, const std::string& says, Poll& poll) {
  const IdentityRule& rule = meter.setup.instrument.identity;
  constexpr int last_address = 65535;
  for (const int step : {-1, 1}) {
    const int address = rule.address + step;
    if (address < 0 || address + rule.count - 1 > last_address) continue;
    const Exchange exchange = ask_read(meter, {rule.table, static_cast<std::uint16_t>(address), rule.count, {}}, poll.deadline, Urgency::poll);
    if (exchange.outcome != Outcome::answered && exchange.outcome != Outcome::refused) return {};
    if (exchange.outcome == Outcome::answered && identity_in(rule, words_of(exchange.data)) == std::to_string(*rule.is)) return slip_words(rule, says, step);
  }
  return {};
}

ModbusBus::Standing ModbusBus::judge_identity(Meter& meter, const Introduction& introduction, Poll& poll) {
  const IdentityRule& rule = meter.setup.instrument.identity;
  const std::string& bound = meter.setup.identity;
  const bool is_same_as_before = !meter.stranger_trouble.empty() && meter.says == introduction.says;
  meter.says = introduction.says;
  meter.identity_misses = 0;
  poll.reply.identity = meter.says;
  if (!must_be_proven(rule, bound) || is_expected(rule, bound, meter.says)) {
    meter.stranger_trouble.clear();
    meter.known_in = link_->session();
    meter.known_until = Clock::now() + meter.setup.identity_lasts;
    return Standing::believed;
  }
  meter.known_in = 0;
  if (!is_same_as_before) {
    const std::string slip = rule.is ? look_for_slip(meter, meter.says, poll) : std::string{};
    meter.stranger_trouble = slip.empty() ? stranger_words(rule, bound, meter.says) : slip;
  }
  poll.reply.is_answered = poll.reply.is_stranger = true;
  poll.reply.trouble = meter.stranger_trouble;
  std::fill(poll.reply.channels.begin(), poll.reply.channels.end(), ChannelValue{0.0, Quality::other_meter});
  return Standing::stranger;
}

ModbusBus::Standing ModbusBus::prove_identity(Meter& meter, Poll& poll) {
  const IdentityRule& rule = meter.setup.instrument.identity;
  if (rule.source == IdentityRule::Source::none) return Standing::believed;
  const auto now = Clock::now();
  if (meter.known_in == link_->session() && now - meter.heard_at < unheard_max && now < meter.known_until) return Standing::believed;
  if (meter.identity_rest > 0) {
    --meter.identity_rest;
    return Standing::believed;
  }
  const Introduction introduction = introduce(meter, poll);
  if (introduction.exchange.outcome == Outcome::answered || is_unknown_to_it(introduction.exchange)) return judge_identity(meter, introduction, poll);
  const bool is_needed = must_be_proven(rule, meter.setup.identity);
  if (introduction.exchange.outcome == Outcome::refused && !is_gateway_silence(introduction.exchange)) {
    if (!is_needed) return Standing::believed;
    // Busy, or ill: it may be the right one, but it has not said so.
    poll.reply.is_answered = true;
    poll.note("it was asked who it is: " + trouble_of(introduction.exchange));
    std::fill(poll.reply.channels.begin(), poll.reply.channels.end(), ChannelValue{0.0, Quality::refused});
    return Standing::unproven;
  }
  const Quality quality = poll.give_up(introduction.exchange);
  std::fill(poll.reply.channels.begin(), poll.reply.channels.end(), ChannelValue{0.0, quality});
  if (!is_needed && introduction.exchange.outcome == Outcome::timeout && ++meter.identity_misses >= identity_misses_max) {
    meter.identity_misses = 0;
    meter.identity_rest = polls_of_identity_rest;
  }
  return Standing::unproven;
}

bool ModbusBus::is_trusted_with_output(Meter& meter, Poll& poll) {
  if (!must_be_proven(meter.setup.instrument.identity, meter.setup.identity)) return true;
  return prove_sync(meter, poll) && prove_identity(meter, poll) == Standing::believed;
}

void ModbusBus::note_one_off(const Meter& meter, Poll& poll) {
  if (poll.unknown_channels.size() != 1) return;
  const std::vector<Channel>& channels = meter.setup.instrument.channels;
  const Channel& unknown = channels[poll.unknown_channels.front()];
  const Channel* first = nullptr;
  for (std::size_t i = 0; i < channels.size(); ++i) {
    if (&channels[i] == &unknown || channels[i].table != unknown.table) continue;
    const bool is_answered = poll.reply.channels[i].quality != Quality::refused && poll.reply.channels[i].quality != Quality::no_answer;
    if (!is_answered || channels[i].address > unknown.address) return;
    if (first == nullptr || channels[i].address < first->address) first = &channels[i];
  }
  if (first != nullptr) poll.reply.trouble += (poll.reply.trouble.empty() ? "" : "; ") + one_off_words(*first, unknown);
}

}  // namespace steadyglow::drivers::modbus
