#include <gtest/gtest.h>

#include <algorithm>
#include <atomic>
#include <chrono>
#include <string>

#include "drivers/fault_server.hpp"
#include "drivers/modbus/scan.hpp"

namespace steadyglow::drivers::modbus {
namespace {

using namespace std::chrono_literals;
using tests::Asked;
using tests::Fault;
using tests::FaultyDevice;
using tests::RtuFaultServer;
using tests::TcpFaultServer;

const std::atomic<bool> go_on{false};

Window window_of(int first, std::vector<std::uint16_t> words) {
  Window window;
  window.table = RegisterTable::input;
  window.from = first + 1;
  window.count = static_cast<int>(words.size()) - 2;
  window.first = first;
  window.words.assign(words.begin(), words.end());
  window.is_answered = true;
  return window;
}

ScanPlace tcp_place(const TcpFaultServer& server) { return {TcpEnd{"127.0.0.1", server.port()}, {}, 80ms}; }

bool has(const std::vector<ScanMatch>& matches, int address, Type type, WordOrder order, double scale) {
  return std::any_of(matches.begin(), matches.end(), [&](const ScanMatch& match) {
    return match.way.address == address && match.way.type == type && match.way.order == order && match.way.scale == scale;
  });
}

TEST(ScanValue, IsFoundAsAnIntegerAtAPowerOfTen) {
  const auto matches = find_value(window_of(4, {1, 2, 6309, 4, 5}), 6.31);
  ASSERT_FALSE(matches.empty());
  EXPECT_EQ(matches[0].way.address, 6);
  EXPECT_EQ(matches[0].way.type, Type::int16);
  EXPECT_EQ(matches[0].way.scale, 0.001);
  EXPECT_EQ(matches[0].outside, 0);
}

TEST(ScanValue, IsFoundAsAFloatInEveryWordOrder) {
  // 230.5 is 4366 8000h (IEEE 754 binary32).
  EXPECT_TRUE(has(find_value(window_of(0, {0, 0x4366, 0x8000, 0}), 230.0), 1, Type::float32, WordOrder::abcd, 1.0));
  EXPECT_TRUE(has(find_value(window_of(0, {0, 0x8000, 0x4366, 0}), 230.0), 1, Type::float32, WordOrder::cdab, 1.0));
  EXPECT_TRUE(has(find_value(window_of(0, {0, 0x6643, 0x0080, 0}), 230.0), 1, Type::float32, WordOrder::badc, 1.0));
  EXPECT_TRUE(has(find_value(window_of(0, {0, 0x0080, 0x6643, 0}), 230.0), 1, Type::float32, WordOrder::dcba, 1.0));
}

TEST(ScanValue, AFloatAsItIsComesBeforeAnAccidentOfScale) {
  const auto window = window_of(0, {0, 2305, 0x4366, 0x8000, 0});
  const auto matches = find_value(window, 230.5);
  ASSERT_FALSE(matches.empty());
  EXPECT_EQ(matches[0].way.type, Type::float32);
  EXPECT_EQ(matches[0].way.address, 2);
  EXPECT_TRUE(has(matches, 1, Type::int16, WordOrder::abcd, 0.1));
}

TEST(ScanValue, MicrovoltsInTwoRegistersAreFound) {
  // 6.31 V in microvolts is 6 310 000 = 96 * 65536 + 18544, low word first.
  EXPECT_TRUE(has(find_value(window_of(0, {0, 18544, 96, 0}), 6.31), 1, Type::int32, WordOrder::cdab, 0.000001));
}

TEST(ScanValue, ANegativeValueIsFoundWithItsSign) {
  const auto matches = find_value(window_of(0, {0, 0x10000 - 4550, 0}), -45.5);
  ASSERT_FALSE(matches.empty());
  EXPECT_EQ(matches[0].way.type, Type::int16);
  EXPECT_EQ(matches[0].way.scale, 0.01);
  EXPECT_TRUE(find_value(window_of(0, {0, 4550, 0}), -45.5).empty());
}

TEST(ScanValue, OneRegisterBesideTheWindowIsToldAsSuch) {
  EXPECT_EQ(find_value(window_of(4, {631, 0, 0}), 6.31).at(0).outside, -1);
  EXPECT_EQ(find_value(window_of(4, {0, 0, 631}), 6.31).at(0).outside, 1);
}

TEST(ScanValue, OnePercentIsTheEdge) {
  EXPECT_FALSE(find_value(window_of(0, {0, 1010, 0}), 1000.0).empty());
  EXPECT_TRUE(find_value(window_of(0, {0, 1011, 0}), 1000.0).empty());
}

TEST(ScanValue, AnUnsignedReadingThatTheSignedOneGivesIsToldOnce) {
  int singles = 0;
  for (const ScanMatch& match : find_value(window_of(0, {0, 631, 0}), 6.31)) singles += match.way.address == 1 && (match.way.type == Type::int16 || match.way.type == Type::uint16) ? 1 : 0;
  EXPECT_EQ(singles, 1);
}

TEST(ScanValue, NothingIsFoundForZeroOrInBits) {
  EXPECT_TRUE(find_value(window_of(0, {0, 0, 0}), 0.0).empty());
  Window bits = window_of(0, {1, 1, 1});
  bits.table = RegisterTable::coil;
  EXPECT_TRUE(find_value(bits, 1.0).empty());
}

TEST(ScanRows, SayWhatLooksLikeTheMains) {
  const auto rows = read_rows(window_of(0, {0, 2304, 5002, 214, 0}));
  ASSERT_FALSE(rows[1].guesses.empty());
  EXPECT_EQ(rows[1].guesses[0].likeness, Likeness::mains_voltage);
  EXPECT_DOUBLE_EQ(rows[1].guesses[0].way.value, 230.4);
  EXPECT_EQ(rows[2].guesses.at(0).likeness, Likeness::mains_frequency);
  EXPECT_EQ(rows[2].guesses[0].way.scale, 0.01);
  bool is_room = false;
  for (const Guess& guess : rows[3].guesses) is_room |= guess.likeness == Likeness::room_temperature && guess.way.scale == 0.1;
  EXPECT_TRUE(is_room);
}

TEST(ScanRows, LeaveOutWhatNobodyCouldMean) {
  // 47F1 2000h is 123456.0; read the other way round, 2000 47F1h, it is 1.08e-19.
  const auto rows = read_rows(window_of(0, {0, 0x47F1, 0x2000, 0}));
  int floats = 0;
  for (const Way& way : rows[1].ways)
    if (way.type == Type::float32) {
      ++floats;
      EXPECT_EQ(way.order, WordOrder::abcd);
    }
  EXPECT_EQ(floats, 1);
}

TEST(ScanRows, KnowWhatWasRefused) {
  Window window = window_of(0, {0, 1, 2, 0});
  window.words[2] = std::nullopt;
  const auto rows = read_rows(window);
  EXPECT_FALSE(rows[2].word);
  for (const Way& way : rows[1].ways) EXPECT_EQ(width(way.type), 1);
  EXPECT_TRUE(rows[0].is_edge);
  EXPECT_FALSE(rows[1].is_edge);
}

TEST(ScanWords, GiveLinesToCopyAndBothNotations) {
  EXPECT_EQ(channel_lines(RegisterTable::input, {6, Type::int32, WordOrder::cdab, 0.001, 6.31}, "ch1", "voltage", "V"),
            "[[channel]]\nname = \"ch1\"\ntable = \"input\"\naddress = 6  # zero-based; a manual may call it 30007\ntype = \"int32\"\nword_order = \"CDAB\"\nscale = 0.001\n"
            "quantity = \"voltage\"\nuom = \"V\"\n");
  EXPECT_EQ(manual_number(RegisterTable::holding, 6), "40007");
  EXPECT_EQ(manual_number(RegisterTable::coil, 0), "00001");
  EXPECT_EQ(manual_number(RegisterTable::discrete, 9998), "19999");
  EXPECT_EQ(manual_number(RegisterTable::input, 9999), "310000");
}

TEST(ScanAddresses, FindsThoseThatAnswerAndCountsTheOthers) {
  FaultyDevice device;
  device.units = {3, 7};
  device.forbidden = {0};
  RtuFaultServer server(device);
  Scanner scanner({SerialLine{server.path(), 115200, Parity::none, 8, 1}, {}, 60ms});
  std::vector<int> asked;
  const auto report = scanner.find_addresses(1, 8, [&](const ScanProgress& progress) { asked.push_back(progress.address); }, go_on);
  ASSERT_EQ(report.found.size(), 2u);
  EXPECT_EQ(report.found[0].address, 3);
  EXPECT_EQ(report.found[0].exception, 2);  // a refusal is an answer
  EXPECT_EQ(report.found[1].address, 7);
  EXPECT_EQ(report.asked, 8);
  EXPECT_EQ(report.silent, 6);
  EXPECT_EQ(asked.size(), 8u);
}

TEST(ScanAddresses, SaysWhatADeviceCallsItself) {
  FaultyDevice device;
  device.units = {5};
  device.set_names({"Ourselves", "AI8", "1.02"});
  TcpFaultServer server(device);
  Scanner scanner(tcp_place(server));
  const auto report = scanner.find_addresses(4, 6, {}, go_on);
  ASSERT_EQ(report.found.size(), 1u);
  EXPECT_EQ(report.found[0].names_itself, "Ourselves,AI8,1.02");
}

TEST(ScanAddresses, ADeviceThatIgnoresItsAddressIsOneDevice) {
  FaultyDevice device;
  for (int unit = 1; unit < 255; ++unit) device.units.insert(static_cast<std::uint8_t>(unit));
  TcpFaultServer server(device);
  Scanner scanner(tcp_place(server));
  const auto report = scanner.find_addresses(1, 247, {}, go_on);
  EXPECT_TRUE(report.is_address_ignored);
  EXPECT_LT(report.asked, 30);
}

TEST(ScanAddresses, AGatewaysWordIsSilence) {
  FaultyDevice device;
  device.fault = [](const Asked&) { return Fault::gateway_silence; };
  TcpFaultServer server(device);
  Scanner scanner(tcp_place(server));
  const auto report = scanner.find_addresses(1, 1, {}, go_on);
  EXPECT_TRUE(report.found.empty());
  EXPECT_EQ(report.silent, 1);
}

TEST(ScanAddresses, NoiseIsToldApartFromSilence) {
  FaultyDevice device;
  device.fault = [](const Asked&) { return Fault::bad_check; };
  RtuFaultServer server(device);
  Scanner scanner({SerialLine{server.path(), 115200, Parity::none, 8, 1}, {}, 60ms});
  EXPECT_EQ(scanner.find_addresses(1, 2, {}, go_on).noisy, std::vector<int>{1});
}

TEST(ScanAddresses, EndsWhenToldTo) {
  FaultyDevice device;
  TcpFaultServer server(device);
  Scanner scanner(tcp_place(server));
  std::atomic<bool> stop{false};
  const auto report = scanner.find_addresses(1, 247, [&](const ScanProgress& progress) { stop = progress.done >= 1; }, stop);
  EXPECT_TRUE(report.is_stopped);
  EXPECT_EQ(report.asked, 2);
}

TEST(ScanAddresses, APlaceThatCannotBeOpenedIsATrouble) {
  Scanner scanner({SerialLine{"/nonexistent/port", 9600, Parity::none, 8, 1}, {}, 60ms});
  const auto report = scanner.find_addresses(1, 247, {}, go_on);
  EXPECT_EQ(report.asked, 0);
  EXPECT_NE(report.trouble.find("/nonexistent/port"), std::string::npos) << report.trouble;
}

TEST(ScanWindow, ReadsOneRegisterEitherSide) {
  FaultyDevice device;
  TcpFaultServer server(device);
  Scanner scanner(tcp_place(server));
  const Window window = scanner.read_window({1, RegisterTable::input, 10, 4}, go_on);
  EXPECT_EQ(window.first, 9);
  ASSERT_EQ(window.words.size(), 6u);
  EXPECT_EQ(window.words[0], 9);
  EXPECT_EQ(window.words[5], 14);
  EXPECT_TRUE(window.is_edge(9));
  EXPECT_FALSE(window.is_edge(10));
}

TEST(ScanWindow, FindsOutWhatIsRefused) {
  FaultyDevice device;
  device.forbidden = {13};
  TcpFaultServer server(device);
  Scanner scanner(tcp_place(server));
  const Window window = scanner.read_window({1, RegisterTable::input, 10, 8}, go_on);
  for (int address = 9; address < 19; ++address) EXPECT_EQ(window.words[static_cast<std::size_t>(address - 9)].has_value(), address != 13) << address;
  EXPECT_EQ(window.trouble, "");
}

TEST(ScanWindow, EndsAfterTheQuestionThatItWaitsForWhenToldTo) {
  std::atomic<bool> stop{false};
  FaultyDevice device;
  for (int address = 0; address < 100; ++address) device.forbidden.insert(static_cast<std::uint16_t>(address));
  device.fault = [&](const Asked&) {
    stop = true;
    return Fault::none;
  };
  TcpFaultServer server(device);
  Scanner scanner(tcp_place(server));
  const Window window = scanner.read_window({1, RegisterTable::input, 10, 40}, stop);
  EXPECT_EQ(device.asked().size(), 1u);
  EXPECT_NE(window.trouble, "");
}

TEST(ScanWindow, StaysWithinTheAddresses) {
  FaultyDevice device;
  TcpFaultServer server(device);
  Scanner scanner(tcp_place(server));
  EXPECT_EQ(scanner.read_window({1, RegisterTable::input, 0, 2}, go_on).first, 0);
  const Window last = scanner.read_window({1, RegisterTable::input, 65530, 40}, go_on);
  EXPECT_EQ(last.first + static_cast<int>(last.words.size()), 65536);
}

TEST(ScanWindow, NeverWrites) {
  FaultyDevice device;
  TcpFaultServer server(device);
  Scanner scanner(tcp_place(server));
  (void)scanner.find_addresses(1, 3, {}, go_on);
  for (const RegisterTable table : {RegisterTable::coil, RegisterTable::discrete, RegisterTable::holding, RegisterTable::input}) (void)scanner.read_window({1, table, 0, 10}, go_on);
  for (const Asked& asked : device.asked()) EXPECT_TRUE((asked.function >= 1 && asked.function <= 4) || asked.function == 0x2B) << int{asked.function};
}

TEST(ScanWindow, ASilentDeviceIsATrouble) {
  FaultyDevice device;
  TcpFaultServer server(device);
  Scanner scanner(tcp_place(server));
  const Window window = scanner.read_window({9, RegisterTable::input, 0, 10}, go_on);
  EXPECT_FALSE(window.is_answered);
  EXPECT_NE(window.trouble, "");
}

}  // namespace
}  // namespace steadyglow::drivers::modbus
