#include <gtest/gtest.h>

#include <chrono>
#include <cmath>
#include <memory>
#include <string>

#include "drivers/frames/bus_toml.hpp"
#include "drivers/frames/frames_talk.hpp"
#include "drivers/frames/instrument_toml.hpp"
#include "drivers/talk_samples.hpp"
#include "drivers/talker.hpp"

namespace steadyglow::drivers::frames {
namespace {

using namespace std::chrono_literals;
using lines::Heard;
using lines::Word;
using tests::Display;
using tests::segment_frame;
using tests::shipped;
using tests::text_frame;

Instrument instrument_of(const std::string& text) {
  Errors errors;
  auto instrument = parse_instrument(text, "handheld.toml", errors);
  for (const Error& error : errors) ADD_FAILURE() << error.text();
  return instrument.value_or(Instrument{});
}

Instrument segments() { return instrument_of(shipped("handheld-14byte-segments")); }
Instrument texts() { return instrument_of(shipped("handheld-ascii-9byte")); }

std::size_t channel_named(const Instrument& instrument, const std::string& name) {
  for (std::size_t i = 0; i < instrument.channels.size(); ++i)
    if (instrument.channels[i].name == name) return i;
  ADD_FAILURE() << name;
  return 0;
}

FramesTalk talk_of(const Instrument& instrument, const std::string& dial = "volts_dc") { return {instrument, channel_named(instrument, dial)}; }

/// The display shown often enough to be believed from the start.
Heard shown_often(FramesTalk& talk, const std::string& frame) {
  for (int i = 0; i < 4; ++i) talk.take(frame);
  return talk.heard();
}
Heard shown_often(const Instrument& instrument, const std::string& frame, const std::string& dial = "volts_dc") {
  FramesTalk talk(instrument, channel_named(instrument, dial));
  return shown_often(talk, frame);
}

bool holds(const std::string& text, std::string_view part) { return text.find(part) != std::string::npos; }

std::string mistakes_in(const std::string& head, const std::string& channel = "mode = [\"2.1\"]\n") {
  Errors errors;
  EXPECT_FALSE(parse_instrument("[instrument]\nprotocol = \"frames\"\n" + head + "[[channel]]\nname = \"volts\"\nquantity = \"voltage\"\nuom = \"V\"\n" + channel, "handheld.toml", errors));
  std::string all;
  for (const Error& error : errors) all += error.text() + "\n";
  return all;
}

TEST(SegmentFrames, ShowEveryFigureAtEveryPoint) {
  const Instrument instrument = segments();
  for (int figures = 0; figures <= 9999; figures += 37)
    for (int decimals = 0; decimals <= 3; ++decimals)
      for (const bool is_minus : {false, true}) {
        const Heard heard = shown_often(instrument, segment_frame({.figures = figures, .decimals = decimals, .is_minus = is_minus}));
        ASSERT_EQ(heard.newest.size(), 1u) << heard.trouble;
        const double expected = (is_minus ? -1 : 1) * figures / std::pow(10.0, decimals);
        EXPECT_DOUBLE_EQ(heard.newest[0].value, expected);
        EXPECT_EQ(heard.newest[0].quality, std::fabs(expected) <= 1000.0 ? Quality::good : Quality::implausible);
      }
}

TEST(SegmentFrames, SpeakAFrameWrittenByHand) {
  // -12.34 V DC, automatic range: 1 is segments bc, 2 abdeg, 3 abcdg, 4 bcfg; the point stands at byte 6, the minus at byte 2.
  const std::string frame = "\x17\x28\x35\x45\x5B\x69\x7F\x82\x97\xA0\xB0\xC0\xD4\xE0";
  EXPECT_EQ(frame, [] {
    std::string made = segment_frame({.figures = 1234, .decimals = 2, .is_minus = true});
    made[0] = static_cast<char>(made[0] | 0x03);  // automatic range and the talking cable are lit besides
    return made;
  }());
  EXPECT_DOUBLE_EQ(shown_often(segments(), frame).newest.at(0).value, -12.34);
}

TEST(SegmentFrames, TakePrefixesIntoAccount) {
  EXPECT_DOUBLE_EQ(shown_often(segments(), segment_frame({.figures = 2315, .decimals = 1, .prefix = 'm'})).newest.at(0).value, 0.2315);
  EXPECT_DOUBLE_EQ(shown_often(segments(), segment_frame({.figures = 4702, .decimals = 2, .mode = 'R', .prefix = 'k'}), "ohms").newest.at(0).value, 47020.0);
}

TEST(SegmentFrames, OfAnOverloadHaveNoValue) { EXPECT_EQ(shown_often(segments(), segment_frame({.is_overload = true})).newest.at(0).quality, Quality::over_range); }

TEST(SegmentFrames, OfAHeldFigureAreStale) {
  const Heard heard = shown_often(segments(), segment_frame({.figures = 1, .is_held = true}));
  EXPECT_EQ(heard.newest.at(0).quality, Quality::stale);
  EXPECT_TRUE(holds(heard.trouble, "held"));
}

TEST(SegmentFrames, OfALowBatteryAreToldAndStillRead) {
  const Heard heard = shown_often(segments(), segment_frame({.figures = 1500, .decimals = 2, .is_low_battery = true}));
  EXPECT_EQ(heard.newest.at(0).quality, Quality::good);
  EXPECT_TRUE(holds(heard.trouble, "its battery is low")) << heard.trouble;
}

TEST(Frames, OfADialThatWasTurnedAreImplausibleAndSaySo) {
  for (const auto& [instrument, frame] : {std::pair{segments(), segment_frame({.figures = 470, .mode = 'R'})}, std::pair{texts(), text_frame({.figures = 470, .mode = 'R'})}}) {
    const Heard heard = shown_often(instrument, frame);
    EXPECT_EQ(heard.last, Word::fresh);
    EXPECT_EQ(heard.newest.at(0).quality, Quality::implausible);
    EXPECT_EQ(heard.newest.at(0).value, 0.0);
    EXPECT_TRUE(holds(heard.trouble, "its dial stands at another mode (`ohms`) than `volts_dc`")) << heard.trouble;
  }
}

TEST(TextFrames, ShowEveryFigureAtEveryPoint) {
  const Instrument instrument = texts();
  for (int figures = 0; figures <= 9999; figures += 37)
    for (int decimals = 0; decimals <= 3; ++decimals) {
      const Heard heard = shown_often(instrument, text_frame({.figures = figures, .decimals = decimals, .is_minus = true}));
      ASSERT_EQ(heard.newest.size(), 1u) << heard.trouble;
      EXPECT_DOUBLE_EQ(heard.newest[0].value, -figures / std::pow(10.0, decimals));
    }
}

TEST(TextFrames, KnowOverloadBatteryAndKilo) {
  EXPECT_EQ(shown_often(texts(), text_frame({.is_overload = true})).newest.at(0).quality, Quality::over_range);
  EXPECT_TRUE(holds(shown_often(texts(), text_frame({.is_low_battery = true})).trouble, "battery"));
  EXPECT_DOUBLE_EQ(shown_often(texts(), text_frame({.figures = 4702, .decimals = 2, .mode = 'R', .prefix = 'k'}), "ohms").newest.at(0).value, 47020.0);
}

TEST(Frames, AreBelievedWhenTheyAreInStepAndTwoShowTheSameSigns) {
  FramesTalk talk = talk_of(texts());
  const std::string frame = text_frame({.figures = 1});
  for (const Word expected : {Word::none, Word::none, Word::fresh, Word::fresh}) {
    talk.take(frame);
    EXPECT_EQ(talk.heard().last, expected);
  }
}

TEST(Frames, ShowAMovedPointTwiceBeforeItIsBelieved) {
  FramesTalk talk = talk_of(segments());
  EXPECT_DOUBLE_EQ(shown_often(talk, segment_frame({.figures = 1234, .decimals = 2})).newest.at(0).value, 12.34);
  talk.take(segment_frame({.figures = 1234, .decimals = 3}));
  EXPECT_EQ(talk.heard().last, Word::none);
  talk.take(segment_frame({.figures = 1234, .decimals = 3}));
  EXPECT_DOUBLE_EQ(talk.heard().newest.at(0).value, 1.234);
}

TEST(Frames, OfALostByteAreThrownAwayUntilTheyAreInStepAgain) {
  FramesTalk talk = talk_of(segments());
  const std::string frame = segment_frame({.figures = 1234, .decimals = 2});
  (void)shown_often(talk, frame);
  std::string lost = segment_frame({.figures = 8888, .decimals = 2});
  lost.erase(5, 1);
  talk.take(lost + frame);
  const Heard after = talk.heard();
  EXPECT_EQ(after.last, Word::none);
  EXPECT_TRUE(holds(after.trouble, "bytes that belong to no frame")) << after.trouble;
  talk.take(frame + frame);
  EXPECT_DOUBLE_EQ(talk.heard().newest.at(0).value, 12.34);
}

TEST(Frames, OfBcdDigitsAreRead) {
  const Instrument instrument = instrument_of(R"([instrument]
protocol = "frames"
frame = "AA xx xx 0000xxx1 55"
digits = { kind = "bcd", at = ["2h", "2l", "3h", "3l"] }
minus = ["4.1"]
point = [ { when = ["4.2"], decimals = 2 } ]
[[channel]]
name = "volts"
quantity = "voltage"
uom = "V"
mode = ["!4.3"]
)");
  EXPECT_DOUBLE_EQ(shown_often(instrument, "\xAA\x12\x34\x07\x55", "volts").newest.at(0).value, -12.34);
  EXPECT_EQ(shown_often(instrument, "\xAA\x1A\x34\x07\x55", "volts").last, Word::none);
}

TEST(FramePatterns, AreHexOrBinaryWithHoles) {
  EXPECT_EQ(parse_pattern("5A")->is, 0x5A);
  EXPECT_EQ(parse_pattern("3x")->mask, 0xF0);
  EXPECT_EQ(parse_pattern("01xx0001")->mask, 0xCF);
  for (const char* wrong : {"", "5", "5G", "X5", "012", "0101010", "2xxxxxxx"}) EXPECT_FALSE(parse_pattern(wrong)) << wrong;
}

TEST(FrameConditions, NameBitsAndBytes) {
  EXPECT_EQ(parse_condition("2.3", 4)->byte, 1u);
  EXPECT_EQ(parse_condition("!2.3", 4)->pattern.is, 0);
  EXPECT_EQ(parse_condition("4='V'", 4)->pattern.is, 'V');
  EXPECT_EQ(parse_condition("4=1x", 4)->pattern.mask, 0xF0);
  for (const char* wrong : {"", "2", "0.3", "5.3", "2.8", "2.-1", "2=", "5=00", "2='VV'", "2=xx", "!2=00"}) EXPECT_FALSE(parse_condition(wrong, 4)) << wrong;
}

TEST(FramesInstrument, MistakesAreExplained) {
  const std::string digits = "digits = { kind = \"ascii\", at = [\"2\", \"3\"] }\n";
  EXPECT_TRUE(holds(mistakes_in("frame = \"0A 3x 3y 3x\"\n" + digits), "`3y` is no byte"));
  EXPECT_TRUE(holds(mistakes_in("frame = \"xx xx xx xx\"\n" + digits), "nothing in it says where a frame begins"));
  EXPECT_TRUE(holds(mistakes_in("frame = \"0A 3x\"\n" + digits), "a frame of 2 bytes is not supported"));
  EXPECT_TRUE(holds(mistakes_in("frame = \"0A 3x 3x 3x\"\n"), "`digits` is missing here"));
  EXPECT_TRUE(holds(mistakes_in("frame = \"0A 3x 3x 3x\"\ndigits = { kind = \"ascii\", at = [\"5\"] }\n"), "`5` names no digit"));
  EXPECT_TRUE(holds(mistakes_in("frame = \"0A 3x 3x 3x\"\nminus = [\"9.1\"]\n" + digits), "`9.1` names no bit or byte of a frame of 4 bytes"));
  EXPECT_TRUE(holds(mistakes_in("frame = \"0A 3x 3x 3x\"\nchecksum = { kind = \"sum8\", from = 1, to = 4, at = 4 }\n" + digits), "it cannot sum itself"));
  EXPECT_TRUE(holds(mistakes_in("frame = \"0A 3x 3x 3x\"\nchecksum = { kind = \"crc16_modbus\", from = 1, to = 3, at = 4 }\n" + digits), "it would reach past the frame"));
  EXPECT_TRUE(holds(mistakes_in("frame = \"0A 3x 3x 3x\"\n" + digits, ""), "`mode` says nothing"));
}

std::string mistakes_of_meter(const std::string& meter_keys, MeterInfo& info) {
  Errors errors;
  const document::Node root = document::parse("[[bus]]\nhost = \"127.0.0.1\"\n[[bus.meter]]\n" + meter_keys, "bench.toml", errors);
  document::Table top(root, "bench.toml", errors);
  auto buses = top.tables("bus");
  const auto reader = begin_tcp(buses.at(0));
  auto meters = buses[0].tables("meter");
  const InstrumentText file{"handheld.toml", shipped("handheld-ascii-9byte")};
  info.identity = meters.at(0).maybe_text("identity").value_or("");
  reader->read_meter(meters[0], &file, info, errors);
  std::string all;
  for (const Error& error : errors) all += error.text() + "\n";
  return all;
}

TEST(FramesBus, GivesTheMeterTheChannelAtWhichItsDialStands) {
  MeterInfo info;
  EXPECT_EQ(mistakes_of_meter("dial = \"ohms\"\n", info), "");
  ASSERT_EQ(info.channels.size(), 1u);
  EXPECT_EQ(info.channels[0].quantity, Quantity::resistance);
}

TEST(FramesBus, ExplainsAMissingDialAnUnknownOneAndAnIdentity) {
  MeterInfo info;
  EXPECT_TRUE(holds(mistakes_of_meter("", info), "`dial` is missing here hint: say at what the meter's dial stands, one of: \"volts_dc\""));
  EXPECT_TRUE(holds(mistakes_of_meter("dial = \"volt\"\n", info), "the instrument has no channel `volt`"));
  EXPECT_TRUE(holds(mistakes_of_meter("dial = \"ohms\"\nidentity = \"a\"\n", info), "such a device cannot say who it is"));
}

TEST(FramesBus, ReadsASerialLineAndCallsAMeterThatSwitchedItselfOffStale) {
  tests::PtyTalker talker;
  const Instrument instrument = texts();
  lines::TalkBus bus(wire::SerialEnd{.line = {.device = talker.path(), .baud = 9600}}, std::make_unique<FramesTalk>(instrument, channel_named(instrument, "volts_dc")),
                     {.timeout = 60ms, .stale_after = 250ms, .settle = 0ms, .ask = {}});
  EXPECT_EQ(bus.read(0).channels.at(0).quality, Quality::no_answer);
  for (int i = 0; i < 3; ++i) talker.say(text_frame({.figures = 1234, .decimals = 2}));
  EXPECT_DOUBLE_EQ(bus.read(0).channels.at(0).value, 12.34);
  const auto until = std::chrono::steady_clock::now() + 300ms;
  while (std::chrono::steady_clock::now() < until) (void)bus.read(0);
  const MeterReply reply = bus.read(0);
  EXPECT_EQ(reply.channels.at(0).quality, Quality::stale);
  EXPECT_FALSE(reply.is_answered);
}

}  // namespace
}  // namespace steadyglow::drivers::frames
