#include "drivers/mqtt/mqtt_bus.hpp"

#include <gtest/gtest.h>

#include <atomic>
#include <functional>
#include <memory>
#include <optional>
#include <thread>

#include "drivers/mosquitto.hpp"
#include "drivers/mqtt/payload.hpp"
#include "drivers/registry.hpp"
#include "support/house_instruments.hpp"

namespace steadyglow::drivers::mqtt {
namespace {

using namespace std::chrono_literals;
using steadyglow::tests::BusesRead;
using tests::Mosquitto;
using tests::PlugPeer;

bool holds(const std::string& text, std::string_view part) { return text.find(part) != std::string::npos; }

// RFC 6901, section 5: the document and every pointer of its table whose value is a number.
TEST(Payload, FindsEveryPlaceOfTheStandard) {
  const std::string text = R"({"foo":["bar","baz"],"":0,"a/b":1,"c%d":2,"e^f":3,"g|h":4,"i\\j":5,"k\"l":6," ":7,"m~n":8})";
  const Payload payload(text);
  const std::vector<std::pair<std::string, double>> table{{"/", 0}, {"/a~1b", 1}, {"/c%d", 2}, {"/e^f", 3}, {"/g|h", 4}, {"/i\\j", 5}, {"/k\"l", 6}, {"/ ", 7}, {"/m~0n", 8}};
  for (const auto& [pointer, value] : table) EXPECT_EQ(payload.number_at(pointer, Quantity::ratio, {}), value) << pointer;
  EXPECT_EQ(payload.text_at("/foo/0"), "bar");
}
TEST(Payload, FindsNothingWhereNothingIs) {
  const Payload payload(R"({"list":[1],"none":null,"object":{}})");
  for (const char* pointer : {"/list/1", "/list/01", "/list/-", "/list/99999999999999999999", "/none", "/object", "/list", "/other"}) EXPECT_EQ(payload.text_at(pointer), std::nullopt) << pointer;
}
TEST(Payload, RefusesAPointerThatIsNone) {
  for (const char* pointer : {"power", "/a~2", "/a~"}) EXPECT_FALSE(is_pointer(pointer)) << pointer;
  for (const char* pointer : {"", "/", "/a~0~1"}) EXPECT_TRUE(is_pointer(pointer)) << pointer;
}
TEST(Payload, AWholePayloadMayBeTheNumber) { EXPECT_EQ(Payload(" 21.5\n").number_at("", Quantity::temperature, {}), 21.5); }
TEST(Payload, ANumberMayStandInQuotes) { EXPECT_EQ(Payload(R"({"t":"21.5"})").number_at("/t", Quantity::temperature, {}), 21.5); }
TEST(Payload, WhatIsNoNumberIsNone) {
  for (const char* text : {"", "warm", "nan", "inf", "21,5", "{\"t\": }", "true"}) EXPECT_EQ(Payload(text).number_at("", Quantity::temperature, {}), std::nullopt) << text;
}
TEST(Payload, AStateHasWords) {
  const Words words{"open", "closed"};
  EXPECT_EQ(Payload("open").number_at("", Quantity::state, words), 1.0);
  EXPECT_EQ(Payload("closed").number_at("", Quantity::state, words), 0.0);
  EXPECT_EQ(Payload("ajar").number_at("", Quantity::state, words), std::nullopt);
  EXPECT_EQ(Payload("{\"s\":true}").number_at("/s", Quantity::state, {}), 1.0);
}
// RFC 3339, section 5.8; seconds since 1970 by `date -d ... +%s`.
TEST(Payload, ReadsTheTimesOfTheStandard) {
  const auto at = [](double seconds) { return std::chrono::system_clock::time_point{std::chrono::milliseconds{static_cast<long>(seconds * 1000)}}; };
  EXPECT_EQ(parse_rfc3339("1985-04-12T23:20:50.52Z"), at(482196050.52));
  EXPECT_EQ(parse_rfc3339("1996-12-19T16:39:57-08:00"), at(851042397));
  EXPECT_EQ(parse_rfc3339("1990-12-31T23:59:60Z"), at(662688000));
  EXPECT_EQ(parse_rfc3339("1990-12-31T15:59:60-08:00"), at(662688000));
}
TEST(Payload, ATimeWithoutItsOffsetIsNone) {
  for (const char* text : {"2026-01-31T12:00:00", "2026-02-30T12:00:00Z", "2026-01-31 12:00", "yesterday", "2026-01-31T12:00:00+1"}) EXPECT_EQ(parse_rfc3339(text), std::nullopt) << text;
}
TEST(Payload, MillisecondsAreSaid) {
  EXPECT_EQ(Payload("{\"t\":1000}").time_at("/t", true), std::chrono::system_clock::time_point{1s});
  EXPECT_EQ(Payload("{\"t\":1e300}").time_at("/t", false), std::nullopt);
}

/// Short enough for a test.
constexpr const char* quick_plug = R"([instrument]
protocol = "mqtt"
stale_after_seconds = 0.5
id_field = "/id"
availability = { topic = "{device}/availability", online = "online", offline = "offline" }
[[channel]]
name = "watts"
topic = "{device}/reading"
field = "/power"
quantity = "power"
uom = "W"
)";
constexpr const char* quick_output = R"([[output]]
name = "outlet"
topic = "{device}/order"
on = "ON"
off = "OFF"
state = { topic = "{device}/state" }
)";
constexpr const char* bare_number = R"([instrument]
protocol = "mqtt"
stale_after_seconds = 0.6
[[channel]]
name = "celsius"
topic = "{device}"
quantity = "temperature"
uom = "Cel"
)";

/// Whole topics in the file.
std::string with_device_named(const std::string& device, std::string text) {
  for (std::size_t at; (at = text.find("{device}")) != std::string::npos;) text.replace(at, 8, device);
  return text;
}

Result<InstrumentText> find(const std::string& name) {
  if (name == "quick_plug") return InstrumentText{"quick_plug.toml", std::string(quick_plug) + quick_output};
  if (name == "asked_plug") return InstrumentText{"asked_plug.toml", std::string(quick_plug) + quick_output + "query = { topic = \"{device}/query\" }\n"};
  if (name == "dated_plug") {
    std::string text = quick_plug;
    return InstrumentText{"dated_plug.toml", text.insert(text.find("id_field"), "time_field = \"/time\"\n")};
  }
  if (name == "literal_plug") return InstrumentText{"literal_plug.toml", with_device_named("bench/plug_1", std::string(quick_plug) + quick_output)};
  if (name == "literal_number" || name == "other_number") return InstrumentText{name + ".toml", with_device_named("gateway", bare_number) + "field = \"" + (name == "literal_number" ? "/a" : "/b") + "\"\n"};
  if (name == "bare_number") return InstrumentText{"bare_number.toml", bare_number};
  return steadyglow::tests::house_instrument(name);
}

BusesRead read_config(const std::string& bus, const std::string& meters) { return steadyglow::tests::read_buses("[[bus]]\nname = \"broker\"\ndriver = \"mqtt\"\n" + bus + meters, find); }

std::string at_port(int port, const std::string& more = "timeout_seconds = 0.5\n") { return "host = \"127.0.0.1\"\nport = " + std::to_string(port) + "\n" + more; }
std::string meter(const std::string& instrument, const std::string& keys = "device = \"bench/plug_1\"\nidentity = \"plug-1\"\n") {
  return "[[bus.meter]]\nname = \"m\"\npoll_seconds = 0.1\ninstrument = \"" + instrument + "\"\n" + keys;
}
std::unique_ptr<Bus> make(const std::string& bus, const std::string& meters) {
  return read_config(bus, meters).spec().make();
}

/// Polls as the schedule would, until it is so.
MeterReply poll_until(Bus& bus, const std::function<bool(const MeterReply&)>& is_so, std::chrono::milliseconds longest = 10s) {
  const auto until = Clock::now() + longest;
  MeterReply reply = bus.read(0);
  while (!is_so(reply) && Clock::now() < until) {
    std::this_thread::sleep_for(50ms);
    reply = bus.read(0);
  }
  EXPECT_TRUE(is_so(reply)) << to_word(reply.channels.at(0).quality) << " " << reply.channels[0].value << " " << reply.trouble;
  return reply;
}
auto is(Quality quality) {
  return [quality](const MeterReply& reply) { return reply.channels[0].quality == quality; };
}

TEST(Mqtt, ReadsAnArrivingNumber) {
  Mosquitto broker;
  const auto bus = make(at_port(broker.port()), meter("bare_number", "device = \"room\"\n"));
  EXPECT_EQ(bus->read(0).channels[0].quality, Quality::no_answer);
  broker.publish("room", "21.5");
  const MeterReply reply = poll_until(*bus, is(Quality::good));
  EXPECT_DOUBLE_EQ(reply.channels[0].value, 21.5);
  EXPECT_TRUE(reply.is_answered);
}
TEST(Mqtt, AKeptNumberIsStaleUntilASecondOneComes) {
  Mosquitto broker;
  broker.publish("room", "99.5", true);
  const auto bus = make(at_port(broker.port()), meter("bare_number", "device = \"room\"\n"));
  MeterReply reply = poll_until(*bus, is(Quality::stale));
  EXPECT_FALSE(reply.is_answered);
  EXPECT_TRUE(holds(reply.trouble, "only a kept word")) << reply.trouble;
  broker.publish("room", "21.5", true);
  reply = poll_until(*bus, is(Quality::good));
  EXPECT_DOUBLE_EQ(reply.channels[0].value, 21.5);
}
TEST(Mqtt, ANumberGrowsStale) {
  Mosquitto broker;
  const auto bus = make(at_port(broker.port()), meter("bare_number", "device = \"room\"\n"));
  (void)bus->read(0);
  broker.publish("room", "21.5");
  (void)poll_until(*bus, is(Quality::good));
  std::this_thread::sleep_for(700ms);
  EXPECT_EQ(bus->read(0).channels[0].quality, Quality::stale);
}
TEST(Mqtt, WhatWaitedWhileNobodyLookedIsNotTakenForFresh) {
  Mosquitto broker;
  const auto bus = make(at_port(broker.port()), meter("bare_number", "device = \"room\"\n"));
  (void)bus->read(0);
  broker.publish("room", "21.5");
  std::this_thread::sleep_for(900ms);
  const MeterReply reply = bus->read(0);
  EXPECT_EQ(reply.channels[0].quality, Quality::stale);
  EXPECT_TRUE(reply.is_answered) << "it must be asked again at its own pace";
}
TEST(Mqtt, GarbageIsImplausibleAndCounted) {
  Mosquitto broker;
  const auto bus = make(at_port(broker.port()), meter("bare_number", "device = \"room\"\n"));
  (void)bus->read(0);
  broker.publish("room", "warm");
  (void)poll_until(*bus, is(Quality::implausible));
  EXPECT_EQ(bus->counters().garbage, 1u);
}

struct Plug {
  Mosquitto broker;
  PlugPeer peer;
  std::unique_ptr<Bus> bus;

  explicit Plug(const std::string& instrument = "quick_plug", std::vector<std::string> more = {}) : peer(broker.port(), "plug-1", std::move(more)), bus(make(at_port(broker.port()), meter(instrument))) {
    (void)poll_until(*bus, is(Quality::good));
  }
  /// What its own readings say, asked of the broker by somebody else.
  bool is_on() const {
    tests::Program listener({"mosquitto_sub", "-h", "127.0.0.1", "-p", std::to_string(broker.port()), "-t", "bench/plug_1/reading", "-C", "1", "-F", "%p"});
    return holds(listener.read_line(), "\"on\": true");
  }
};

TEST(MqttPlug, SwitchesAndSaysSo) {
  Plug plug;
  ASSERT_TRUE(plug.bus->write_output(0, 0, true).has_value());
  EXPECT_TRUE(plug.is_on());
  EXPECT_EQ(plug.bus->read_output(0, 0), true);
  ASSERT_TRUE(plug.bus->write_output(0, 0, false).has_value());
  EXPECT_FALSE(plug.is_on());
  EXPECT_EQ(plug.bus->read_output(0, 0), false);
}
TEST(MqttPlug, AnOrderThatNobodyConfirmsHasFailed) {
  Plug plug;
  plug.peer.tell("deaf");
  const auto began = Clock::now();
  const auto done = plug.bus->write_output(0, 0, true);
  ASSERT_FALSE(done.has_value());
  EXPECT_TRUE(holds(done.error().message, "does not say that it stands so")) << done.error().message;
  EXPECT_LE(Clock::now() - began, plug.bus->call_deadline());
}
TEST(MqttPlug, AnOnThatWasObeyedButNotSaidIsTakenBack) {
  Plug plug;
  plug.peer.tell("mute");
  EXPECT_FALSE(plug.bus->write_output(0, 0, true).has_value());
  EXPECT_TRUE(plug.is_on());
  plug.peer.tell("speak");
  (void)plug.bus->read(0);
  (void)poll_until(*plug.bus, [](const MeterReply& reply) { return reply.channels[0].quality == Quality::good && reply.channels[0].value == 0.0; });
  EXPECT_FALSE(plug.is_on());
}
TEST(MqttPlug, TheOrderOfABrokerThatHungIsTakenBackWhenItGoesOn) {
  Plug plug;
  plug.broker.freeze();
  const auto began = Clock::now();
  EXPECT_FALSE(plug.bus->write_output(0, 0, true).has_value());
  EXPECT_LE(Clock::now() - began, plug.bus->call_deadline());
  plug.broker.thaw();
  (void)poll_until(*plug.bus, is(Quality::good));
  std::this_thread::sleep_for(300ms);
  EXPECT_FALSE(plug.is_on());
}
TEST(MqttPlug, AnOffThatWasLostLeavesTheOnToBeTakenBack) {
  Plug plug;
  plug.peer.tell("mute");
  EXPECT_FALSE(plug.bus->write_output(0, 0, true).has_value());
  EXPECT_TRUE(plug.is_on());
  plug.broker.freeze();
  EXPECT_FALSE(plug.bus->write_output(0, 0, false).has_value());
  plug.broker.kill();
  plug.broker.start();
  plug.peer.tell("speak");
  (void)poll_until(*plug.bus, [](const MeterReply& reply) { return reply.channels[0].quality == Quality::good && reply.channels[0].value == 0.0; });
  EXPECT_FALSE(plug.is_on());
}
TEST(MqttPlug, OneThatStoodSoAlreadyIsAsked) {
  Plug plug("asked_plug");
  EXPECT_EQ(plug.bus->read_output(0, 0), false);
  plug.peer.tell("mute");
  EXPECT_FALSE(plug.bus->read_output(0, 0).has_value());
}
TEST(MqttPlug, AButtonPressedByHandIsSeen) {
  Plug plug;
  plug.peer.tell("switch on");
  (void)poll_until(*plug.bus, [](const MeterReply& reply) { return reply.channels[0].value == 40.0; });
  EXPECT_EQ(plug.bus->read_output(0, 0), true);
}
TEST(MqttPlug, AnotherOneInItsPlaceIsToldByBothNames) {
  Plug plug;
  plug.peer.tell("id plug-2");
  const MeterReply reply = poll_until(*plug.bus, is(Quality::other_meter));
  EXPECT_TRUE(reply.is_stranger);
  EXPECT_EQ(reply.identity, "plug-2");
  EXPECT_TRUE(holds(reply.trouble, "`plug-2` answers where `plug-1` is bound")) << reply.trouble;
}
TEST(MqttPlug, AStrangerIsSwitchedOffButNeverOn) {
  Plug plug;
  ASSERT_TRUE(plug.bus->write_output(0, 0, true).has_value());
  plug.peer.tell("id plug-2");
  (void)poll_until(*plug.bus, is(Quality::other_meter));
  ASSERT_TRUE(plug.bus->write_output(0, 0, false).has_value());
  EXPECT_FALSE(plug.bus->write_output(0, 0, true).has_value());
  EXPECT_FALSE(plug.is_on());
}
TEST(MqttPlug, ItsLastWillMeansThatItIsGone) {
  Plug plug;
  plug.peer.tell("drop");
  const MeterReply reply = poll_until(*plug.bus, is(Quality::no_answer));
  EXPECT_FALSE(reply.is_answered);
  EXPECT_TRUE(holds(reply.trouble, "says that it is gone")) << reply.trouble;
  EXPECT_FALSE(plug.bus->write_output(0, 0, true).has_value());
  plug.peer.tell("back");
  (void)poll_until(*plug.bus, is(Quality::good));
}
TEST(MqttPlug, AFrozenOneGrowsStale) {
  Plug plug;
  plug.peer.tell("freeze");
  (void)poll_until(*plug.bus, is(Quality::stale));
  plug.peer.tell("thaw");
  (void)poll_until(*plug.bus, is(Quality::good));
}
TEST(MqttPlug, ABrokerThatWasKilledIsMissedAndFoundAgain) {
  Plug plug;
  plug.broker.kill();
  const MeterReply reply = plug.bus->read(0);
  EXPECT_EQ(reply.channels[0].quality, Quality::no_answer);
  EXPECT_FALSE(reply.is_answered);
  EXPECT_FALSE(plug.bus->write_output(0, 0, true).has_value());
  plug.broker.start();
  (void)poll_until(*plug.bus, is(Quality::good));
  EXPECT_GE(plug.bus->counters().reconnects, 1u);
}
TEST(MqttPlug, ABrokerThatHangsCostsNoMoreThanTheDeadline) {
  Plug plug;
  plug.broker.freeze();
  const auto began = Clock::now();
  (void)plug.bus->read(0);
  (void)plug.bus->read_output(0, 0);
  EXPECT_LE(Clock::now() - began, plug.bus->call_deadline());
  std::this_thread::sleep_for(600ms);
  EXPECT_NE(plug.bus->read(0).channels[0].quality, Quality::good);
  plug.broker.thaw();
  (void)poll_until(*plug.bus, is(Quality::good));
}

/// Somebody publishes as much as the broker takes, without end, on a topic that the meter listens to.
class Flood {
 public:
  Flood(int port, const std::string& topic) : publisher_({"mosquitto_pub", "-h", "127.0.0.1", "-p", std::to_string(port), "-t", topic, "-l"}), thread_([this] { publish(); }) {}
  ~Flood() {
    is_over_ = true;
    thread_.join();
  }

 private:
  void publish() {
    // Long, and all of it to be parsed before it can be said that there is nothing in it.
    std::string line = "{\"list\":[0";
    while (line.size() < payload_bytes_max - 1000) line += ",1";
    line += "]}";
    while (!is_over_) publisher_.write(line);
  }
  tests::Program publisher_;
  std::atomic<bool> is_over_{false};
  std::thread thread_;
};

/// With more time than the others have: what is measured here is whose word comes first.
struct FloodedPlug {
  Mosquitto broker;
  PlugPeer peer{broker.port()};
  std::unique_ptr<Bus> bus = make(at_port(broker.port(), "timeout_seconds = 1.5\n"), meter("quick_plug"));
  std::optional<Flood> flood;

  FloodedPlug() {
    (void)poll_until(*bus, is(Quality::good));
    flood.emplace(broker.port(), "bench/plug_1/reading");
    std::this_thread::sleep_for(500ms);
  }
};

TEST(MqttPlug, OffWaitsForNoFlood) {
  FloodedPlug plug;
  tests::Program orders({"mosquitto_sub", "-h", "127.0.0.1", "-p", std::to_string(plug.broker.port()), "-t", "bench/plug_1/order", "-C", "1", "-W", "20", "-F", "%p"});
  std::this_thread::sleep_for(500ms);
  const auto began = Clock::now();
  std::thread switcher([&] {
    (void)plug.bus->write_output(0, 0, false);
    EXPECT_LE(Clock::now() - began, plug.bus->call_deadline());
  });
  EXPECT_EQ(orders.read_line(), "OFF");
  EXPECT_LT(Clock::now() - began, 700ms);
  switcher.join();
}
TEST(MqttPlug, AFloodCostsNoMoreThanTheDeadline) {
  FloodedPlug plug;
  auto began = Clock::now();
  (void)plug.bus->read(0);
  EXPECT_LE(Clock::now() - began, plug.bus->call_deadline());
  began = Clock::now();
  (void)plug.bus->read_output(0, 0);
  EXPECT_LE(Clock::now() - began, plug.bus->call_deadline());
}
TEST(MqttPlug, AFreshKeptReadingIsBelievedByItsDate) {
  Mosquitto broker;
  PlugPeer peer(broker.port(), "plug-1", {"--kept"});
  std::this_thread::sleep_for(200ms);
  peer.tell("freeze");
  const auto bus = make(at_port(broker.port()), meter("dated_plug"));
  (void)poll_until(*bus, is(Quality::good), 300ms);
}
TEST(MqttPlug, AnOldKeptReadingIsNotBelievedWhoeverSendsItNow) {
  Mosquitto broker;
  PlugPeer peer(broker.port(), "plug-1", {"--kept"});
  std::this_thread::sleep_for(200ms);
  peer.tell("freeze");
  std::this_thread::sleep_for(700ms);
  const auto bus = make(at_port(broker.port()), meter("dated_plug"));
  (void)poll_until(*bus, is(Quality::stale));
}
TEST(MqttPlug, WhatIsOldByItsOwnDateIsStaleHoweverOftenItComes) {
  Plug plug("dated_plug");
  plug.peer.tell("age 60");
  const MeterReply reply = poll_until(*plug.bus, is(Quality::stale));
  EXPECT_TRUE(holds(reply.trouble, "old by its own date")) << reply.trouble;
}
TEST(MqttPlug, WhatComesFromTheFutureIsStale) {
  Plug plug("dated_plug");
  plug.peer.tell("age -60");
  const MeterReply reply = poll_until(*plug.bus, is(Quality::stale));
  EXPECT_TRUE(holds(reply.trouble, "ahead of this machine's clock")) << reply.trouble;
}
TEST(MqttPlug, TheInstrumentOfTheHouseSpeaksWithIt) {
  Plug plug("mqtt-plug");
  ASSERT_TRUE(plug.bus->write_output(0, 0, true).has_value());
  const MeterReply reply = poll_until(*plug.bus, [](const MeterReply& now) { return now.channels[3].value == 1.0; });
  EXPECT_DOUBLE_EQ(reply.channels[0].value, 40.0);
  EXPECT_DOUBLE_EQ(reply.channels[1].value, 230.0);
}
TEST(MqttBoard, TheInstrumentOfTheHouseReadsIt) {
  Mosquitto broker;
  const auto bus = make(at_port(broker.port()), meter("mqtt-board", "device = \"bench/board_1\"\n"));
  (void)bus->read(0);
  broker.publish("bench/board_1/sensors", R"({"id":"b1","temperature":41.25,"inputs":[{"millivolts":812}],"loop":"open"})");
  const MeterReply reply = poll_until(*bus, is(Quality::good));
  EXPECT_DOUBLE_EQ(reply.channels[0].value, 41.25);
  EXPECT_DOUBLE_EQ(reply.channels[1].value, 812.0);
  EXPECT_DOUBLE_EQ(reply.channels[2].value, 1.0);
}

TEST(MqttTls, WithACertificateAndAPassword) {
  Mosquitto plain;
  const std::string folder = plain.folder().string();
  const auto run = [](std::vector<std::string> words) { EXPECT_EQ(tests::Program(std::move(words)).wait(), 0); };
  run({"openssl", "req", "-x509", "-newkey", "rsa:2048", "-nodes", "-days", "2", "-subj", "/CN=bench", "-addext", "subjectAltName=IP:127.0.0.1", "-keyout", folder + "/key.pem", "-out", folder + "/cert.pem"});
  run({"openssl", "req", "-x509", "-newkey", "rsa:2048", "-nodes", "-days", "2", "-subj", "/CN=other", "-keyout", folder + "/other.key", "-out", folder + "/other.pem"});
  run({"mosquitto_passwd", "-c", "-b", folder + "/users", "bench", "right"});
  for (const auto& [name, password] : {std::pair{"right", "right\n"}, std::pair{"wrong", "wrong\n"}}) {
    std::ofstream(folder + "/" + name) << password;
    std::filesystem::permissions(folder + "/" + name, std::filesystem::perms::owner_read | std::filesystem::perms::owner_write);
  }
  plain.kill();
  const int port = tests::free_port();
  std::ofstream(folder + "/tls.conf") << "user root\npersistence false\nlistener " << port << " 127.0.0.1\nallow_anonymous false\npassword_file " << folder << "/users\ncertfile " << folder << "/cert.pem\nkeyfile " << folder << "/key.pem\n";
  tests::Program broker({"/usr/sbin/mosquitto", "-c", folder + "/tls.conf"});
  for (int i = 0; i < 500 && !tests::is_listening(port); ++i) std::this_thread::sleep_for(10ms);
  const auto with = [&](const std::string& password, const std::string& certificate) {
    return make(at_port(port, "timeout_seconds = 3.0\nuser = \"bench\"\npassword_file = \"" + folder + "/" + password + "\"\nca_file = \"" + folder + "/" + certificate + "\"\n"), meter("bare_number", "device = \"room\"\n"))->read(0).trouble;
  };
  EXPECT_TRUE(holds(with("right", "cert.pem"), "nothing came on room yet")) << with("right", "cert.pem");
  EXPECT_TRUE(holds(with("wrong", "cert.pem"), "refused")) << with("wrong", "cert.pem");
  EXPECT_FALSE(holds(with("right", "other.pem"), "nothing came")) << "a certificate of somebody else must not do";
}

std::string said(const std::string& bus, const std::string& meters) { return read_config(bus, meters).said; }

/// A bus that makes no turn for long is what the watchdog takes for a daemon that hangs.
TEST(MqttConfig, NoTimeoutMakesACallLongerThanAnyBusMayTake) { EXPECT_LE(make(at_port(1, "timeout_seconds = 10\n"), meter("quick_plug"))->call_deadline(), call_deadline_most); }
TEST(MqttConfig, AnOutletHereIsNeverTheOnlyCut) { EXPECT_NE(read_config(at_port(1), meter("quick_plug")).spec().cut_doubt, ""); }
TEST(MqttConfig, APasswordGoesPlainToThisMachineOnly) {
  EXPECT_TRUE(holds(said("host = \"192.0.2.7\"\ntls = \"none\"\nuser = \"a\"\npassword_file = \"/dev/null\"\n", meter("quick_plug")), "a password without TLS only to this machine itself"));
}
TEST(MqttConfig, APasswordThatOthersCanReadIsNone) {
  const std::string file = ::testing::TempDir() + "/open_password_" + std::to_string(::getpid());
  std::ofstream(file) << "right\n";
  std::filesystem::permissions(file, std::filesystem::perms::owner_all | std::filesystem::perms::others_read);
  EXPECT_TRUE(holds(said(at_port(1, "user = \"a\"\npassword_file = \"" + file + "\"\n"), meter("quick_plug")), "can be read by others"));
  std::filesystem::remove(file);
}
TEST(MqttConfig, AnIdentityWantsAPlaceWhereItIsSaid) {
  EXPECT_TRUE(holds(said(at_port(1), meter("bare_number", "device = \"room\"\nidentity = \"x\"\n")), "does not say where a payload names its sender"));
}
TEST(MqttConfig, AReadingMustNotBeStaleBeforeItIsLookedAt) {
  std::string text = meter("bare_number", "device = \"room\"\n");
  text.replace(text.find("0.1"), 3, "0.9");
  EXPECT_TRUE(holds(said(at_port(1), text), "would be stale before it is looked at again"));
}
TEST(MqttConfig, ATopicHasNoWildcards) { EXPECT_TRUE(holds(said(at_port(1), meter("quick_plug", "device = \"bench/#\"\n")), "is no part of a topic")); }
TEST(MqttConfig, OneDeviceIsOneMeter) {
  std::string second = meter("quick_plug");
  second.replace(second.find("\"m\""), 3, "\"n\"");
  EXPECT_TRUE(holds(said(at_port(1), meter("quick_plug") + second), "is already meter `m`"));
}


std::string renamed(std::string meter) { return meter.replace(meter.find("\"m\""), 3, "\"n\""); }

TEST(MqttConfig, OneTopicForOrdersIsOneMeterHoweverItIsWritten) {
  const std::string by_topic = meter("literal_plug", "identity = \"plug-1\"\n");
  EXPECT_TRUE(holds(said(at_port(1), by_topic + renamed(by_topic)), "is already meter `m`"));
  EXPECT_TRUE(holds(said(at_port(1), meter("quick_plug") + renamed(by_topic)), "is already meter `m`"));
}
TEST(MqttConfig, OneReadingIsOneMeterAndAnotherFieldOfItsTopicIsNot) {
  EXPECT_TRUE(holds(said(at_port(1), meter("literal_number", "") + renamed(meter("literal_number", ""))), "`gateway /a` is already meter `m`"));
  EXPECT_EQ(said(at_port(1), meter("literal_number", "") + renamed(meter("other_number", ""))), "");
}
/// So that one device is one meter over all buses.
TEST(MqttConfig, SaysWhereEachMeterIs) {
  const auto at = [](const std::string& text) { return read_config(at_port(1), text).spec().meters[0].at; };
  EXPECT_EQ(at(meter("quick_plug")), "device bench/plug_1");
  EXPECT_EQ(at(meter("literal_plug", "")), "topic bench/plug_1/order");
  EXPECT_EQ(at(meter("literal_number", "")), "topic gateway");
}

}  // namespace
}  // namespace steadyglow::drivers::mqtt
