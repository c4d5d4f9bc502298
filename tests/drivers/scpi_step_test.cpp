/// One answer too many, and the next ones later than anybody waits: clearing hides the one, so what came before a silence is not believed.
/// (SCPI numbers neither questions nor answers: one too many and one that never comes at all, in one poll, cannot be told from none.)
#include <gtest/gtest.h>

#include <atomic>
#include <chrono>
#include <string>
#include <thread>

#include "drivers/scpi/scpi_bus.hpp"
#include "talker.hpp"

namespace steadyglow::drivers::scpi {
namespace {

using namespace std::chrono_literals;

constexpr auto timeout = 80ms;

Instrument three_questions() {
  Instrument instrument;
  instrument.error_query = "";
  instrument.outputs.push_back({"unit", "RELAY 1", "RELAY 0", "RELAY?"});
  for (const char* question : {"ONE?", "TWO?", "THREE?"}) {
    Channel channel;
    channel.name = std::string(question, 1);
    channel.uom = "V";
    channel.query = instrument.queries.size();
    instrument.queries.push_back({question, 1});
    instrument.channels.push_back(channel);
  }
  return instrument;
}

/// Answers 1, 2 and 3, in the order of the questions; in a bad poll says 1 twice, and 2 so late that nobody waits for 3.
class Doubtful {
 public:
  explicit Doubtful(bool knows_opc) : knows_opc_(knows_opc), thread_([this] { talk(); }) {}
  ~Doubtful() {
    is_over_ = true;
    thread_.join();
  }
  wire::Place end() const { return wire::SerialEnd{.line = {.device = talker_.path(), .baud = 9600}}; }
  std::atomic<bool> is_bad{false};

 private:
  void talk() {
    bool is_on = false;
    while (!is_over_) {
      const std::string question = talker_.hear();
      if (question == "*IDN?\n") talker_.say("MAKER,MODEL,7\n");
      if (question == "*OPC?\n" && knows_opc_) talker_.say("1\n");
      if (question == "ONE?\n") talker_.say("1\n");
      if (question == "ONE?\n" && is_bad) {
        std::this_thread::sleep_for(15ms);
        talker_.say("1\n");
      }
      if (question == "TWO?\n" && is_bad) std::this_thread::sleep_for(150ms);
      if (question == "TWO?\n") talker_.say("2\n");
      if (question == "THREE?\n") talker_.say("3\n");
      if (question == "RELAY 1\n" || question == "RELAY 0\n") is_on = question == "RELAY 1\n";
      if (question == "RELAY?\n") talker_.say(is_on ? "1\n" : "0\n");
    }
  }
  const bool knows_opc_;
  tests::PtyTalker talker_;
  std::atomic<bool> is_over_{false};
  std::thread thread_;
};

/// A dialog whose far end has just answered TWO? by the second copy of another answer.
struct OneTooMany {
  tests::TcpTalker talker;
  BusCounters counters;
  Dialog dialog{talker.end(), "\n", counters};

  OneTooMany() {
    EXPECT_TRUE(dialog.wire().open_now(Clock::now() + 1s));
    talker.pick_up();
    talker.say("1\n");
    EXPECT_EQ(dialog.ask("TWO?", Clock::now() + 1s).value_or(""), "1");
  }
  bool has_surplus_after(std::string_view bytes) {
    talker.say(bytes);
    std::this_thread::sleep_for(20ms);
    return dialog.has_surplus();
  }
};

TEST(ScpiSurplus, AnAnswerIsOneHoweverShort) {
  for (const char* answer : {"2\n", "2\r", "2", "\n2\n"}) EXPECT_TRUE(OneTooMany().has_surplus_after(answer)) << answer;
}
TEST(ScpiSurplus, AnEndingThatComesLateIsNone) {
  for (const char* ending : {"\r", "\r\n", " \r\n"}) EXPECT_FALSE(OneTooMany().has_surplus_after(ending)) << ending;
}
TEST(ScpiSurplus, NothingIsNone) { EXPECT_FALSE(OneTooMany().dialog.has_surplus()); }
TEST(ScpiSurplus, AnEndThatIsGoneIsToldAsOne) {
  OneTooMany far;
  far.talker.hang_up();
  std::this_thread::sleep_for(20ms);
  EXPECT_TRUE(far.dialog.has_surplus());
  EXPECT_FALSE(far.dialog.wire().is_open());
}

class ScpiStep : public testing::TestWithParam<bool> {};

TEST_P(ScpiStep, AnAnswerTooManyIsNotTheNextOneThatComesLate) {
  Doubtful instrument(GetParam());
  {
    ScpiBus bus(instrument.end(), {"m", three_questions(), "MAKER,MODEL,7"}, timeout);
    const auto expect_right = [&] {
      const MeterReply reply = bus.read(0);
      for (std::size_t c = 0; c < 3; ++c) {
        if (reply.channels[c].quality == Quality::good) { EXPECT_EQ(reply.channels[c].value, static_cast<double>(c + 1)) << reply.trouble; }
      }
      return reply;
    };
    // An instrument that does not know *OPC? shows it by two silences.
    for (int i = 0; i < 2 && !GetParam(); ++i) expect_right();
    EXPECT_EQ(expect_right().channels[2].quality, Quality::good);
    instrument.is_bad = true;
    for (int i = 0; i < 3; ++i) expect_right();
    instrument.is_bad = false;
    MeterReply last;
    for (int i = 0; i < 2 + static_cast<int>(polls_of_rest); ++i) last = expect_right();
    for (std::size_t c = 0; c < 3; ++c) EXPECT_EQ(last.channels[c].quality, Quality::good) << c << " " << last.trouble;
  }
}

TEST_P(ScpiStep, AnOrderThatComesFirstWaitsForNoMark) {
  Doubtful instrument(GetParam());
  {
    ScpiBus bus(instrument.end(), {"m", three_questions(), "MAKER,MODEL,7"}, timeout);
    const auto on = bus.write_output(0, 0, true);
    EXPECT_TRUE(on) << (on ? "" : on.error().message);
    const auto off = bus.write_output(0, 0, false);
    EXPECT_TRUE(off) << (off ? "" : off.error().message);
  }
}

TEST(ScpiBusCalls, AnOrderThatCouldNotBeSentSaysWhy) {
  const tests::Listener listener;
  std::thread instrument([&] {
    // It says its name when it is opened, and once more as proof; then it is gone without a word before the order comes.
    tests::Descriptor call(listener.take());
    for (int i = 0; i < 2; ++i) {
      if (call.hear().find("*IDN?") == std::string::npos) return;
      if (i == 1) {
        const linger at_once{1, 0};
        ::setsockopt(call.get(), SOL_SOCKET, SO_LINGER, &at_once, sizeof at_once);
      }
      call.say("MAKER,MODEL,7\n");
    }
  });
  ScpiBus bus(listener.end(), {"m", three_questions(), "MAKER,MODEL,7"}, 500ms);
  const auto on = bus.write_output(0, 0, true);
  instrument.join();
  ASSERT_FALSE(on);
  // "connection lost", or what the next read says, should the order still have found a way out.
  EXPECT_FALSE(on.error().message.ends_with(": ")) << on.error().message;
}

TEST(ScpiBusCalls, TakeNoLongerThanAnyBusMayWhateverTheTimeout) {
  ScpiBus bus(TcpEnd{"127.0.0.1", 1}, {"m", three_questions(), ""}, 10s);
  EXPECT_LE(bus.call_deadline(), call_deadline_most);
}

INSTANTIATE_TEST_SUITE_P(Each, ScpiStep, testing::Bool(), [](const auto& which) { return which.param ? "with_opc" : "without_opc"; });

}  // namespace
}  // namespace steadyglow::drivers::scpi
