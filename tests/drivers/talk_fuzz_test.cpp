/// True lines and frames, damaged in every way that a wire can, 100,000 times each: what is believed must have been said, and what is said
/// after the damage must be believed again soon. Also: what slips through where an instrument has no checksum, or a weak one.
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <functional>
#include <memory>
#include <random>
#include <string>
#include <utility>
#include <vector>

#include "drivers/frames/frames_talk.hpp"
#include "drivers/frames/instrument_toml.hpp"
#include "drivers/lines/instrument_toml.hpp"
#include "drivers/lines/lines_talk.hpp"
#include "drivers/talk_samples.hpp"

namespace steadyglow::drivers {
namespace {

using lines::Heard;
using lines::Talk;
using tests::Display;

constexpr int mutations = 100000;
/// Whole messages in a row after the damage; the last must be believed.
constexpr int messages_until_believed = 3;

using Random = std::mt19937_64;
int pick(Random& random, int count) { return std::uniform_int_distribution<int>(0, count - 1)(random); }
std::size_t place_in(Random& random, const std::string& text) { return static_cast<std::size_t>(pick(random, static_cast<int>(text.size()))); }
char any_byte(Random& random) { return static_cast<char>(pick(random, 256)); }
void flip(std::string& text, std::size_t bit) { text[bit / 8] = static_cast<char>(static_cast<unsigned char>(text[bit / 8]) ^ (1U << (bit % 8))); }

/// One thing goes wrong: what a checksum of eight bits promises to find.
std::string damaged_once(Random& random, std::string text) {
  switch (pick(random, 7)) {
    case 0: flip(text, static_cast<std::size_t>(pick(random, static_cast<int>(8 * text.size())))); break;
    case 1: text[place_in(random, text)] = any_byte(random); break;
    case 2: {  // a burst of up to eight bits in the order in which a serial line sends them
      const int length = 2 + pick(random, 7);
      const auto first = static_cast<std::size_t>(pick(random, static_cast<int>(8 * text.size()) - length + 1));
      flip(text, first);
      for (int i = 1; i < length; ++i)
        if (pick(random, 2) == 1) flip(text, first + static_cast<std::size_t>(i));
      break;
    }
    case 3: text.erase(place_in(random, text), 1); break;
    case 4: text.insert(place_in(random, text), 1, any_byte(random)); break;
    case 5: text.resize(place_in(random, text)); break;
    default: {  // noise before it
      std::string noise;
      for (int i = pick(random, 40); i >= 0; --i) noise += any_byte(random);
      text.insert(0, noise);
    }
  }
  return text;
}

/// Several things go wrong in one message.
std::string damaged_much(Random& random, std::string text) {
  switch (pick(random, 5)) {
    case 0:
      for (int i = 2 + pick(random, 5); i > 0; --i) flip(text, static_cast<std::size_t>(pick(random, static_cast<int>(8 * text.size()))));
      break;
    case 1:
      for (int i = 2 + pick(random, 5); i > 0; --i) text[place_in(random, text)] = any_byte(random);
      break;
    case 2: text.erase(place_in(random, text), 2 + static_cast<std::size_t>(pick(random, 7))); break;
    case 3: {
      const std::size_t at = place_in(random, text);
      text.insert(at, text.substr(at, 1 + static_cast<std::size_t>(pick(random, 8))));
      break;
    }
    default: {
      const std::size_t at = place_in(random, text);
      for (std::size_t i = at; i < std::min(text.size(), at + 16); ++i) text[i] = any_byte(random);
    }
  }
  return text;
}

/// Two neighbours change places: no serial line does that, but a careless program in the board might.
std::string swapped(Random& random, std::string text) {
  const std::size_t at = static_cast<std::size_t>(pick(random, static_cast<int>(text.size()) - 1));
  std::swap(text[at], text[at + 1]);
  return text;
}

using Values = std::vector<ChannelValue>;

struct Message {
  std::string bytes;
  Values values;
};

/// A device under test: makes true messages, and a fresh driver to hear them.
struct Source {
  std::string name;
  std::function<Message(Random&)> message;
  std::function<std::unique_ptr<Talk>()> talk;
};

bool is_same(const Values& a, const Values& b) {
  for (std::size_t i = 0; i < a.size(); ++i)
    if (a[i].quality != b[i].quality || std::fabs(a[i].value - b[i].value) > 1e-9 * std::max(1.0, std::fabs(b[i].value))) return false;
  return a.size() == b.size();
}

bool has_good(const Values& values) {
  return std::any_of(values.begin(), values.end(), [](const ChannelValue& value) { return value.quality == Quality::good; });
}

struct Score {
  int wrong = 0;         ///< believed, but never said
  int not_regained = 0;  ///< still deaf after messages_until_believed whole messages
  std::string example;
};

/// Each round: a message, a damaged one, then whole ones.
Score play(const Source& source, std::string (*damage)(Random&, std::string), int rounds, unsigned seed) {
  Random random(seed);
  Score score;
  const auto talk = source.talk();
  for (int round = 0; round < rounds; ++round) {
    std::vector<Message> said;
    const auto hear = [&](const std::string& bytes) {
      talk->take(bytes);
      Heard heard = talk->heard();
      const bool is_true = std::any_of(said.begin(), said.end(), [&](const Message& message) { return is_same(heard.newest, message.values); });
      if (heard.last == lines::Word::fresh && has_good(heard.newest) && !is_true) {
        ++score.wrong;
        score.example = bytes;
      }
      return heard;
    };
    said.push_back(source.message(random));
    (void)hear(said.back().bytes);
    const Message victim = source.message(random);
    said.push_back(victim);
    (void)hear(damage(random, victim.bytes));
    Heard last;
    for (int i = 0; i < messages_until_believed; ++i) {
      said.push_back(source.message(random));
      last = hear(said.back().bytes);
    }
    if (!is_same(last.newest, said.back().values)) ++score.not_regained;
  }
  return score;
}

// ---- the devices --------------------------------------------------------------------------------------------------------------

double tenth(Random& random) { return (pick(random, 1900) - 400) / 10.0; }

Source board(const std::string& checksum) {
  auto counter = std::make_shared<int>(0);
  std::string text = tests::shipped("board-lines-4ch");
  const std::string shipped_line = "checksum = \"crc16_modbus\"\n";
  text.replace(text.find(shipped_line), shipped_line.size(), checksum.empty() ? "" : "checksum = \"" + checksum + "\"\n");
  Errors errors;
  const auto instrument = lines::parse_instrument(text, "board.toml", errors);
  EXPECT_TRUE(instrument);
  return {"board lines, " + (checksum.empty() ? "no checksum" : checksum),
          [=](Random& random) {
            Message message;
            std::string line = "id=rack2 n=" + std::to_string(++*counter);
            for (int i = 1; i <= 4; ++i) {
              const double value = tenth(random);
              line += tests::print(" t%d=%.1f", i, value);
              message.values.push_back({value, Quality::good});
            }
            message.bytes = tests::with_checksum(checksum.empty() ? line : line + " ", checksum) + "\n";
            return message;
          },
          [=] { return std::make_unique<lines::LinesTalk>(*instrument, "rack2"); }};
}

Source logger() {
  Errors errors;
  const auto instrument = lines::parse_instrument(tests::shipped("logger-csv-8ch"), "logger.toml", errors);
  EXPECT_TRUE(instrument);
  return {"logger rows, no checksum",
          [](Random& random) {
            Message message;
            message.bytes = "\"2031-05-04 21:07:33\"";
            for (int i = 0; i < 8; ++i) {
              const double value = (pick(random, 60000) - 30000) / 1000.0;
              message.bytes += tests::print(",%.3f", value);
              message.values.push_back({value, Quality::good});
            }
            message.bytes += "\r\n";
            return message;
          },
          [=] { return std::make_unique<lines::LinesTalk>(*instrument, ""); }};
}

/// The signs change only now and then, as on a meter.
Display any_display(Random& random) { return {.figures = pick(random, 10000), .decimals = 2, .is_minus = false}; }

Source handheld(const std::string& name, std::string (*frame)(const Display&)) {
  Errors errors;
  const auto instrument = frames::parse_instrument(tests::shipped(name), "handheld.toml", errors);
  EXPECT_TRUE(instrument);
  return {name,
          [=](Random& random) {
            const Display display = any_display(random);
            return Message{frame(display), {{display.figures / 100.0, Quality::good}}};
          },
          [=] { return std::make_unique<frames::FramesTalk>(*instrument, 0); }};
}

Score told(const Source& source, const char* how, std::string (*damage)(Random&, std::string), unsigned seed) {
  const Score score = play(source, damage, mutations, seed);
  std::printf("%-28s %-15s %6d wrong of %d (%.3f %%), %d not regained\n", source.name.c_str(), how, score.wrong, mutations, 100.0 * score.wrong / mutations, score.not_regained);
  return score;
}

class Checked : public testing::TestWithParam<const char*> {};

TEST_P(Checked, LinesGiveNoWrongValueAfterOneFault) {
  const Score score = told(board(GetParam()), "one fault", damaged_once, 11);
  EXPECT_EQ(score.wrong, 0) << score.example;
  EXPECT_EQ(score.not_regained, 0);
}
INSTANTIATE_TEST_SUITE_P(Talk, Checked, testing::Values("xor8", "sum8", "crc16_modbus"), [](const auto& kind) { return std::string(kind.param); });

TEST(TalkFuzz, LinesWithACrcGiveNoWrongValueAfterManyFaults) {
  for (const auto damage : {damaged_much, swapped}) {
    const Score score = told(board("crc16_modbus"), damage == swapped ? "neighbours swap" : "many faults", damage, 12);
    EXPECT_EQ(score.wrong, 0) << score.example;
    EXPECT_EQ(score.not_regained, 0);
  }
}

TEST(TalkFuzz, FramesWithASumGiveNoWrongValueAfterOneFault) {
  const Score score = told(handheld("handheld-ascii-9byte", tests::text_frame), "one fault", damaged_once, 13);
  EXPECT_EQ(score.wrong, 0) << score.example;
  EXPECT_EQ(score.not_regained, 0);
}

/// Honest figures rather than a claim: eight bits do not see two faults that make up for each other.
TEST(TalkFuzz, WeakChecksumsLetLittleThroughAfterManyFaults) {
  for (const Source& source : {board("xor8"), board("sum8"), handheld("handheld-ascii-9byte", tests::text_frame)}) {
    const Score much = told(source, "many faults", damaged_much, 14);
    EXPECT_LT(much.wrong, mutations / 100);
    EXPECT_EQ(much.not_regained, 0);
    EXPECT_GT(told(source, "neighbours swap", swapped, 14).wrong, 0) << "a sum does not see the order; a measure that finds nothing here measures nothing";
  }
}

TEST(TalkFuzz, WithoutChecksumSomeSlipsThroughAndTheDriverIsInStepAgain) {
  for (const Source& source : {board(""), logger(), handheld("handheld-14byte-segments", tests::segment_frame)}) {
    for (const bool is_much : {false, true}) {
      const Score score = told(source, is_much ? "many faults" : "one fault", is_much ? damaged_much : damaged_once, 15);
      EXPECT_GT(score.wrong, 0) << "a measure that finds nothing here measures nothing";
      EXPECT_LT(score.wrong, mutations / 2);
      EXPECT_EQ(score.not_regained, 0);
    }
  }
}

/// The planted bug: a driver that takes every fourteen bytes for a frame and never looks for the beginning of one again.
class NeverInStepAgain final : public Talk {
 public:
  explicit NeverInStepAgain(frames::Instrument instrument) : instrument_(std::move(instrument)) {}
  void begin_anew() override { bytes_.clear(); }
  void lose_track() override { bytes_.clear(); }
  void expect_answer() override { bytes_.clear(); }
  void take(std::string_view bytes) override {
    bytes_ += bytes;
    const std::size_t length = instrument_.frame.size();
    for (; bytes_.size() >= length; bytes_.erase(0, length)) {
      const std::string frame = bytes_.substr(0, length);
      if (!frames::is_frame(instrument_, frame)) continue;
      heard_.last = lines::Word::fresh;
      heard_.newest = {frames::read_frame(instrument_, 0, frame).value};
    }
  }
  bool has_word() const override { return heard_.last != lines::Word::none; }
  Heard heard() override { return std::exchange(heard_, {}); }
  std::size_t channel_count() const override { return 1; }

 private:
  frames::Instrument instrument_;
  std::string bytes_;
  Heard heard_;
};

TEST(TalkFuzz, FindsADriverThatDoesNotComeIntoStepAgain) {
  Errors errors;
  const auto instrument = frames::parse_instrument(tests::shipped("handheld-14byte-segments"), "handheld.toml", errors);
  Source source = handheld("handheld-14byte-segments", tests::segment_frame);
  source.talk = [&] { return std::make_unique<NeverInStepAgain>(*instrument); };
  EXPECT_GT(play(source, damaged_once, 100, 16).not_regained, 50);
}

}  // namespace
}  // namespace steadyglow::drivers
