#include "drivers/mqtt/mqtt_bus.hpp"

#include <algorithm>
#include <set>
#include <utility>

#include "drivers/text.hpp"

namespace steadyglow::drivers::mqtt {
namespace {

using std::chrono::system_clock;

void note(std::string& trouble, std::string more) {
  if (trouble.empty()) trouble = std::move(more);
}

}  // namespace

MqttBus::MqttBus(BrokerSettings broker, std::vector<MeterSetup> meters, std::chrono::milliseconds timeout)
    : timeout_(std::min(timeout, (call_deadline_most - call_allowance) / 2)), broker_(std::move(broker), topics_of(meters), [this](const Message& message) { take(message); }, counters_) {
  for (MeterSetup& setup : meters) {
    for (const std::string& topic : topics_of(setup)) listeners_.emplace(topic, meters_.size());
    Meter meter;
    meter.setup = std::move(setup);
    meter.is_taken_back.assign(meter.setup.instrument.outputs.size(), false);
    meters_.push_back(std::move(meter));
  }
  forget();
}

std::vector<std::string> MqttBus::topics_of(const MeterSetup& meter) {
  std::set<std::string> topics;
  for (const Channel& channel : meter.instrument.channels) topics.insert(channel.topic);
  for (const Output& output : meter.instrument.outputs) topics.insert(output.state_topic);
  if (meter.instrument.availability) topics.insert(meter.instrument.availability->topic);
  return {topics.begin(), topics.end()};
}

std::vector<std::string> MqttBus::topics_of(const std::vector<MeterSetup>& meters) {
  std::set<std::string> all;
  for (const MeterSetup& meter : meters)
    for (const std::string& topic : topics_of(meter)) all.insert(topic);
  return {all.begin(), all.end()};
}

/// What was said over a connection that broke is over: nobody knows what was missed.
void MqttBus::forget() {
  for (Meter& meter : meters_) {
    meter.samples.assign(meter.setup.instrument.channels.size(), std::nullopt);
    meter.states.assign(meter.setup.instrument.outputs.size(), std::nullopt);
    meter.is_available.reset();
    meter.was_heard = false;
  }
}

void MqttBus::forget_older_sessions() {
  if (session_ == broker_.session()) return;
  session_ = broker_.session();
  forget();
}

bool MqttBus::bring_up(Deadline until, bool is_urgent) {
  const bool is_up = broker_.bring_up(until, is_urgent);
  if (is_up) forget_older_sessions();
  else forget();
  return is_up;
}

void MqttBus::take(const Message& message) {
  forget_older_sessions();
  const Payload payload(message.payload);
  const auto [first, last] = listeners_.equal_range(message.topic);
  for (auto listener = first; listener != last; ++listener) {
    Meter& meter = meters_[listener->second];
    if (!message.is_retained) meter.was_heard = true;
    const auto& availability = meter.setup.instrument.availability;
    if (availability && availability->topic == message.topic) {
      meter.is_available = payload.text_at("") == availability->words.on;
      // What it said before it went is not what it says when it is back.
      if (!*meter.is_available) {
        meter.samples.assign(meter.samples.size(), std::nullopt);
        meter.states.assign(meter.states.size(), std::nullopt);
      }
    }
    take_values(meter, message, payload);
    take_states(meter, message, payload);
  }
}

void MqttBus::take_values(Meter& meter, const Message& message, const Payload& payload) {
  const Instrument& instrument = meter.setup.instrument;
  for (std::size_t i = 0; i < instrument.channels.size(); ++i) {
    const Channel& channel = instrument.channels[i];
    if (channel.topic != message.topic) continue;
    Sample sample;
    sample.arrived = message.arrived;
    sample.is_retained = message.is_retained;
    if (!channel.time_field.empty()) sample.stated = payload.time_at(channel.time_field, channel.is_time_in_milliseconds);
    if (!instrument.id_field.empty()) sample.sender = payload.text_at(instrument.id_field).value_or("somebody without a name");
    if (const auto number = payload.number_at(channel.field, channel.quantity, channel.words)) {
      sample.value = judge(channel, *number);
    } else {
      ++counters_.garbage;
      sample.value = {0.0, Quality::implausible};
      sample.trouble = "no number" + (channel.field.empty() ? "" : " at " + channel.field);
    }
    meter.samples[i] = std::move(sample);
  }
}

void MqttBus::take_states(Meter& meter, const Message& message, const Payload& payload) {
  if (message.is_retained) return;
  for (std::size_t i = 0; i < meter.states.size(); ++i) {
    const Output& output = meter.setup.instrument.outputs[i];
    if (output.state_topic != message.topic) continue;
    const auto said = payload.text_at(output.state_field);
    if (said == output.states.off) meter.is_taken_back[i] = false;
    if (said == output.states.on || said == output.states.off) meter.states[i] = State{said == output.states.on, message.arrived, ++states_taken_};
    else meter.states[i].reset();
  }
}

/// Who says something in place of the bound one; empty: nobody.
std::string MqttBus::stranger(const Meter& meter) {
  if (meter.setup.identity.empty()) return {};
  for (const auto& sample : meter.samples)
    if (sample && sample->sender && *sample->sender != meter.setup.identity) return *sample->sender;
  return {};
}

/// The bound one has said something since the connection stands.
bool MqttBus::is_proven_live(const Meter& meter) {
  return std::any_of(meter.samples.begin(), meter.samples.end(), [&](const auto& sample) { return sample && !sample->is_retained && sample->sender == meter.setup.identity; });
}

ChannelValue MqttBus::judged(const Channel& channel, const std::optional<Sample>& sample, std::string& trouble) const {
  if (!sample) {
    note(trouble, "nothing came on " + channel.topic + " yet");
    return {0.0, Quality::no_answer};
  }
  const double as_met = sample->value.value;
  if (Clock::now() - sample->arrived > channel.stale_after) {
    note(trouble, "nothing new came on " + channel.topic);
    return {as_met, Quality::stale};
  }
  if (!channel.time_field.empty()) {
    if (!sample->stated) {
      note(trouble, "no time at " + channel.time_field + " on " + channel.topic);
      return {as_met, Quality::stale};
    }
    const auto age = system_clock::now() - *sample->stated;
    if (age > channel.stale_after || age < -ahead_max) {
      note(trouble, "what comes on " + channel.topic + (age < -ahead_max ? " is dated ahead of this machine's clock" : " is old by its own date"));
      return {as_met, Quality::stale};
    }
  } else if (sample->is_retained) {
    note(trouble, "only a kept word on " + channel.topic + ", which may be of any age");
    return {as_met, Quality::stale};
  }
  if (!sample->trouble.empty()) note(trouble, channel.topic + ": " + sample->trouble);
  return sample->value;
}

MeterReply MqttBus::read(std::size_t index) {
  Meter& meter = meters_[index];
  const Instrument& instrument = meter.setup.instrument;
  MeterReply reply;
  reply.channels.resize(instrument.channels.size());
  if (!bring_up(Clock::now() + timeout_, false)) {
    reply.trouble = broker_.trouble();
    return reply;
  }
  take_back(meter, Clock::now() + timeout_);
  reply.trouble = broker_.trouble();
  for (const auto& sample : meter.samples)
    if (sample && sample->sender) reply.identity = *sample->sender;
  reply.is_answered = std::exchange(meter.was_heard, false);
  if (const std::string other = stranger(meter); !other.empty()) {
    reply.identity = other;
    reply.is_stranger = reply.is_answered = true;
    std::fill(reply.channels.begin(), reply.channels.end(), ChannelValue{0.0, Quality::other_meter});
    reply.trouble = stranger_words(other, meter.setup.identity);
    return reply;
  }
  if (meter.is_available == false) {
    reply.is_answered = false;
    note(reply.trouble, instrument.availability->topic + " says that it is gone");
    return reply;
  }
  for (std::size_t i = 0; i < reply.channels.size(); ++i) {
    reply.channels[i] = judged(instrument.channels[i], meter.samples[i], reply.trouble);
    const Quality quality = reply.channels[i].quality;
    if (quality != Quality::no_answer && quality != Quality::stale) reply.is_answered = true;
  }
  if (instrument.channels.empty() && meter.is_available == true) reply.is_answered = true;
  return reply;
}

void MqttBus::take_back(Meter& meter, Deadline until) {
  for (std::size_t i = 0; i < meter.is_taken_back.size(); ++i) {
    const Output& output = meter.setup.instrument.outputs[i];
    if (meter.is_taken_back[i] && !broker_.publish(output.topic, output.orders.off, until)) return forget();
  }
}

std::optional<MqttBus::State> MqttBus::known_state(const Meter& meter, std::size_t index) const {
  const auto& state = meter.states[index];
  const auto stale_after = meter.setup.instrument.outputs[index].stale_after;
  if (!state || (stale_after.count() > 0 && Clock::now() - state->arrived > stale_after)) return std::nullopt;
  return state;
}

Result<void> MqttBus::write_output(std::size_t index, std::size_t which, bool on) {
  Meter& meter = meters_[index];
  const Output& output = meter.setup.instrument.outputs[which];
  const Deadline until = Clock::now() + timeout_ * 2;
  const auto failed = [&](const std::string& why) {
    return fail(Fault::unavailable, "output `" + output.name + "` not switched " + (on ? "on" : "off") + ": " + why, "open the circuit by hand if it must be off", meter.setup.name);
  };
  // Off is safe whoever it is, and waits for nothing that others have to say.
  std::uint64_t before = states_taken_;
  const std::uint64_t session = broker_.session();
  const auto sent = on || !broker_.is_up() ? std::nullopt : broker_.send(output.topic, output.orders.off);
  if (!bring_up(Clock::now() + timeout_, true)) return failed(broker_.trouble());
  if (const std::string other = stranger(meter); on && !other.empty()) return failed(stranger_words(other, meter.setup.identity));
  if (on && !meter.setup.identity.empty() && !is_proven_live(meter)) return failed("it has not said yet that it is `" + meter.setup.identity + "`");
  if (on && meter.is_available == false) return failed(meter.setup.instrument.availability->topic + " says that it is gone");
  if (on) {
    meter.is_taken_back[which] = true;
    before = states_taken_;
  }
  const bool is_taken = sent && broker_.session() == session ? broker_.confirm(*sent, until) : broker_.publish(output.topic, on ? output.orders.on : output.orders.off, until);
  if (!is_taken) return failed(broker_.trouble());
  const auto is_said = [&](bool is_new) {
    const auto state = known_state(meter, which);
    return state && state->is_on == on && (!is_new || state->number > before);
  };
  Deadline ask_at = output.query_topic.empty() ? until : Clock::now() + timeout_ / 2;
  while (!is_said(true) && Clock::now() < until) {
    if (Clock::now() >= ask_at) {
      ask_at = until;
      if (!broker_.publish(output.query_topic, output.query, until)) return failed(broker_.trouble());
    }
    if (!broker_.turn(std::min(until, ask_at))) return failed(broker_.trouble());
  }
  // One that stood so already may have nothing to say. That it was off before is no word on an ON that may still be under way.
  if (is_said(false) && meter.is_available != false) {
    if (on) meter.is_taken_back[which] = false;
    return {};
  }
  ++counters_.timeouts;
  return failed("the broker has the order, but the device does not say that it stands so");
}

Result<bool> MqttBus::read_output(std::size_t index, std::size_t which) {
  Meter& meter = meters_[index];
  const Output& output = meter.setup.instrument.outputs[which];
  const Deadline until = Clock::now() + timeout_ * 2;
  const auto failed = [&](const std::string& why) { return fail(Fault::unavailable, "output `" + output.name + "` not read: " + why, {}, meter.setup.name); };
  if (!bring_up(Clock::now() + timeout_, true)) return failed(broker_.trouble());
  if (!output.query_topic.empty()) {
    const std::uint64_t before = states_taken_;
    const auto is_said = [&] { return meter.states[which] && meter.states[which]->number > before; };
    if (!broker_.publish(output.query_topic, output.query, until)) return failed(broker_.trouble());
    while (!is_said() && Clock::now() < until)
      if (!broker_.turn(until)) return failed(broker_.trouble());
    if (!is_said()) {
      ++counters_.timeouts;
      return failed("it does not answer");
    }
  }
  if (const std::string other = stranger(meter); !other.empty()) return failed(stranger_words(other, meter.setup.identity));
  if (meter.is_available == false) return failed(meter.setup.instrument.availability->topic + " says that it is gone");
  const auto state = known_state(meter, which);
  if (!state) return failed("nothing new came on " + output.state_topic);
  return state->is_on;
}

}  // namespace steadyglow::drivers::mqtt
