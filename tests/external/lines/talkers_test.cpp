/// The shipped instrument files against devices that talk by themselves, made apart from the drivers, under every fault that they can be set to:
/// what is good was said, by the bound device, for this channel, and not too long ago; each fault shows by the third poll, and the third
/// poll after it is whole again.
#include <gtest/gtest.h>

#include <algorithm>
#include <chrono>
#include <cmath>
#include <cstdio>
#include <fstream>
#include <iterator>
#include <memory>
#include <string>
#include <thread>
#include <vector>

#include "drivers/registry.hpp"
#include "support/house_instruments.hpp"
#include "support/python_peer.hpp"

namespace steadyglow::drivers {
namespace {

using namespace std::chrono_literals;
using Clock = std::chrono::steady_clock;
using json = nlohmann::json;
using tests::PythonPeer;

constexpr auto poll_period = 250ms;
constexpr auto stale_after = 500ms;  ///< in place of the files' three seconds
/// From a value's measurement to the end of the poll that takes it, beside stale_after: the peer's period, a late fault, a busy machine.
constexpr auto age_allowance = 700ms;
constexpr int polls = 3;

/// One kind of device, on one kind of wire.
struct Device {
  const char* name;
  const char* what;        ///< for the peer
  const char* instrument;
  const char* meter_keys;  ///< more lines of its [[bus.meter]]
  bool is_serial;
  std::size_t channels;
};
void PrintTo(const Device& device, std::ostream* out) { *out << device.name; }

struct Fault {
  const char* name;
  json order;
  std::vector<Quality> by_the_third_poll;  ///< what all channels may have then
  const char* trouble;                     ///< said in one of the polls
};

const std::vector<Quality> well{Quality::good};
const std::vector<Quality> gone{Quality::stale, Quality::no_answer};
const std::vector<Quality> any{Quality::good, Quality::stale, Quality::no_answer};

const std::vector<Fault> faults_of_all{
    {"silent", {{"silent", true}}, gone, "nothing"},
    {"half of each", {{"half", true}}, gone, "nothing"},
    {"half of one", {{"half", true}, {"times", 1}}, well, "damaged"},
    {"noise before one", {{"noise", 40}, {"times", 1}}, well, ""},
    {"noise before each", {{"noise", 40}}, any, "damaged"},
    {"late", {{"late_s", 0.15}}, well, ""},
    {"unplugged", {{"unplug", true}}, gone, ""},
};
const std::vector<Fault> faults_of_checked{
    {"wrong checksum in each", {{"wrong_checksum", true}}, gone, "damaged"},
    {"wrong checksum in one", {{"wrong_checksum", true}, {"times", 1}}, well, "damaged"},
    {"three bytes lost of each", {{"lose", 3}}, gone, "damaged"},
};
const std::vector<Fault> faults_of_a_board{
    {"another board", {{"id", "board-2"}}, {Quality::other_meter}, "`board-2` answers where `board-1` is bound"},
    {"it hangs", {{"stuck", true}}, {Quality::stale}, "its counter stands still at"},
    {"it starts anew", {{"restart", true}}, well, ""},
};
const std::vector<Fault> faults_of_a_handheld{
    {"dial turned", {{"dial", "R"}}, {Quality::implausible}, "its dial stands at another mode (`ohms`) than `volts_dc`"},
    {"overload", {{"overload", true}}, {Quality::over_range}, ""},
    {"low battery", {{"low_battery", true}}, well, "its battery is low"},
};
const std::vector<Fault> faults_of_segments{{"held", {{"held", true}}, {Quality::stale}, "its figure is held"}};

bool is_one_of(const Device& device, std::initializer_list<const char*> names) {
  return std::any_of(names.begin(), names.end(), [&](const char* name) { return std::string(device.what) == name; });
}

std::vector<Fault> faults_of(const Device& device) {
  std::vector<Fault> faults = faults_of_all;
  const auto add = [&](const std::vector<Fault>& more) { faults.insert(faults.end(), more.begin(), more.end()); };
  if (is_one_of(device, {"board", "text"})) add(faults_of_checked);
  if (is_one_of(device, {"board"})) add(faults_of_a_board);
  if (is_one_of(device, {"segments", "text"})) add(faults_of_a_handheld);
  if (is_one_of(device, {"segments"})) add(faults_of_segments);
  return faults;
}

void replace(std::string& text, const std::string& from, const std::string& to) {
  if (const auto at = text.find(from); at != std::string::npos) text.replace(at, from.size(), to);
}

Result<InstrumentText> quick_text(const std::string& name) {
  InstrumentText file = tests::house_instrument(name);
  replace(file.text, "stale_after_seconds = 3.0", "stale_after_seconds = 0.5");
  replace(file.text, "settle_seconds = 2.0", "settle_seconds = 0.1");
  return file;
}

std::unique_ptr<Bus> bus_for(const Device& device, const PythonPeer& peer) {
  const std::string protocol = is_one_of(device, {"board", "logger"}) ? "lines" : "frames";
  const std::string where = device.is_serial ? "device = \"" + peer.place() + "\"\nbaud = 9600\n" : "host = \"127.0.0.1\"\nport = " + peer.place() + "\n";
  const std::string text = "[[bus]]\nname = \"talker\"\ndriver = \"" + protocol + (device.is_serial ? "_serial" : "_tcp") + "\"\ntimeout_seconds = 0.2\n" + where +
                           "[[bus.meter]]\nname = \"it\"\ninstrument = \"" + device.instrument + "\"\n" + device.meter_keys;
  return tests::read_buses(text, quick_text).spec().make();
}

/// Values that no other channel and no other moment has.
class Truth {
 public:
  explicit Truth(const Device& device) : device_(device) {}

  /// The next values; `is_trusted`: the bound device measures them, at the dial's right place.
  json next(bool is_trusted) {
    ++round_;
    json values = json::array();
    for (std::size_t c = 0; c < device_.channels; ++c) {
      const double value = (is_one_of(device_, {"board"}) ? 30.0 * static_cast<double>(c) + (round_ % 2500) / 100.0
                            : is_one_of(device_, {"logger"}) ? 6.0 * (static_cast<double>(c) - 3.0) + (round_ % 500) / 100.0
                                                             : 10.0 + (round_ % 8000) / 100.0);
      values.push_back(value);
      if (is_trusted) told_.push_back({.channel = c, .value = value, .round = round_});
    }
    return device_.channels == 1 ? json{{"shown", values[0]}} : json{{"channels", values}};
  }
  /// Called after the order reached the device: the values before are no longer measured.
  void until_now() {
    const auto now = Clock::now();
    for (Told& told : told_)
      if (told.until == Clock::time_point::max() && told.round != round_) told.until = now;
  }
  bool was_said(std::size_t channel, double value) const {
    const auto since = Clock::now() - stale_after - age_allowance;
    return std::any_of(told_.begin(), told_.end(), [&](const Told& told) { return told.channel == channel && std::abs(told.value - value) < 1e-6 && told.until > since; });
  }

 private:
  struct Told {
    std::size_t channel;
    double value;
    int round;
    Clock::time_point until = Clock::time_point::max();
  };
  const Device& device_;
  std::vector<Told> told_;
  int round_ = 0;
};

class Talkers : public testing::TestWithParam<Device> {};

TEST_P(Talkers, GiveNoWrongValueShowEachFaultAndComeBack) {
  const Device device = GetParam();
  PythonPeer peer("lines/peer.py", device.is_serial, {"--what", device.what, "--period", "0.05"});
  const auto bus = bus_for(device, peer);
  ASSERT_TRUE(bus);
  Truth truth(device);
  int good = 0, wrong = 0;
  const auto poll = [&](const json& order, bool is_trusted) {
    const auto began = Clock::now();
    json whole = order;
    whole["values"] = truth.next(is_trusted);
    peer.tell(whole);
    truth.until_now();
    std::this_thread::sleep_until(began + poll_period - 30ms);
    const auto asked = Clock::now();
    MeterReply reply = bus->read(0);
    EXPECT_LT(Clock::now() - asked, bus->call_deadline());
    for (std::size_t c = 0; c < reply.channels.size(); ++c) {
      if (reply.channels[c].quality != Quality::good) continue;
      ++good;
      if (truth.was_said(c, reply.channels[c].value)) continue;
      ++wrong;
      ADD_FAILURE() << device.name << ": " << order << " gave " << reply.channels[c].value << " for channel " << c + 1;
    }
    std::this_thread::sleep_until(began + poll_period);
    return reply;
  };
  const auto all_are = [](const MeterReply& reply, const std::vector<Quality>& allowed) {
    return std::all_of(reply.channels.begin(), reply.channels.end(), [&](const ChannelValue& value) { return std::find(allowed.begin(), allowed.end(), value.quality) != allowed.end(); });
  };
  const json back{{"well", true}, {"id", "board-1"}, {"dial", "V"}, {"low_battery", false}, {"held", false}};
  for (int i = 0; i < polls; ++i) (void)poll(back, true);
  for (const Fault& fault : faults_of(device)) {
    const bool is_trusted = !fault.order.contains("id") && !fault.order.contains("dial") && !fault.order.contains("overload");
    MeterReply reply;
    std::string troubles;
    for (int i = 0; i < polls; ++i) {
      const bool is_told_once = i > 0 && (fault.order.contains("times") || fault.order.contains("unplug") || fault.order.contains("restart"));
      reply = poll(is_told_once ? json::object() : fault.order, is_trusted);
      troubles += reply.trouble + "\n";
    }
    EXPECT_TRUE(all_are(reply, fault.by_the_third_poll)) << fault.name << ": " << static_cast<int>(reply.channels.at(0).quality) << ", " << troubles;
    EXPECT_NE(troubles.find(fault.trouble), std::string::npos) << fault.name << ": " << troubles;
    if (fault.order.contains("unplug")) peer.tell({{"plug", true}});
    for (int i = 0; i < polls; ++i) reply = poll(back, true);
    EXPECT_TRUE(all_are(reply, well)) << "after " << fault.name << ": " << static_cast<int>(reply.channels.at(0).quality) << ", " << reply.trouble;
  }
  std::printf("%s: %d good values, %d wrong\n", device.name, good, wrong);
}

constexpr const char* board_keys = "identity = \"board-1\"\n";
constexpr const char* handheld_keys = "dial = \"volts_dc\"\n";
INSTANTIATE_TEST_SUITE_P(External, Talkers,
                         testing::Values(Device{"board_tcp", "board", "board-lines-4ch", board_keys, false, 4}, Device{"board_serial", "board", "board-lines-4ch", board_keys, true, 4},
                                         Device{"logger_serial", "logger", "logger-csv-8ch", "", true, 8},
                                         Device{"segments_serial", "segments", "handheld-14byte-segments", handheld_keys, true, 1},
                                         Device{"text_tcp", "text", "handheld-ascii-9byte", handheld_keys, false, 1}),
                         [](const auto& device) { return std::string(device.param.name); });

TEST(Talkers, ABoardThatStartsAnewWhenItIsConnectedIsGivenItsTime) {
  const Device device{"board", "board", "board-lines-4ch", board_keys, false, 4};
  PythonPeer peer("lines/peer.py", false, {"--what", "board", "--period", "0.05", "--boot", "0.3", "--values", "20 + c"});
  const auto bus = bus_for(device, peer);
  MeterReply reply;
  const auto end = Clock::now() + 3s;
  while (Clock::now() < end && !(reply.is_answered && reply.channels[3].quality == Quality::good)) reply = bus->read(0);
  EXPECT_EQ(reply.channels.at(3).value, 24.0) << reply.trouble;
  EXPECT_EQ(reply.identity, "board-1");
}

}  // namespace
}  // namespace steadyglow::drivers
