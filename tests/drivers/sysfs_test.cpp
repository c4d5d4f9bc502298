#include "drivers/sysfs/sysfs_bus.hpp"

#include <gtest/gtest.h>
#include <sys/stat.h>

#include <array>
#include <atomic>
#include <fstream>
#include <memory>
#include <ostream>
#include <thread>
#include <utility>
#include <vector>

#include "drivers/registry.hpp"
#include "drivers/sysfs/w1.hpp"
#include "drivers/sysfs_tree.hpp"
#include "support/house_instruments.hpp"

namespace steadyglow::drivers::sysfs {
namespace {

using namespace std::chrono_literals;
using steadyglow::tests::BusesRead;
using tests::SysfsTree;

const std::string rom = "28-0316a2795cff";
const std::string other_rom = "28-0417c13b21ee";

BusesRead read_config(const std::string& root, const std::string& meters) {
  return steadyglow::tests::read_buses("[[bus]]\nname = \"kernel\"\ndriver = \"sysfs\"\nroot = \"" + root + "\"\n" + meters, steadyglow::tests::house_instrument);
}

std::string meter(const std::string& instrument, const std::string& keys) { return "[[bus.meter]]\nname = \"m\"\ninstrument = \"" + instrument + "\"\n" + keys + "\n"; }

std::unique_ptr<Bus> make(const SysfsTree& tree, const std::string& meters) {
  return read_config(tree.root(), meters).spec().make();
}

bool holds(const std::string& text, std::string_view part) { return text.find(part) != std::string::npos; }

/// A thermometer's bus with a clock that is set by hand.
struct Thermometer {
  SysfsTree tree;
  Clock::time_point now{};
  std::unique_ptr<Bus> bus;

  Thermometer() {
    Channel channel;
    channel.name = "celsius";
    channel.quantity = Quantity::temperature;
    channel.uom = "Cel";
    channel.scale = 0.001;
    MeterSetup setup{.name = "room", .instrument = {"", Kind::w1, {channel}}, .rom = rom, .chip = {}, .device = {}, .identity = rom};
    bus = std::make_unique<SysfsBus>(tree.root(), std::vector{setup}, [this] { return now; });
  }
  ChannelValue read(const std::string& millidegrees, std::chrono::seconds later = 5s) {
    now += later;
    tree.thermometer(rom, millidegrees);
    return bus->read(0).channels[0];
  }
};

// Analog Devices (Maxim) application note 27: the number A2 00 00 00 01 B8 1C 02 has A2 as its CRC.
TEST(W1, ReckonsTheCrcOfTheApplicationNote) {
  constexpr std::array<std::uint8_t, 7> number{0x02, 0x1C, 0xB8, 0x01, 0x00, 0x00, 0x00};
  EXPECT_EQ(w1_crc(number), 0xA2);
}

std::string slave_file(std::array<std::uint8_t, 9> bytes, const std::string& verdict, const std::string& millidegrees) {
  std::string row;
  constexpr std::string_view figures = "0123456789abcdef";
  for (const std::uint8_t byte : bytes) row += std::string{figures[byte >> 4], figures[byte & 15]} + " ";
  return row + ": crc=00 " + verdict + "\n" + row + "t=" + millidegrees + "\n";
}

std::array<std::uint8_t, 9> scratchpad() {
  std::array<std::uint8_t, 9> bytes{0x72, 0x01, 0x4b, 0x46, 0x7f, 0xff, 0x0e, 0x10, 0x00};
  bytes[8] = w1_crc({bytes.data(), 8});
  return bytes;
}

TEST(W1, ReadsTheTwoLinesOfAnOlderKernel) { EXPECT_EQ(parse_w1_slave(slave_file(scratchpad(), "YES", "23125")), 23125); }
TEST(W1, ReadsBelowZero) { EXPECT_EQ(parse_w1_slave(slave_file(scratchpad(), "YES", "-1250")), -1250); }
TEST(W1, BelievesTheKernelsNo) { EXPECT_EQ(parse_w1_slave(slave_file(scratchpad(), "NO", "23125")), std::nullopt); }
TEST(W1, ChecksTheCrcItself) {
  auto bytes = scratchpad();
  bytes[0] ^= 0x01;
  EXPECT_EQ(parse_w1_slave(slave_file(bytes, "YES", "23125")), std::nullopt);
}
TEST(W1, AShortCircuitIsNoTemperature) { EXPECT_EQ(parse_w1_slave(slave_file({}, "YES", "0")), std::nullopt); }
TEST(W1, RefusesEveryCutFile) {
  const std::string whole = slave_file(scratchpad(), "YES", "23125");
  for (std::size_t size = 0; size < whole.size() - 6; ++size) EXPECT_EQ(parse_w1_slave(whole.substr(0, size)), std::nullopt) << size;
}

TEST(Thermometer, GivesDegrees) {
  Thermometer room;
  const ChannelValue value = room.read("23125");
  EXPECT_EQ(value.quality, Quality::good);
  EXPECT_DOUBLE_EQ(value.value, 23.125);
}
TEST(Thermometer, NamesItself) {
  Thermometer room;
  room.tree.thermometer(rom, "23125");
  EXPECT_EQ(room.bus->read(0).identity, rom);
}
TEST(Thermometer, EightyFiveOutOfNowhereIsNoTemperature) {
  Thermometer room;
  (void)room.read("23125");
  EXPECT_EQ(room.read("85000").quality, Quality::implausible);
  EXPECT_EQ(room.read("23187").quality, Quality::good);
}
TEST(Thermometer, EightyFiveFirstOfAllIsNoTemperature) {
  Thermometer room;
  EXPECT_EQ(room.read("85000").quality, Quality::implausible);
  EXPECT_EQ(room.read("85000").quality, Quality::implausible);
}
TEST(Thermometer, EightyFiveOnTheWayUpIsATemperature) {
  Thermometer room;
  (void)room.read("83500");
  EXPECT_EQ(room.read("85000").quality, Quality::good);
  EXPECT_EQ(room.read("85000").quality, Quality::good);
}
TEST(Thermometer, EightyFiveIsNotBelievedForEver) {
  Thermometer room;
  (void)room.read("83500");
  EXPECT_EQ(room.read("85000", 61s).quality, Quality::implausible);
}
TEST(Thermometer, WeakPowerIsNoTemperature) {
  Thermometer room;
  EXPECT_EQ(room.read("127937").quality, Quality::implausible);
}
TEST(Thermometer, AMissingOneDoesNotAnswer) {
  Thermometer room;
  const MeterReply reply = room.bus->read(0);
  EXPECT_EQ(reply.channels[0].quality, Quality::no_answer);
  EXPECT_FALSE(reply.is_answered);
}
TEST(Thermometer, OneInItsPlaceIsNamedAndNotRead) {
  Thermometer room;
  (void)room.read("23125");
  room.tree.remove_thermometer(rom);
  room.tree.thermometer(other_rom, "61000");
  const MeterReply reply = room.bus->read(0);
  EXPECT_EQ(reply.channels[0].quality, Quality::no_answer);
  EXPECT_TRUE(holds(reply.trouble, rom) && holds(reply.trouble, other_rom)) << reply.trouble;
}
TEST(Thermometer, IsBackByItselfAndCounted) {
  Thermometer room;
  (void)room.read("23125");
  room.tree.remove_thermometer(rom);
  (void)room.bus->read(0);
  EXPECT_EQ(room.read("23250").quality, Quality::good);
  EXPECT_EQ(room.bus->counters().reconnects, 1u);
}
TEST(Thermometer, AnotherNumberInItsFolderIsAnotherMeter) {
  Thermometer room;
  room.tree.thermometer(rom, "23125");
  room.tree.write("devices/w1_bus_master1/" + rom + "/name", other_rom + "\n");
  const MeterReply reply = room.bus->read(0);
  EXPECT_TRUE(reply.is_stranger);
  EXPECT_EQ(reply.channels[0].quality, Quality::other_meter);
  EXPECT_TRUE(holds(reply.trouble, "`" + other_rom + "` answers where `" + rom + "` is bound")) << reply.trouble;
}
TEST(Thermometer, ReadsTheOlderFileWhereTheNewerIsMissing) {
  Thermometer room;
  room.tree.thermometer(rom, "");
  room.tree.write("devices/w1_bus_master1/" + rom + "/w1_slave", slave_file(scratchpad(), "YES", "23125"));
  EXPECT_DOUBLE_EQ(room.bus->read(0).channels[0].value, 23.125);
}
TEST(Thermometer, WhatIsNoNumberIsImplausible) {
  Thermometer room;
  for (const char* text : {"", "23.125", "warm", "23125 23125", "nan", "1e300"}) EXPECT_EQ(room.read(std::string(text) + " ").quality, Quality::implausible) << text;
}
TEST(Thermometer, AFileWithoutEndIsImplausible) {
  Thermometer room;
  room.tree.thermometer(rom, "");
  tests::fs::create_symlink("/dev/zero", room.tree.root() + "/devices/w1_bus_master1/" + rom + "/temperature");
  EXPECT_EQ(room.bus->read(0).channels[0].quality, Quality::implausible);
}
TEST(Thermometer, APipeInPlaceOfTheFileDoesNotBlock) {
  Thermometer room;
  room.tree.thermometer(rom, "");
  ASSERT_EQ(::mkfifo((room.tree.root() + "/devices/w1_bus_master1/" + rom + "/temperature").c_str(), 0600), 0);
  const auto began = Clock::now();
  EXPECT_NE(room.bus->read(0).channels[0].quality, Quality::good);
  EXPECT_LT(Clock::now() - began, 1s);
}

TEST(ThermometerConfig, ItsRomIsItsIdentity) {
  SysfsTree tree;
  EXPECT_EQ(read_config(tree.root(), meter("w1-thermometer", "rom = \"" + rom + "\"")).spec().meters[0].identity, rom);
}
TEST(ThermometerConfig, ARomIsWrittenAsTheKernelWritesIt) {
  SysfsTree tree;
  for (const char* bad : {"28-0316A2795CFF", "../w1_bus_master1", "28-0316a2795cf", "28-0316a2795cff/"})
    EXPECT_TRUE(holds(read_config(tree.root(), meter("w1-thermometer", "rom = \"" + std::string(bad) + "\"")).said, "is no 1-Wire number")) << bad;
}
TEST(ThermometerConfig, ABusOfThemSaysHowLongACallMayTake) {
  SysfsTree tree;
  EXPECT_EQ(make(tree, meter("w1-thermometer", "rom = \"" + rom + "\""))->call_deadline(), w1_call_deadline);
}

struct Board {
  SysfsTree tree;
  std::string folder = tree.hwmon("platform/board.656", 3, "board");
  std::unique_ptr<Bus> bus;

  explicit Board(const std::string& keys = "chip = \"board\"") {
    put(folder);
    bus = make(tree, meter("hwmon-board", keys));
  }
  void put(const std::string& place, const std::string& temperature = "41500") const {
    tree.write(place + "/temp2_label", "Board\n");
    tree.write(place + "/temp2_input", temperature + "\n");
    tree.write(place + "/fan1_label", "Board\n");
    tree.write(place + "/fan1_input", "1187\n");
    tree.write(place + "/in0_input", "5037\n");
  }
};

TEST(Hwmon, ReadsByLabelAndByFile) {
  Board board;
  const MeterReply reply = board.bus->read(0);
  ASSERT_TRUE(reply.is_answered) << reply.trouble;
  EXPECT_DOUBLE_EQ(reply.channels[0].value, 41.5);
  EXPECT_DOUBLE_EQ(reply.channels[1].value, 1187.0);
  EXPECT_DOUBLE_EQ(reply.channels[2].value, 5.037);
  EXPECT_EQ(reply.identity, "devices/platform/board.656");
}
TEST(Hwmon, WhatFillsAFileUpIsNoPartOfIt) {
  Board board;
  board.tree.write(board.folder + "/temp2_label", std::string("Board\n\0\0", 8));
  board.tree.write(board.folder + "/temp2_input", std::string("41500\n\0", 7));
  EXPECT_DOUBLE_EQ(board.bus->read(0).channels[0].value, 41.5);
}
TEST(Hwmon, FollowsItsChipToAnotherNumber) {
  Board board;
  (void)board.bus->read(0);
  board.tree.renumber_hwmon("platform/board.656", 3, 5);
  const std::string stranger = board.tree.hwmon("platform/else.1", 3, "else");
  board.put(stranger, "99000");
  EXPECT_DOUBLE_EQ(board.bus->read(0).channels[0].value, 41.5);
}
TEST(Hwmon, DoesNotChooseBetweenTwins) {
  Board board;
  board.put(board.tree.hwmon("platform/board.672", 4, "board"), "55000");
  const MeterReply reply = board.bus->read(0);
  EXPECT_EQ(reply.channels[0].quality, Quality::no_answer);
  EXPECT_TRUE(holds(reply.trouble, "platform/board.656") && holds(reply.trouble, "platform/board.672")) << reply.trouble;
}
TEST(Hwmon, TellsTwinsApartByTheirDevice) {
  Board board("chip = \"board\"\ndevice = \"board.656\"");
  board.put(board.tree.hwmon("platform/board.672", 4, "board"), "55000");
  EXPECT_DOUBLE_EQ(board.bus->read(0).channels[0].value, 41.5);
}
TEST(Hwmon, ItsPathIsItsIdentity) {
  Board board("chip = \"board\"\nidentity = \"devices/platform/board.672\"");
  const MeterReply reply = board.bus->read(0);
  EXPECT_TRUE(reply.is_stranger);
  EXPECT_EQ(reply.channels[2].quality, Quality::other_meter);
  EXPECT_TRUE(holds(reply.trouble, "`devices/platform/board.656` answers where `devices/platform/board.672` is bound")) << reply.trouble;
}
TEST(Hwmon, OneLabelTwiceIsReadFromNeither) {
  Board board;
  board.tree.write(board.folder + "/temp7_label", "Board\n");
  board.tree.write(board.folder + "/temp7_input", "20000\n");
  const MeterReply reply = board.bus->read(0);
  EXPECT_EQ(reply.channels[0].quality, Quality::no_answer);
  EXPECT_EQ(reply.channels[1].quality, Quality::good);
}
TEST(Hwmon, AMissingFileCostsItsOwnChannelOnly) {
  Board board;
  tests::fs::remove(board.tree.root() + "/" + board.folder + "/in0_input");
  const MeterReply reply = board.bus->read(0);
  EXPECT_EQ(reply.channels[0].quality, Quality::good);
  EXPECT_EQ(reply.channels[2].quality, Quality::no_answer);
}
TEST(Hwmon, AnOpenSensorThatStillGivesANumberIsOpen) {
  Board board;
  board.tree.write(board.folder + "/temp2_fault", "1\n");
  const MeterReply reply = board.bus->read(0);
  EXPECT_EQ(reply.channels[0].quality, Quality::open_sensor);
  EXPECT_TRUE(holds(reply.trouble, "temp2_fault says that temp2_input is not to be trusted")) << reply.trouble;
  EXPECT_EQ(reply.channels[1].quality, Quality::good);
}
TEST(Hwmon, AnOpenSensorIsToldWhereItsNumberCannotBeRead) {
  Board board;
  board.tree.write(board.folder + "/temp2_fault", "1\n");
  tests::fs::remove(board.tree.root() + "/" + board.folder + "/temp2_input");
  tests::fs::create_directory(board.tree.root() + "/" + board.folder + "/temp2_input");
  EXPECT_EQ(board.bus->read(0).channels[0].quality, Quality::open_sensor);
}
TEST(Hwmon, AFanThatIsNotThereHasNoSpeed) {
  Board board;
  board.tree.write(board.folder + "/fan1_fault", "1\n");
  EXPECT_EQ(board.bus->read(0).channels[1].quality, Quality::implausible);
}
TEST(Hwmon, ASensorThatIsWellIsRead) {
  Board board;
  board.tree.write(board.folder + "/temp2_fault", "0\n");
  EXPECT_EQ(board.bus->read(0).channels[0].quality, Quality::good);
}
TEST(Hwmon, AFaultThatCannotBeReadLeavesNothingToTrust) {
  Board board;
  tests::fs::create_directory(board.tree.root() + "/" + board.folder + "/temp2_fault");
  EXPECT_EQ(board.bus->read(0).channels[0].quality, Quality::no_answer);
}
TEST(Hwmon, ANumberThatMovesIsNoName) {
  SysfsTree tree;
  EXPECT_TRUE(holds(read_config(tree.root(), meter("hwmon-board", "device = \"hwmon3\"")).said, "may be another device after the next restart"));
}
TEST(Hwmon, SomethingMustSayWhichChip) {
  SysfsTree tree;
  EXPECT_TRUE(holds(read_config(tree.root(), meter("hwmon-board", "")).said, "nothing says which device is meant"));
}

std::string named(const std::string& name, const std::string& instrument, const std::string& keys) { return "[[bus.meter]]\nname = \"" + name + "\"\ninstrument = \"" + instrument + "\"\n" + keys + "\n"; }

TEST(SysfsConfig, OneChipIsOneMeter) {
  SysfsTree tree;
  const std::string by_chip = "chip = \"board\"", by_device = "device = \"board.656\"", by_both = by_chip + "\n" + by_device, by_path = "device = \"platform/board.656\"";
  for (const auto& [first, second] : {std::pair{by_chip, by_chip}, {by_device, by_device}, {by_chip, by_both}, {by_both, by_path}, {by_path, by_device}})
    EXPECT_TRUE(holds(read_config(tree.root(), named("m", "hwmon-board", first) + named("n", "hwmon-board", second)).said, "this is meter `m` already, or may be")) << first << " " << second;
}
TEST(SysfsConfig, OneIdentityIsOneMeter) {
  SysfsTree tree;
  const std::string path = "\nidentity = \"devices/platform/board.656\"";
  EXPECT_TRUE(holds(read_config(tree.root(), named("m", "hwmon-board", "chip = \"board\"" + path) + named("n", "hwmon-board", "device = \"board.656\"" + path)).said, "this is meter `m` already, or may be"));
}
TEST(SysfsConfig, TwoChipsAreTwoMeters) {
  SysfsTree tree;
  const std::string board = "chip = \"board\"";
  EXPECT_EQ(read_config(tree.root(), named("m", "hwmon-board", board + "\ndevice = \"board.656\"") + named("n", "hwmon-board", board + "\ndevice = \"board.672\"") + named("o", "hwmon-board", "chip = \"other\"") +
                                         named("p", "iio-adc-4ch", "chip = \"board\"") + named("q", "hwmon-board", "device = \"56\"")).said, "");
}
/// So that one device is one meter over all buses.
TEST(SysfsConfig, SaysWhereEachMeterIs) {
  SysfsTree tree;
  const auto at = [&](const std::string& instrument, const std::string& keys) { return read_config(tree.root(), meter(instrument, keys)).spec().meters[0].at; };
  EXPECT_EQ(at("w1-thermometer", "rom = \"" + rom + "\""), rom);
  EXPECT_EQ(at("hwmon-board", "chip = \"board\"\ndevice = \"board.656\""), "hwmon board board.656");
  EXPECT_EQ(at("iio-adc-4ch", "chip = \"adc4\""), "iio adc4");
}

struct Converter {
  SysfsTree tree;
  std::string folder = tree.iio("i2c-1/1-0048", 0, "adc4");
  std::unique_ptr<Bus> bus = make(tree, meter("iio-adc-4ch", "chip = \"adc4\""));

  Converter() {
    for (int i = 0; i < 4; ++i) tree.write(folder + "/in_voltage" + std::to_string(i) + "_raw", std::to_string(1000 * (i + 1)) + "\n");
    tree.write(folder + "/in_voltage_scale", "0.125000000\n");
  }
};

TEST(Iio, ReckonsCountsByTheCommonScale) {
  Converter converter;
  const MeterReply reply = converter.bus->read(0);
  EXPECT_DOUBLE_EQ(reply.channels[0].value, 0.125) << reply.trouble;
  EXPECT_DOUBLE_EQ(reply.channels[3].value, 0.5);
  EXPECT_EQ(reply.identity, "devices/i2c-1/1-0048");
}
TEST(Iio, ItsOwnScaleGoesBeforeTheCommonOneAndTheOffsetBeforeBoth) {
  Converter converter;
  converter.tree.write(converter.folder + "/in_voltage1_scale", "0.5\n");
  converter.tree.write(converter.folder + "/in_voltage1_offset", "-400\n");
  const MeterReply reply = converter.bus->read(0);
  EXPECT_DOUBLE_EQ(reply.channels[1].value, 0.8);
  EXPECT_DOUBLE_EQ(reply.channels[0].value, 0.125);
}
TEST(Iio, CountsWithoutAScaleAreNoVolts) {
  Converter converter;
  tests::fs::remove(converter.tree.root() + "/" + converter.folder + "/in_voltage_scale");
  EXPECT_EQ(converter.bus->read(0).channels[0].quality, Quality::no_answer);
}
TEST(Iio, ABrokenScaleIsNotIgnored) {
  Converter converter;
  for (const char* text : {"much", "0", ""}) {
    converter.tree.write(converter.folder + "/in_voltage_scale", text);
    EXPECT_EQ(converter.bus->read(0).channels[0].quality, Quality::implausible) << text;
  }
}

TEST(Iio, AnOffsetThatCannotBeReadIsNoOffsetOfZero) {
  for (const char* name : {"in_voltage0_offset", "in_voltage_offset"}) {
    Converter converter;
    tests::fs::create_directory(converter.tree.root() + "/" + converter.folder + "/" + name);
    const MeterReply reply = converter.bus->read(0);
    EXPECT_EQ(reply.channels[0].quality, Quality::no_answer) << name;
    EXPECT_TRUE(holds(reply.trouble, std::string(name) + ": ")) << reply.trouble;
  }
}
TEST(Iio, AScaleOfItsOwnThatCannotBeReadIsNotTheCommonOne) {
  Converter converter;
  tests::fs::create_directory(converter.tree.root() + "/" + converter.folder + "/in_voltage0_scale");
  EXPECT_EQ(converter.bus->read(0).channels[0].quality, Quality::no_answer);
}

/// One channel of a converter whose other files the test writes.
struct OneChannel {
  SysfsTree tree;
  std::string folder = tree.iio("i2c-1/1-005a", 0, "far");
  std::unique_ptr<SysfsBus> bus;

  OneChannel(Quantity quantity, const std::string& file) {
    Channel channel;
    channel.name = "one";
    channel.quantity = quantity;
    channel.file = file;
    bus = std::make_unique<SysfsBus>(tree.root(), std::vector{MeterSetup{.name = "m", .instrument = {"", Kind::iio, {channel}}, .rom = {}, .chip = "far", .device = {}, .identity = {}}});
    put(file, "1000");
  }
  void put(const std::string& file, const std::string& text) const { tree.write(folder + "/" + file, text + "\n"); }
  double value() const {
    const MeterReply reply = bus->read(0);
    EXPECT_EQ(reply.channels[0].quality, Quality::good) << reply.trouble;
    return reply.channels[0].value;
  }
};

struct SharedFiles {
  const char* name;
  Quantity quantity;
  const char* channel;  ///< its raw figure is 1000
  std::vector<std::pair<const char*, const char*>> files;
  double value;
};
void PrintTo(const SharedFiles& files, std::ostream* out) { *out << files.channel; }

class IioShared : public testing::TestWithParam<SharedFiles> {};

TEST_P(IioShared, ScaleAndOffsetAreFoundWhereTheKernelPutsThem) {
  const SharedFiles& shared = GetParam();
  OneChannel channel(shared.quantity, shared.channel);
  for (const auto& [file, text] : shared.files) channel.put(file, text);
  EXPECT_DOUBLE_EQ(channel.value(), shared.value);
}

// The names are those of the kernel's Documentation/ABI/testing/sysfs-bus-iio; (raw + offset) scale is the value, in milli for temperatures and volts.
INSTANTIATE_TEST_SUITE_P(Kernel, IioShared, testing::Values(
    SharedFiles{"of_all_of_its_type", Quantity::temperature, "in_temp_ambient_raw", {{"in_temp_scale", "20"}, {"in_temp_offset", "-500"}}, 10000.0},
    SharedFiles{"a_scale_of_its_own_hides_no_shared_offset", Quantity::temperature, "in_temp_ambient_raw", {{"in_temp_ambient_scale", "20"}, {"in_temp_offset", "-500"}}, 10000.0},
    SharedFiles{"type_before_all", Quantity::voltage, "in_voltage3_supply_raw", {{"in_voltage_scale", "2"}}, 2000.0},
    SharedFiles{"name_before_type", Quantity::voltage, "in_voltage3_supply_raw", {{"in_voltage_scale", "2"}, {"in_voltage_supply_scale", "3"}}, 3000.0},
    SharedFiles{"its_own_before_its_name", Quantity::voltage, "in_voltage3_supply_raw", {{"in_voltage_supply_scale", "3"}, {"in_voltage3_supply_scale", "4"}}, 4000.0},
    SharedFiles{"a_difference_has_that_of_differences", Quantity::voltage, "in_voltage0-voltage1_raw", {{"in_voltage_scale", "7"}, {"in_voltage-voltage_scale", "0.5"}}, 500.0},
    SharedFiles{"a_mean_is_converted_as_its_reading", Quantity::voltage, "in_voltage2_mean_raw", {{"in_voltage2_scale", "0.25"}, {"in_voltage_offset", "-200"}}, 200.0},
    SharedFiles{"of_all_channels", Quantity::voltage, "in_voltage0_raw", {{"scale", "0.5"}, {"in_offset", "-200"}}, 400.0}),
    [](const auto& which) { return which.param.name; });

std::string said_of(const std::string& instrument_text) {
  Errors errors;
  const document::Node node = document::parse("[[bus]]\nname = \"k\"\ndriver = \"sysfs\"\n[[bus.meter]]\nname = \"m\"\ninstrument = \"x\"\nchip = \"c\"\n", "bench.toml", errors);
  document::Table top(node, "bench.toml", errors);
  auto buses = top.tables("bus");
  (void)read_bus(buses.at(0), [&](const std::string&) -> Result<InstrumentText> { return InstrumentText{"x.toml", instrument_text}; }, errors);
  std::string said;
  for (const Error& error : errors) said += error.text() + "\n";
  return said;
}

TEST(SysfsInstrument, AFileThatHoldsAnotherQuantityIsRefused) {
  EXPECT_TRUE(holds(said_of("[instrument]\nprotocol = \"sysfs\"\nkind = \"hwmon\"\n[[channel]]\nname = \"a\"\nfile = \"temp1_input\"\nquantity = \"voltage\"\nuom = \"V\"\n"), "does not keep a voltage in `temp1_input`"));
}
TEST(SysfsInstrument, NoFileOutsideTheDevicesFolder) {
  EXPECT_TRUE(holds(said_of("[instrument]\nprotocol = \"sysfs\"\nkind = \"hwmon\"\n[[channel]]\nname = \"a\"\nfile = \"../../x\"\nquantity = \"state\"\nuom = \"1\"\n"), "is no file of the device's own folder"));
}
TEST(SysfsInstrument, AFileAndALabelAreOneTooMany) {
  EXPECT_TRUE(holds(said_of("[instrument]\nprotocol = \"sysfs\"\nkind = \"hwmon\"\n[[channel]]\nname = \"a\"\nfile = \"temp1_input\"\nlabel = \"b\"\nquantity = \"temperature\"\nuom = \"Cel\"\n"), "one of the two"));
}

/// Devices trade their numbers while they are read: whatever is called good belongs to the chip that was asked for.
TEST(Hwmon, NeverGivesAnothersValueWhileNumbersAreTraded) {
  Board board;
  board.put(board.tree.hwmon("platform/else.1", 4, "else"), "99000");
  std::atomic<bool> is_over{false};
  std::thread trader([&] {
    int ours = 3, theirs = 4;
    while (!is_over) {
      board.tree.renumber_hwmon("platform/board.656", ours, 9);
      board.tree.renumber_hwmon("platform/else.1", theirs, ours);
      board.tree.renumber_hwmon("platform/board.656", 9, theirs);
      std::swap(ours, theirs);
    }
  });
  int good = 0;
  for (int i = 0; i < 20000; ++i) {
    const MeterReply reply = board.bus->read(0);
    if (reply.channels[0].quality != Quality::good) continue;
    ++good;
    if (reply.channels[0].value != 41.5) ADD_FAILURE() << reply.channels[0].value;
  }
  is_over = true;
  trader.join();
  EXPECT_GT(good, 100);
}

}  // namespace
}  // namespace steadyglow::drivers::sysfs
