#include <gtest/gtest.h>

#include <chrono>
#include <memory>
#include <string>
#include <thread>

#include "drivers/lines/bus_toml.hpp"
#include "drivers/lines/instrument_toml.hpp"
#include "drivers/lines/lines_talk.hpp"
#include "drivers/lines/talk_toml.hpp"
#include "drivers/talk_samples.hpp"
#include "drivers/talker.hpp"

namespace steadyglow::drivers::lines {
namespace {

using namespace std::chrono_literals;
using tests::PtyTalker;
using tests::shipped;
using tests::TcpTalker;
using tests::with_checksum;

Instrument instrument_of(const std::string& text) {
  Errors errors;
  auto instrument = parse_instrument(text, "board.toml", errors);
  for (const Error& error : errors) ADD_FAILURE() << error.text();
  return instrument.value_or(Instrument{});
}

std::string channel(const std::string& name) { return "[[channel]]\nname = \"" + name + "\"\nkey = \"" + name + "\"\nquantity = \"temperature\"\nuom = \"Cel\"\n"; }
Instrument two_temperatures(const std::string& head = "format = \"key_value\"\n") { return instrument_of("[instrument]\nprotocol = \"lines\"\n" + head + channel("t1") + channel("t2")); }

std::string mistakes_in(const std::string& text) {
  Errors errors;
  EXPECT_FALSE(parse_instrument(text, "board.toml", errors));
  std::string all;
  for (const Error& error : errors) all += error.text() + "\n";
  return all;
}
std::string mistakes_in_head(const std::string& head) { return mistakes_in("[instrument]\nprotocol = \"lines\"\n" + head + channel("t1")); }

bool holds(const std::string& text, std::string_view part) { return text.find(part) != std::string::npos; }

Heard after(LinesTalk& talk, const std::string& bytes) {
  talk.take(bytes);
  return talk.heard();
}

// ---- lines --------------------------------------------------------------------------------------------------------------------

TEST(LineCutter, ThrowsTheFirstHalfLineAway) {
  LineCutter cutter;
  cutter.take("2=19.8\nt1=1\n");
  EXPECT_EQ(cutter.next(), "t1=1");
  EXPECT_EQ(cutter.next(), std::nullopt);
}

TEST(LineCutter, TakesEveryKindOfLineEnd) {
  LineCutter cutter;
  cutter.begin_line();
  cutter.take("a\r\nb\nc\rd");
  EXPECT_EQ(cutter.next(), "a");
  EXPECT_EQ(cutter.next(), "b");
  EXPECT_EQ(cutter.next(), "c");
  EXPECT_EQ(cutter.next(), std::nullopt);
}

TEST(LineCutter, ThrowsALineWithoutEndAwayAndFindsTheNext) {
  LineCutter cutter;
  cutter.begin_line();
  for (int i = 0; i < 100; ++i) {
    cutter.take(std::string(line_bytes_max, 'x'));
    EXPECT_EQ(cutter.next(), std::nullopt);
  }
  cutter.take("x\nt1=1\n");
  EXPECT_EQ(cutter.next(), "t1=1");
  EXPECT_EQ(cutter.too_long(), 1u);
}

TEST(CsvFields, FollowRfc4180) {
  // RFC 4180, section 2: rules 4 (spaces aside: padding of figures is taken off), 5, 6 and 7.
  using Fields = std::vector<std::string>;
  EXPECT_EQ(split_csv("aaa,bbb,ccc", ','), (Fields{"aaa", "bbb", "ccc"}));
  EXPECT_EQ(split_csv(R"("aaa","b,bb","ccc")", ','), (Fields{"aaa", "b,bb", "ccc"}));
  EXPECT_EQ(split_csv(R"("aaa","b""bb","ccc")", ','), (Fields{"aaa", "b\"bb", "ccc"}));
  EXPECT_EQ(split_csv(" 1.5 ,,2", ','), (Fields{"1.5", "", "2"}));
  EXPECT_EQ(split_csv("1,", ','), (Fields{"1", ""}));
  EXPECT_EQ(split_csv("\"a\"\t5", '\t'), (Fields{"a", "5"}));
  EXPECT_EQ(split_csv("\t 5 \t", '\t'), (Fields{"", "5", ""}));
  EXPECT_EQ(split_csv(R"("aaa,bbb)", ','), std::nullopt);
  EXPECT_EQ(split_csv(R"(a"b,c)", ','), std::nullopt);
  EXPECT_EQ(split_csv(R"("a"b,c)", ','), std::nullopt);
}

TEST(Lines, ReadKeysInAnyOrderAmongOthers) {
  LinesTalk talk(two_temperatures(), "");
  const Heard heard = after(talk, "\nheap=2211 t2=19.8\tt1=+23.4\n");
  ASSERT_EQ(heard.newest.size(), 2u) << heard.trouble;
  EXPECT_EQ(heard.newest[0].value, 23.4);
  EXPECT_EQ(heard.newest[1].value, 19.8);
}

TEST(Lines, TakeTheNewest) {
  LinesTalk talk(two_temperatures(), "");
  EXPECT_EQ(after(talk, "\nt1=1 t2=2\nt1=3 t2=4\nt1=5 t2").newest[0].value, 3.0);
}

TEST(Lines, BelieveNothingOfALineThatLacksAChannelOrHasItTwice) {
  LinesTalk talk(two_temperatures(), "");
  for (const std::string line : {"t1=1", "t1=1 t2=2 t1=3", "t1=1 t2=", "t1=1 t2=2x", "t1=1 t2 =2", "t1=1 t2=1,5", "t1=1t2=2", "t1=1 t2=nan", "t1=1 t2=inf", "t1=1 t2=2 \x01", "ready"}) {
    const Heard heard = after(talk, "\n" + line + "\n");
    EXPECT_EQ(heard.last, Word::none) << line;
    EXPECT_EQ(heard.damaged, 1u) << line;
    EXPECT_TRUE(holds(heard.trouble, "1 damaged line: ")) << heard.trouble;
  }
}

TEST(Lines, SkipRemarks) {
  LinesTalk talk(two_temperatures(), "");
  const Heard heard = after(talk, "\n# board 2.1 ready\nt1=1 t2=2\n");
  EXPECT_EQ(heard.last, Word::fresh);
  EXPECT_EQ(heard.damaged, 0u);
}

TEST(Lines, OfEachChecksumAreTakenWhenItIsRight) {
  for (const std::string kind : {"xor8", "sum8", "crc16_modbus"}) {
    LinesTalk talk(two_temperatures("format = \"key_value\"\nchecksum = \"" + kind + "\"\n"), "");
    EXPECT_EQ(after(talk, "\n" + with_checksum("t1=23.4 t2=19.8 ", kind) + "\n").newest.size(), 2u) << kind;
    std::string wrong = with_checksum("t1=23.4 t2=19.8 ", kind);
    wrong[3] = '8';
    const Heard heard = after(talk, wrong + "\n");
    EXPECT_EQ(heard.last, Word::none) << kind;
    EXPECT_TRUE(holds(heard.trouble, "but its bytes give")) << heard.trouble;
    EXPECT_EQ(after(talk, "t1=23.4 t2=19.8\n").last, Word::none) << kind;
    EXPECT_EQ(after(talk, "t1=23.4 t2=19.8 *\n").last, Word::none) << kind;
  }
}

TEST(Lines, CheckTheCrcOfThePublishedFrame) {
  // MODBUS over Serial Line V1.02, 6.2.2: the CRC of 02 07 is 1241h, sent as 41 12.
  EXPECT_EQ(reckon(Checksum::crc16_modbus, std::string_view("\x02\x07", 2)), 0x1241);
  EXPECT_EQ(tests::long_division_crc(std::string_view("\x02\x07", 2)), 0x1241);
  EXPECT_EQ(reckon(Checksum::crc16_modbus, "123456789"), 0x4B37);  // the usual check value of this CRC, from memory
}

TEST(Lines, CallARepeatedCounterStaleAndCountAJump) {
  LinesTalk talk(two_temperatures("format = \"key_value\"\ncounter = \"n\"\n"), "");
  EXPECT_EQ(after(talk, "\nt1=1 t2=2 n=7\n").last, Word::fresh);
  const Heard repeat = after(talk, "t1=1 t2=2 n=7\n");
  EXPECT_EQ(repeat.last, Word::repeat);
  EXPECT_TRUE(holds(repeat.trouble, "its counter stands still at 7")) << repeat.trouble;
  const Heard jump = after(talk, "t1=1 t2=2 n=11\n");
  EXPECT_EQ(jump.last, Word::fresh);
  EXPECT_TRUE(holds(jump.trouble, "3 lines lost on the way")) << jump.trouble;
  const Heard restart = after(talk, "t1=1 t2=2 n=0\n");
  EXPECT_EQ(restart.last, Word::fresh);
  EXPECT_EQ(restart.trouble, "");
}

TEST(Lines, TurnDeclaredWordsIntoQualities) {
  LinesTalk talk(instrument_of("[instrument]\nprotocol = \"lines\"\nformat = \"key_value\"\n" + channel("t1") + "word = [ { text = \"open\", quality = \"open_sensor\" } ]\n" + channel("t2")), "");
  const Heard heard = after(talk, "\nt1=open t2=19.8\n");
  ASSERT_EQ(heard.newest.size(), 2u) << heard.trouble;
  EXPECT_EQ(heard.newest[0].quality, Quality::open_sensor);
  EXPECT_EQ(heard.newest[1].quality, Quality::good);
}

TEST(Lines, OfAHeaderLearnTheColumnsAndBelieveNothingBefore) {
  LinesTalk talk(two_temperatures("format = \"csv\"\nseparator = \";\"\nheader = true\n"), "");
  EXPECT_TRUE(holds(after(talk, "\n1;2;3\n").trouble, "the header line has not been heard"));
  EXPECT_EQ(after(talk, "time;t2;t1\n").last, Word::none);
  const Heard heard = after(talk, "\"21:07;33\";2.5;1.5\n");
  ASSERT_EQ(heard.newest.size(), 2u) << heard.trouble;
  EXPECT_EQ(heard.newest[0].value, 1.5);
  EXPECT_EQ(after(talk, "1;2\n").last, Word::none);
  talk.begin_anew();  // another logger may be on the wire now, with its columns in another order
  EXPECT_EQ(after(talk, "\n1;2;3\n").last, Word::none);
}

TEST(Lines, OfAHeaderWithChecksumStillNeedOneOnEachRow) {
  LinesTalk talk(two_temperatures("format = \"csv\"\nheader = true\nchecksum = \"xor8\"\n"), "");
  (void)after(talk, "\nt1,t2\n");
  EXPECT_EQ(after(talk, "1,2\n").last, Word::none);
  EXPECT_EQ(after(talk, with_checksum("1,2", "xor8") + "\n").last, Word::fresh);
}

TEST(Lines, OfAStrangerGiveNoValueAndBothNames) {
  LinesTalk talk(instrument_of(shipped("board-lines-4ch")), "rack2");
  const auto say = [&](const std::string& id, int n) { return after(talk, "\n" + with_checksum("id=" + id + " n=" + std::to_string(n) + " t1=1 t2=2 t3=3 t4=4 ", "crc16_modbus") + "\n"); };
  EXPECT_EQ(say("rack2", 1).last, Word::fresh);
  const Heard heard = say("rack3", 2);
  EXPECT_EQ(heard.last, Word::stranger);
  EXPECT_TRUE(heard.newest.empty());
  EXPECT_EQ(heard.identity, "rack3");
  EXPECT_TRUE(holds(heard.trouble, "`rack3` answers where `rack2` is bound")) << heard.trouble;
  EXPECT_EQ(say("rack2", 3).last, Word::fresh);
}

TEST(Lines, WithoutChecksumTakeOneOtherNameForDamageAndTwoForAStranger) {
  LinesTalk talk(two_temperatures("format = \"key_value\"\nid = \"id\"\n"), "rack2");
  EXPECT_EQ(after(talk, "\nid=rack6 t1=1 t2=2\n").last, Word::none);
  EXPECT_EQ(after(talk, "id=rack6 t1=1 t2=2\n").last, Word::stranger);
  EXPECT_EQ(after(talk, "id=rack2 t1=1 t2=2\n").last, Word::fresh);
}

TEST(LinesInstrument, FilesThatAreShippedAreWhole) {
  EXPECT_EQ(instrument_of(shipped("board-lines-4ch")).channels.size(), 4u);
  EXPECT_EQ(instrument_of(shipped("logger-csv-8ch")).channels.size(), 8u);
}

TEST(LinesInstrument, ShippedLoggerReadsTheRowInItsHead) {
  LinesTalk talk(instrument_of(shipped("logger-csv-8ch")), "");
  const Heard heard = after(talk, "\n\"2031-05-04 21:07:33\",0.0132,0.0131,-14.98,15.02,0.0004,-0.0002,OL,2.4310\n");
  ASSERT_EQ(heard.newest.size(), 8u) << heard.trouble;
  EXPECT_EQ(heard.newest[2].value, -14.98);
  EXPECT_EQ(heard.newest[6].quality, Quality::over_range);
}

TEST(LinesInstrument, ShippedBoardReadsTheLineInItsHead) {
  const std::string text = shipped("board-lines-4ch");
  const auto first = text.find("id=rack2");
  LinesTalk talk(instrument_of(text), "rack2");
  const Heard heard = after(talk, "\n" + text.substr(first, text.find('\n', first) - first) + "\n");
  ASSERT_EQ(heard.newest.size(), 4u) << heard.trouble;
  EXPECT_EQ(heard.newest[2].value, 61.8);
  EXPECT_EQ(heard.newest[3].quality, Quality::open_sensor);
}

/// The mistakes of a bus with these lines in it and in its meter.
std::string mistakes_of_bus(const std::string& instrument, const std::string& bus_keys, const std::string& meter_keys, int meters = 1) {
  std::string text = "[[bus]]\nhost = \"127.0.0.1\"\n" + bus_keys;
  for (int i = 0; i < meters; ++i) text += "[[bus.meter]]\n" + meter_keys;
  Errors errors;
  const document::Node root = document::parse(text, "bench.toml", errors);
  document::Table top(root, "bench.toml", errors);
  auto buses = top.tables("bus");
  const auto reader = begin_tcp(buses.at(0));
  for (document::Table& meter : buses[0].tables("meter")) {
    const InstrumentText file{"board.toml", instrument};
    MeterInfo info;
    info.identity = meter.maybe_text("identity").value_or("");
    reader->read_meter(meter, &file, info, errors);
  }
  std::string all;
  for (const Error& error : errors) all += error.text() + "\n";
  return all;
}

TEST(LinesBus, RefusesAnIdentityThatNobodySays) {
  EXPECT_TRUE(holds(mistakes_of_bus(shipped("logger-csv-8ch"), "", "identity = \"a\"\n"), "this instrument does not say who it is"));
  EXPECT_EQ(mistakes_of_bus(shipped("board-lines-4ch"), "", "identity = \"a\"\n"), "");
}

TEST(LinesBus, RefusesASecondMeter) { EXPECT_TRUE(holds(mistakes_of_bus(shipped("logger-csv-8ch"), "", "", 2), "has a line of its own and no address")); }

TEST(LinesBus, RefusesAnInstrumentOfAnotherProtocol) {
  EXPECT_TRUE(holds(mistakes_of_bus(shipped("handheld-ascii-9byte"), "", ""), "this instrument speaks frames, but the bus that names it speaks lines"));
}

TEST(LinesBus, WaitsHalfAsLongAsALineIsBelieved) {
  EXPECT_EQ(usual_timeout(3s), 1500ms);
  EXPECT_EQ(usual_timeout(200ms), 500ms);
  EXPECT_EQ(usual_timeout(600s), 3s);
}

TEST(LinesInstrument, MistakesAreExplained) {
  EXPECT_TRUE(holds(mistakes_in_head("format = \"csv\"\n"), "nobody says what the columns are called"));
  EXPECT_TRUE(holds(mistakes_in_head("format = \"csv\"\ncolumns = [\"time\", \"t11\"]\n"), "did you mean \"t11\"?"));
  EXPECT_TRUE(holds(mistakes_in_head("format = \"csv\"\ncolumns = [\"t1\", \"t1\"]\n"), "column `t1` stands here twice"));
  EXPECT_TRUE(holds(mistakes_in_head("format = \"csv\"\nfields = 3\nseparator = \" \"\n"), "blanks part no fields"));
  EXPECT_TRUE(holds(mistakes_in_head("format = \"key_value\"\nheader = true\n"), "no meaning for key_value"));
  EXPECT_TRUE(holds(mistakes_in_head("format = \"key_value\"\nchecksum = \"crc16_modbs\"\n"), "did you mean \"crc16_modbus\"?"));
  EXPECT_TRUE(holds(mistakes_in_head("format = \"key_value\"\ncounter = \"t1\"\n"), "counter, no measurement"));
  EXPECT_TRUE(holds(mistakes_in_head("format = \"key_value\"\nseparator = \"=\"\n"), "`separator` is `=`"));
  const std::string twice = "[instrument]\nprotocol = \"lines\"\nformat = \"csv\"\nfields = 2\n[[channel]]\nname = \"a\"\ncolumn = 1\nquantity = \"voltage\"\nuom = \"V\"\n[[channel]]\nname = \"b\"\ncolumn = 1\nquantity = \"voltage\"\nuom = \"V\"\n[[channel]]\nname = \"c\"\ncolumn = 3\nquantity = \"voltage\"\nuom = \"V\"\n";
  EXPECT_TRUE(holds(mistakes_in(twice), "is already channel `a`"));
  EXPECT_TRUE(holds(mistakes_in(twice), "there is no column 3, only 2"));
}

TEST(LinesTalk, AnEmptyFieldAtEitherEndOfATabbedLineIsAField) {
  LinesTalk talk(two_temperatures("format = \"csv\"\nseparator = \"\\t\"\ncolumns = [\"\", \"t1\", \"t2\", \"\"]\n"), "");
  const Heard heard = after(talk, "\n\t23.4\t19.8\t\n");
  ASSERT_EQ(heard.last, Word::fresh) << heard.trouble;
  EXPECT_EQ(heard.newest[1].value, 19.8);
}

// ---- a bus on a real wire -----------------------------------------------------------------------------------------------------

constexpr TalkOptions quick{.timeout = 60ms, .stale_after = 250ms, .settle = 0ms, .ask = {}};

std::unique_ptr<TalkBus> bus_to(wire::Place place, TalkOptions options = quick, Instrument instrument = two_temperatures(), const std::string& identity = "") {
  return std::make_unique<TalkBus>(std::move(place), std::make_unique<LinesTalk>(std::move(instrument), identity), std::move(options));
}

/// Opened, with the first half line out of the way.
std::unique_ptr<TalkBus> begun(TcpTalker& talker, TalkOptions options = quick, Instrument instrument = two_temperatures()) {
  auto bus = bus_to(talker.end(), std::move(options), std::move(instrument));
  (void)bus->read(0);
  talker.pick_up();
  talker.say("2=7\n");
  return bus;
}

TEST(TalkBus, BelievesALineForAWhileAndThenCallsItStale) {
  TcpTalker talker;
  const auto bus = begun(talker);
  talker.say("t1=23.4 t2=19.8\n");
  const MeterReply fresh = bus->read(0);
  ASSERT_TRUE(fresh.is_answered) << fresh.trouble;
  EXPECT_EQ(fresh.channels[1].value, 19.8);
  EXPECT_EQ(bus->read(0).channels[1].quality, Quality::good);
  std::this_thread::sleep_for(300ms);
  const MeterReply old = bus->read(0);
  EXPECT_FALSE(old.is_answered);
  EXPECT_EQ(old.channels[1].quality, Quality::stale);
  EXPECT_TRUE(holds(old.trouble, "nothing new was heard for")) << old.trouble;
}

TEST(TalkBus, NeverHeardIsNoAnswer) {
  TcpTalker talker;
  const auto bus = bus_to(talker.end());
  const MeterReply reply = bus->read(0);
  EXPECT_FALSE(reply.is_answered);
  EXPECT_EQ(reply.channels[0].quality, Quality::no_answer);
}

TEST(TalkBus, DoesNotBelieveWhatMayHaveWaitedTooLong) {
  TcpTalker talker;
  const auto bus = begun(talker);
  (void)bus->read(0);
  talker.say("t1=1 t2=2\n");
  std::this_thread::sleep_for(300ms);
  EXPECT_NE(bus->read(0).channels[0].quality, Quality::good);
  talker.say("t1=3 t2=4\nt1=5 t2=6\n");
  EXPECT_EQ(bus->read(0).channels[0].value, 5.0);
}

TEST(TalkBus, WaitsForALineThatIsOnItsWay) {
  TcpTalker talker;
  const auto bus = begun(talker, {.timeout = 1s, .stale_after = 2s, .settle = 0ms, .ask = {}});
  std::thread later([&] {
    std::this_thread::sleep_for(50ms);
    talker.say("t1=23.4 t2=19.8\n");
  });
  EXPECT_EQ(bus->read(0).channels[0].quality, Quality::good);
  later.join();
}

TEST(TalkBus, ForgetsEverythingWhenTheConnectionBreaksAndComesBackByItself) {
  TcpTalker talker;
  const auto bus = begun(talker);
  talker.say("t1=23.4 t2=19.8\nt1=2");
  EXPECT_TRUE(bus->read(0).is_answered);
  talker.hang_up();
  const MeterReply gone = bus->read(0);
  EXPECT_FALSE(gone.is_answered);
  EXPECT_EQ(gone.channels[0].quality, Quality::no_answer);
  (void)bus->read(0);
  talker.pick_up();
  talker.say("9.9 t2=1\nt1=7 t2=8\n");
  const MeterReply back = bus->read(0);
  EXPECT_EQ(back.channels[0].value, 7.0) << back.trouble;
  EXPECT_EQ(bus->counters().reconnects, 1u);
}

TEST(TalkBus, CallsACounterThatStandsStillStaleThoughTheBoardTalks) {
  TcpTalker talker;
  const auto bus = begun(talker, quick, two_temperatures("format = \"key_value\"\ncounter = \"n\"\n"));
  talker.say("t1=1 t2=2 n=5\n");
  EXPECT_EQ(bus->read(0).channels[0].quality, Quality::good);
  talker.say("t1=1 t2=2 n=5\n");
  const MeterReply reply = bus->read(0);
  EXPECT_TRUE(reply.is_answered);
  EXPECT_EQ(reply.channels[0].quality, Quality::stale);
  talker.say("t1=1 t2=2 n=6\n");
  EXPECT_EQ(bus->read(0).channels[0].quality, Quality::good);
}

TEST(TalkBus, MarksEveryChannelOfAStrangerUntilTheBoundOneSpeaks) {
  TcpTalker talker;
  const auto bus = bus_to(talker.end(), quick, two_temperatures("format = \"key_value\"\nid = \"id\"\nchecksum = \"sum8\"\n"), "rack2");
  (void)bus->read(0);
  talker.pick_up();
  talker.say("\n" + with_checksum("id=rack3 t1=1 t2=2", "sum8") + "\n");
  for (int i = 0; i < 2; ++i) {
    const MeterReply reply = bus->read(0);
    EXPECT_TRUE(reply.is_answered && reply.is_stranger);
    EXPECT_EQ(reply.identity, "rack3");
    EXPECT_EQ(reply.channels[1].quality, Quality::other_meter);
    EXPECT_EQ(reply.channels[1].value, 0.0);
  }
  talker.say(with_checksum("id=rack2 t1=1 t2=2", "sum8") + "\n");
  const MeterReply reply = bus->read(0);
  EXPECT_FALSE(reply.is_stranger);
  EXPECT_EQ(reply.channels[1].quality, Quality::good);
}

TEST(TalkBus, GivesABoardTimeToStartAndReadsItInTheSameCall) {
  TcpTalker talker;
  const auto bus = bus_to(talker.end(), {.timeout = 400ms, .stale_after = 1s, .settle = 150ms, .ask = {}});
  std::thread board([&] {
    talker.pick_up();
    talker.say("\nt1=85.0 t2=85.0\n");
    std::this_thread::sleep_for(250ms);
    talker.say("\nt1=23.4 t2=19.8\n");
  });
  EXPECT_EQ(bus->read(0).channels[0].value, 23.4);
  board.join();
  EXPECT_GE(bus->call_deadline(), 550ms);
}

TEST(TalkBus, ABoardThatStartsForLongIsNotWaitedFor) {
  TcpTalker talker;
  const auto bus = bus_to(talker.end(), {.timeout = 60ms, .stale_after = 250ms, .settle = 10s, .ask = {}});
  const auto reply = bus->read(0);
  EXPECT_TRUE(holds(reply.trouble, "to start")) << reply.trouble;
  EXPECT_FALSE(reply.is_answered);
  EXPECT_LT(bus->call_deadline(), 4s);
}

TEST(TalkBus, AsksABoardThatSpeaksWhenAskedAndNeverTakesALateAnswerForTheNextOne) {
  TcpTalker talker;
  const auto bus = bus_to(talker.end(), {.timeout = 200ms, .stale_after = 1s, .settle = 0ms, .ask = "?\n"});
  EXPECT_EQ(bus->read(0).channels[0].quality, Quality::no_answer);
  talker.pick_up();
  EXPECT_EQ(talker.hear(), "?\n");
  talker.say("t1=1 t2=1\n");  // too late
  std::thread answers([&] {
    EXPECT_EQ(talker.hear(), "?\n");
    talker.say("t1=2 t2=2\n");
  });
  EXPECT_EQ(bus->read(0).channels[0].value, 2.0);
  answers.join();
}

TEST(TalkBus, AsksNobodyWhoDoesNotFallSilent) {
  TcpTalker talker;
  const auto bus = bus_to(talker.end(), {.timeout = 400ms, .stale_after = 1s, .settle = 0ms, .ask = "?\n"});
  (void)bus->read(0);
  talker.pick_up();
  bool is_over = false;
  std::thread babbles([&] {
    for (int i = 0; i < 50; ++i, std::this_thread::sleep_for(10ms)) talker.say("t1=1 t2=1\n");
    is_over = true;
  });
  std::this_thread::sleep_for(30ms);
  const MeterReply reply = bus->read(0);
  EXPECT_EQ(reply.channels[0].quality, Quality::no_answer);
  EXPECT_TRUE(holds(reply.trouble, "talks without being asked")) << reply.trouble;
  babbles.join();
  EXPECT_TRUE(is_over);
}

TEST(TalkBus, IsNotHeldByADeviceThatNeverStops) {
  TcpTalker talker;
  const auto bus = begun(talker);
  std::string flood;
  for (int i = 0; i < 20000; ++i) flood += "t1=1 t2=2\n";
  std::thread floods([&] { talker.say(flood); });
  const auto began = std::chrono::steady_clock::now();
  while (bus->counters().requests < 12) (void)bus->read(0);
  EXPECT_LT(std::chrono::steady_clock::now() - began, 12 * bus->call_deadline());
  floods.join();
  MeterReply reply;
  for (int i = 0; i < 10 && (reply.channels.empty() || reply.channels[0].value != 3.0); ++i) {
    talker.say("t1=3 t2=4\n");
    reply = bus->read(0);
  }
  EXPECT_EQ(reply.channels[0].value, 3.0);
}

TEST(TalkBus, ReadsASerialLineAndSeesItUnplugged) {
  PtyTalker talker;
  const auto bus = bus_to(wire::SerialEnd{.line = {.device = talker.path(), .baud = 115200}});
  (void)bus->read(0);
  talker.say("\nt1=23.4 t2=19.8\n");
  EXPECT_EQ(bus->read(0).channels[0].value, 23.4);
  talker.unplug();
  const MeterReply reply = bus->read(0);
  EXPECT_FALSE(reply.is_answered);
  EXPECT_TRUE(holds(reply.trouble, "gone")) << reply.trouble;
  EXPECT_FALSE(bus->write_output(0, 0, true));
}

}  // namespace
}  // namespace steadyglow::drivers::lines
