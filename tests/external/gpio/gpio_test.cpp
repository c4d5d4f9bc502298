#include "drivers/gpio/gpio_bus.hpp"

#include <gtest/gtest.h>
#include <sys/wait.h>
#include <unistd.h>

#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <sstream>

#include "drivers/registry.hpp"
#include "support/house_instruments.hpp"

namespace steadyglow::drivers::gpio {
namespace {

namespace fs = std::filesystem;

bool holds(const std::string& text, std::string_view part) { return text.find(part) != std::string::npos; }

tests::BusesRead read_config(const std::string& chip, const std::string& more = {}, const std::string& second = {}) {
  return tests::read_buses("[[bus]]\nname = \"lines\"\ndriver = \"gpio\"\nchip = \"" + chip + "\"\n[[bus.meter]]\nname = \"contacts\"\ninstrument = \"gpio-contacts\"\n" + more + second, tests::house_instrument);
}

/// The lines of config/instruments/gpio-contacts.toml.
constexpr unsigned smoke = 2, fan = 4, relay_1 = 5, relay_2 = 6;
constexpr std::size_t smoke_channel = 0, fan_channel = 2;

/// One chip of eight lines, with all loops closed.
struct Chip {
  fs::path folder = fs::path(::testing::TempDir()) / ("gpio_" + std::to_string(::getpid()));

  Chip() {
    fs::remove_all(folder);
    add(0, "bench-lines");
    for (const unsigned line : {smoke, 3u, fan}) drive(line, "0");
    ::setenv("STEADYGLOW_GPIO_FOLDER", folder.c_str(), 1);
  }
  ~Chip() { fs::remove_all(folder); }
  Chip(const Chip&) = delete;
  Chip& operator=(const Chip&) = delete;

  fs::path place(int number = 0) const { return folder / ("gpiochip" + std::to_string(number)); }
  void add(int number, const std::string& label) const {
    fs::create_directories(place(number));
    std::ofstream(place(number) / "label") << label << "\n";
    std::ofstream(place(number) / "lines") << "8\n";
  }
  void drive(unsigned line, const std::string& level) const { std::ofstream(place() / ("line" + std::to_string(line))) << level; }
  void cut_wire(unsigned line) const { fs::remove(place() / ("line" + std::to_string(line))); }
  /// The level on an output's pin, as the last holder left it.
  char pin(unsigned line) const {
    std::ifstream stream(place() / ("line" + std::to_string(line) + ".held"));
    std::string flags, level;
    stream >> flags >> level;
    return level.empty() ? '?' : level[0];
  }
  std::unique_ptr<Bus> bus() const { return read_config("bench-lines").spec().make(); }
};

TEST(Gpio, ALoopThatIsClosedIsQuiet) {
  Chip chip;
  const MeterReply reply = chip.bus()->read(0);
  ASSERT_TRUE(reply.is_answered) << reply.trouble;
  EXPECT_EQ(reply.trouble, "");
  for (const ChannelValue& channel : reply.channels) {
    EXPECT_EQ(channel.quality, Quality::good);
    EXPECT_EQ(channel.value, 0.0);
  }
}
TEST(Gpio, SmokeOpensTheLoop) {
  Chip chip;
  const auto bus = chip.bus();
  (void)bus->read(0);
  chip.drive(smoke, "1");
  const MeterReply reply = bus->read(0);
  EXPECT_EQ(reply.channels[smoke_channel].value, 1.0);
  EXPECT_EQ(reply.channels[fan_channel].value, 0.0);
}
TEST(Gpio, ABrokenWireAlarms) {
  Chip chip;
  const auto bus = chip.bus();
  chip.cut_wire(smoke);
  EXPECT_EQ(bus->read(0).channels[smoke_channel].value, 1.0);
}
TEST(Gpio, EveryRelayIsOffBeforeItsFirstOrder) {
  Chip chip;
  const auto bus = chip.bus();
  (void)bus->read(0);
  EXPECT_EQ(chip.pin(relay_1), '0');
  EXPECT_EQ(chip.pin(relay_2), '1') << "this one pulls on a low level";
}
TEST(Gpio, SwitchesAndReadsBack) {
  Chip chip;
  const auto bus = chip.bus();
  ASSERT_TRUE(bus->write_output(0, 0, true).has_value());
  ASSERT_TRUE(bus->write_output(0, 1, true).has_value());
  EXPECT_EQ(chip.pin(relay_1), '1');
  EXPECT_EQ(chip.pin(relay_2), '0');
  EXPECT_EQ(bus->read_output(0, 0), true);
  ASSERT_TRUE(bus->write_output(0, 1, false).has_value());
  EXPECT_EQ(bus->read_output(0, 1), false);
  EXPECT_EQ(chip.pin(relay_2), '1');
}
TEST(Gpio, EveryRelayIsOffWhenTheBusIsClosed) {
  Chip chip;
  {
    const auto bus = chip.bus();
    ASSERT_TRUE(bus->write_output(0, 0, true).has_value());
    ASSERT_TRUE(bus->write_output(0, 1, true).has_value());
  }
  EXPECT_EQ(chip.pin(relay_1), '0');
  EXPECT_EQ(chip.pin(relay_2), '1');
}
TEST(Gpio, AKilledProcessLeavesItsLinesToTheNextOneWhichSwitchesThemOff) {
  Chip chip;
  const pid_t child = ::fork();
  if (child == 0) {
    const auto bus = chip.bus();
    (void)bus->write_output(0, 0, true);
    ::_exit(0);
  }
  int status = 0;
  ::waitpid(child, &status, 0);
  ASSERT_EQ(chip.pin(relay_1), '1') << "the stand-in does as the kernel may: the line stays as it was";
  const auto bus = chip.bus();
  (void)bus->read(0);
  EXPECT_EQ(chip.pin(relay_1), '0');
}
TEST(Gpio, ALineThatDoesNotFollowIsSaid) {
  Chip chip;
  const auto bus = chip.bus();
  (void)bus->read(0);
  std::ofstream(chip.place() / "short5") << "";
  const auto done = bus->write_output(0, 0, true);
  ASSERT_FALSE(done.has_value());
  EXPECT_TRUE(holds(done.error().message, "does not follow")) << done.error().message;
}
TEST(Gpio, FollowsItsChipToAnotherNumber) {
  Chip chip;
  fs::rename(chip.place(0), chip.place(3));
  chip.add(0, "something-else");
  EXPECT_TRUE(chip.bus()->read(0).is_answered);
}
TEST(Gpio, DoesNotChooseBetweenTwins) {
  Chip chip;
  chip.add(4, "bench-lines");
  const MeterReply reply = chip.bus()->read(0);
  EXPECT_FALSE(reply.is_answered);
  EXPECT_TRUE(holds(reply.trouble, "/dev/gpiochip0 and /dev/gpiochip4")) << reply.trouble;
}
TEST(Gpio, NamesWhatIsThereInstead) {
  Chip chip;
  std::ofstream(chip.place() / "label") << "something-else\n";
  const MeterReply reply = chip.bus()->read(0);
  EXPECT_EQ(reply.channels[smoke_channel].quality, Quality::no_answer);
  EXPECT_TRUE(holds(reply.trouble, "no chip is labelled `bench-lines`; there is something-else")) << reply.trouble;
}
TEST(Gpio, AChipThatWasPulledIsMissedAndFoundAgainWithItsRelaysOff) {
  Chip chip;
  const auto bus = chip.bus();
  ASSERT_TRUE(bus->write_output(0, 0, true).has_value());
  std::ofstream(chip.place() / "gone") << "";
  EXPECT_EQ(bus->read(0).channels[smoke_channel].quality, Quality::no_answer);
  EXPECT_FALSE(bus->write_output(0, 0, true).has_value());
  fs::remove(chip.place() / "gone");
  EXPECT_EQ(bus->read(0).channels[smoke_channel].quality, Quality::good);
  EXPECT_EQ(bus->read_output(0, 0), false);
  EXPECT_EQ(bus->counters().reconnects, 1u);
}
TEST(Gpio, ALineThatAnotherHoldsCostsItselfOnlyAndIsNamed) {
  Chip chip;
  const auto first = chip.bus();
  (void)first->read(0);
  MeterReply reply = chip.bus()->read(0);
  EXPECT_FALSE(reply.is_answered);
  EXPECT_TRUE(holds(reply.trouble, "held by `steadyglow`")) << reply.trouble;
}
TEST(Gpio, ALineBeyondTheChipIsSaid) {
  Chip chip;
  std::ofstream(chip.place() / "lines") << "4\n";
  const MeterReply reply = chip.bus()->read(0);
  EXPECT_EQ(reply.channels[smoke_channel].quality, Quality::good);
  EXPECT_EQ(reply.channels[fan_channel].quality, Quality::no_answer);
  EXPECT_TRUE(holds(reply.trouble, "the chip has no such line")) << reply.trouble;
}

TEST(GpioConfig, ANumberThatMovesIsNoName) { EXPECT_TRUE(holds(read_config("gpiochip0").said, "may be another chip after the next restart")); }
TEST(GpioConfig, AContactHasNoIdentity) { EXPECT_TRUE(holds(read_config("bench-lines", "identity = \"x\"\n").said, "a contact cannot be asked who it is")); }
TEST(GpioConfig, OneLineHasOneWire) {
  EXPECT_TRUE(holds(read_config("bench-lines", "", "[[bus.meter]]\nname = \"more\"\ninstrument = \"gpio-contacts\"\n").said, "line 2 is both `contacts.smoke` and `more.smoke`"));
}
TEST(GpioConfig, AnotherProtocolsInstrumentIsRefused) {
  const auto read = tests::read_buses("[[bus]]\nname = \"l\"\ndriver = \"gpio\"\nchip = \"a\"\n[[bus.meter]]\nname = \"m\"\ninstrument = \"w1-thermometer\"\n", tests::house_instrument);
  EXPECT_TRUE(read.buses.empty());
  EXPECT_TRUE(holds(read.said, "this instrument speaks sysfs")) << read.said;
}

}  // namespace
}  // namespace steadyglow::drivers::gpio
