/// The driver against an instrument that somebody else wrote, under every fault that it can be set to: a good value is the right one, always,
/// and the third poll after the fault is whole again. Readers that lack one of the driver's precautions are scored by the same rounds, to see
/// that the rounds would find them.
#include <gtest/gtest.h>

#include <chrono>
#include <functional>
#include <random>
#include <string>
#include <thread>
#include <tuple>
#include <vector>

#include "drivers/scpi/answer.hpp"
#include "drivers/scpi/scpi_bus.hpp"
#include "external/scpi/peer.hpp"

namespace steadyglow::drivers::scpi {
namespace {

using namespace std::chrono_literals;
using tests::json;
using tests::ScpiPeer;

constexpr auto timeout = 100ms;
constexpr std::size_t channel_count = 3;
/// A busy machine may cost one poll of a score; a wrong value has no excuse.
constexpr int polls_lost_to_load_max = 1;
constexpr int series_max = 3;
const std::string identity = "Example Instruments,EX-1,0001";
const std::string stranger = "Example Instruments,EX-1,0002,1.0";

/// Three questions of the same shape: an answer that slips by one is another channel's, and nobody would see it by its look.
Instrument three_channels() {
  Instrument instrument;
  for (std::size_t i = 0; i < channel_count; ++i) {
    instrument.queries.push_back({"MEAS:VOLT:DC? (@10" + std::to_string(i + 1) + ")", 1});
    Channel channel;
    channel.name = "ch" + std::to_string(i + 1);
    channel.uom = "V";
    channel.query = i;
    instrument.channels.push_back(channel);
  }
  return instrument;
}

double truth(int round, std::size_t channel) { return round * 10.0 + static_cast<double>(channel) + 1.0; }

json values_of(int round) {
  json scan = json::array();
  for (std::size_t i = 0; i < 10; ++i) scan.push_back(truth(round, i));
  return {{"values", {{"volts", 0.5}, {"ohms", 0.5}, {"amps", 0.5}, {"scan", scan}}}};
}

struct Score {
  int wrong = 0;        ///< taken for good, and another value
  int good = 0;
  int whole_at_the_end = 0;  ///< third polls after a fault in which every channel was good
  int ends = 0;              ///< third polls after a fault
  int strangers = 0;
  std::string first_wrong;
};

using Read = std::function<MeterReply()>;

/// A round is a poll with the fault, then three without.
void play(ScpiPeer& peer, const Read& read, const json& fault, int rounds, Score& score, bool is_stranger = false) {
  static int round = 0;
  for (int i = 0; i < rounds; ++i) {
    for (int step = 0; step < 4; ++step) {
      peer.tell(values_of(++round));
      peer.tell(step == 0 ? fault : json{{"well", true}, {"idn", identity + ",1.0"}});
      if (step == 1 && fault.contains("unplug")) peer.tell({{"plug", true}});
      const auto began = Clock::now();
      const MeterReply reply = read();
      score.strangers += reply.is_stranger ? 1 : 0;
      std::size_t good = 0;
      for (std::size_t c = 0; c < channel_count; ++c) {
        const ChannelValue& value = reply.channels[c];
        if (value.quality != Quality::good) continue;
        ++score.good, ++good;
        // From a stranger no value is right.
        if (value.value == truth(round, c) && !(is_stranger && step == 0)) continue;
        if (score.wrong++ == 0) score.first_wrong = "channel " + std::to_string(c) + " of round " + std::to_string(round) + ": " + std::to_string(value.value);
      }
      score.ends += step == 3 ? 1 : 0;
      score.whole_at_the_end += step == 3 && good == channel_count ? 1 : 0;
      // The peer's slowest fault outlasts one poll; a poll period stands between two in life.
      if (step > 0) std::this_thread::sleep_until(began + 250ms);
    }
  }
}

struct NamedFault {
  const char* name;
  json fault;
};
void PrintTo(const NamedFault& fault, std::ostream* out) { *out << fault.name; }

const std::vector<NamedFault> faults{
    {"late_within_the_drain", {{"late_s", 0.12}}},
    {"late_after_the_drain", {{"late_s", 0.26}, {"times", 1}}},
    {"very_late", {{"late_s", 0.6}, {"times", 1}}},
    {"each_a_little_late", {{"late_s", 0.09}}},
    {"silent", {{"silent", true}}},
    {"one_answer_lost", {{"lose_answers", 1}}},
    {"two_answers_lost", {{"lose_answers", 2}}},
    {"noise_before_each", {{"noise", "\xC2\x81\xC3\xBE"}}},
    {"an_empty_line_before_each", {{"noise", "\r\n"}}},
    {"a_word_before_each", {{"noise", "READY\n"}}},
    {"a_number_before_each", {{"noise", "+7.50000000E+00\n"}}},
    {"a_number_before_one", {{"noise", "+7.50000000E+00\n"}, {"times", 1}}},
    {"half_and_the_rest_late", {{"half", "late"}, {"late_s", 0.13}, {"times", 1}}},
    {"half_and_the_rest_very_late", {{"half", "late"}, {"late_s", 0.3}, {"times", 1}}},
    {"half_and_no_more", {{"half", "never"}}},
    {"half_once", {{"half", "never"}, {"times", 1}}},
    {"doubled", {{"doubled", true}}},
    {"doubled_late", {{"doubled", true}, {"doubled_late_s", 0.03}}},
    {"doubled_once_late", {{"doubled", true}, {"doubled_late_s", 0.05}, {"times", 1}}},
    {"ends_with_cr", {{"output_end", "cr"}}},
    {"ends_with_nothing", {{"output_end", "none"}}},
    {"ends_once_with_nothing", {{"output_end", "none"}, {"times", 1}}},
    {"units_behind", {{"format", "unit"}, {"times", 1}}},
    {"power_cycle", {{"power_cycle", true}}},
    {"unplugged", {{"unplug", true}}},
};

class Faults : public testing::TestWithParam<std::tuple<bool, NamedFault>> {};

TEST_P(Faults, NeverYieldAWrongValueAndAreOverInThreePolls) {
  const auto& [is_serial, named] = GetParam();
  const json& fault = named.fault;
  ScpiPeer peer(is_serial);
  ScpiBus bus(peer.wire_place(), {"m", three_channels(), identity}, timeout);
  const auto read = [&] {
    const auto began = Clock::now();
    MeterReply reply = bus.read(0);
    EXPECT_LT(Clock::now() - began, bus.call_deadline() + 200ms);
    if (fault.contains("format")) peer.tell({{"format", "nr3"}});
    return reply;
  };
  // A busy machine may spoil the end of a series; a driver that does not come back spoils it each time.
  Score score;
  for (int series = 0; series < series_max && (series == 0 || score.whole_at_the_end < score.ends - polls_lost_to_load_max); ++series) {
    score = {};
    play(peer, read, fault, 3, score);
    EXPECT_EQ(score.wrong, 0) << score.first_wrong;
  }
  EXPECT_GE(score.whole_at_the_end, score.ends - polls_lost_to_load_max);
  EXPECT_EQ(peer.report().at("resets"), 0);
}

INSTANTIATE_TEST_SUITE_P(Each, Faults, testing::Combine(testing::Bool(), testing::ValuesIn(faults)),
                         [](const auto& which) { return std::string(std::get<0>(which.param) ? "serial_" : "tcp_") + std::get<1>(which.param).name; });

/// Faults as they fall, also several in one poll, one after the other without a rest.
class MixedFaults : public testing::TestWithParam<bool> {};

TEST_P(MixedFaults, NeverYieldAWrongValue) {
  ScpiPeer peer(GetParam());
  ScpiBus bus(peer.wire_place(), {"m", three_channels(), identity}, 60ms);
  std::mt19937 chance(7 + GTEST_FLAG_GET(random_seed));  // --gtest_random_seed=N: another night
  Score score;
  std::string story;  // of the last rounds: a fault may show in the one after
  for (int round = 1; round <= 150; ++round) {
    peer.tell(values_of(round));
    json fault{{"well", true}};
    const bool is_stranger = chance() % 12 == 0;
    for (auto i = chance() % 3; i > 0; --i) {
      json one = faults[chance() % (faults.size() - 3)].fault;  // not the last ones, which take long to come back
      for (const auto& [key, value] : one.items()) fault[key] = value;
    }
    fault["times"] = 1 + static_cast<int>(chance() % 5);
    fault["idn"] = is_stranger ? stranger : identity + ",1.0";
    peer.tell(fault);
    const MeterReply reply = bus.read(0);
    story += "round " + std::to_string(round) + ", " + fault.dump() + ": ";
    for (const ChannelValue& channel : reply.channels) story += std::string(to_word(channel.quality)) + " ";
    story += reply.trouble + "\n";
    if (story.size() > 2000) story.erase(0, story.size() - 2000);
    for (std::size_t c = 0; c < channel_count; ++c) {
      if (reply.channels[c].quality != Quality::good) continue;
      ++score.good;
      ASSERT_FALSE(is_stranger) << story;
      ASSERT_EQ(reply.channels[c].value, truth(round, c)) << story;
    }
  }
  EXPECT_GT(score.good, 60);
}

INSTANTIATE_TEST_SUITE_P(Over, MixedFaults, testing::Bool(), [](const auto& which) { return which.param ? "serial" : "tcp"; });

TEST(ScpiFaults, ABridgeThatDeliversOldAnswersOnANewConnectionDoesNotShiftThem) {
  ScpiPeer peer(false, {"--bridge"});
  ScpiBus bus(peer.wire_place(), {"m", three_channels(), identity}, timeout);
  Score score;
  for (const NamedFault& named : faults)
    if (named.fault.contains("late_s") && !named.fault.contains("half")) play(peer, [&] { return bus.read(0); }, named.fault, 2, score);
  EXPECT_EQ(score.wrong, 0) << score.first_wrong;
  EXPECT_GE(score.whole_at_the_end, score.ends - polls_lost_to_load_max);
}

TEST(ScpiFaults, AnotherInstrumentOnTheSamePlugIsNeverBelieved) {
  for (const bool is_serial : {false, true}) {
    ScpiPeer peer(is_serial);
    ScpiBus bus(peer.wire_place(), {"m", three_channels(), identity}, timeout);
    Score score;
    play(peer, [&] { return bus.read(0); }, {{"idn", stranger}}, 5, score, true);
    EXPECT_EQ(score.wrong, 0) << score.first_wrong;
    EXPECT_EQ(score.strangers, 5);
    EXPECT_GE(score.whole_at_the_end, score.ends - polls_lost_to_load_max);
  }
}

/// What a driver would be without one of its precautions.
struct Lack {
  bool resync = false;    ///< goes on after a timeout as if nothing had been
  bool name = false;      ///< clears after a timeout, and never asks for a name
  bool proof = false;     ///< asks for the name after a timeout, and not after its values
};

class CarelessReader {
 public:
  CarelessReader(wire::Place place, Lack lack) : lack_(lack), dialog_(std::move(place), "\n", counters_) {}

  MeterReply operator()() {
    MeterReply reply;
    reply.channels.resize(channel_count);
    const Deadline deadline = Clock::now() + 2s;
    if (!dialog_.wire().open_now(deadline)) return reply;
    if (is_doubtful_ && !lack_.resync) {
      if (!dialog_.clear(deadline)) return reply;
      if (!lack_.name)
        if (const auto naming = dialog_.ask_name(Clock::now() + timeout); !naming || !is_same_identity(identity, naming->identity)) return reply;
      is_doubtful_ = false;
    }
    const Instrument instrument = three_channels();
    for (std::size_t c = 0; c < channel_count; ++c) {
      const auto answer = dialog_.ask(instrument.queries[c].text, Clock::now() + timeout);
      if (!answer) {
        is_doubtful_ = true;
        return reply;
      }
      const Number number = read_number(*answer);
      reply.channels[c] = {number.value, number.quality};
    }
    return reply;
  }

 private:
  Lack lack_;
  BusCounters counters_;
  Dialog dialog_;
  bool is_doubtful_ = true;
};

Score score_of(Lack lack, const json& fault, bool is_stranger = false) {
  ScpiPeer peer(true);
  CarelessReader reader(peer.wire_place(), lack);
  Score score;
  (void)reader();
  play(peer, std::ref(reader), fault, 3, score, is_stranger);
  return score;
}

TEST(TheseRounds, FindAReaderThatGoesOnAfterATimeout) { EXPECT_GT(score_of({.resync = true}, {{"late_s", 0.12}, {"times", 1}}).wrong, 0); }

TEST(TheseRounds, FindAReaderThatClearsAndDoesNotAskForAName) { EXPECT_GT(score_of({.name = true}, {{"late_s", 0.4}, {"times", 1}}).wrong, 0); }

TEST(TheseRounds, FindAReaderThatDoesNotProveItsOrderAfterItsValues) { EXPECT_GT(score_of({.proof = true}, {{"doubled", true}, {"doubled_late_s", 0.03}}).wrong, 0); }

TEST(TheseRounds, FindAChannelThatDoesNotComeBack) {
  ScpiPeer peer(false);
  ScpiBus bus(peer.wire_place(), {"m", three_channels(), identity}, timeout);
  Score score;
  play(peer, [&] {
    MeterReply reply = bus.read(0);
    reply.channels[2].quality = Quality::no_answer;
    return reply;
  }, {{"lose_answers", 1}}, 3, score);
  EXPECT_LT(score.whole_at_the_end, score.ends - polls_lost_to_load_max);
}

TEST(TheseRounds, FindAReaderThatAsksForTheNameOnlyAfterASilence) { EXPECT_GT(score_of({.proof = true}, {{"idn", stranger}}, true).wrong, 0); }

}  // namespace
}  // namespace steadyglow::drivers::scpi
