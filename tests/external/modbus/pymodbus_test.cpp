/// The driver against a device that somebody else wrote: pymodbus over TCP, and over a serial line made by socat.
#include <fcntl.h>
#include <gtest/gtest.h>
#include <poll.h>
#include <signal.h>
#include <spawn.h>
#include <sys/wait.h>
#include <unistd.h>

#include <cctype>
#include <chrono>
#include <cstdlib>
#include <filesystem>
#include <map>
#include <memory>
#include <string>
#include <thread>
#include <vector>

#include "drivers/registry.hpp"

extern char** environ;

namespace steadyglow::drivers {
namespace {

using namespace std::chrono_literals;

/// A program of ours for the length of a test: its input is held open, its output is read line by line.
class Program {
 public:
  explicit Program(const std::vector<std::string>& words) {
    int in[2];
    int out[2];
    if (::pipe2(in, O_CLOEXEC) != 0 || ::pipe2(out, O_CLOEXEC) != 0) std::abort();
    posix_spawn_file_actions_t actions;
    posix_spawn_file_actions_init(&actions);
    posix_spawn_file_actions_adddup2(&actions, in[0], 0);
    posix_spawn_file_actions_adddup2(&actions, out[1], 1);
    std::vector<char*> arguments;
    for (const std::string& word : words) arguments.push_back(const_cast<char*>(word.c_str()));
    arguments.push_back(nullptr);
    EXPECT_EQ(::posix_spawn(&id_, arguments[0], &actions, nullptr, arguments.data(), environ), 0) << words[0];
    posix_spawn_file_actions_destroy(&actions);
    ::close(in[0]);
    ::close(out[1]);
    input_ = in[1];
    output_ = out[0];
  }
  Program(const Program&) = delete;
  Program& operator=(const Program&) = delete;
  ~Program() { stop(); }

  void stop() {
    if (id_ <= 0) return;
    ::close(input_);
    ::kill(id_, SIGTERM);
    ::waitpid(id_, nullptr, 0);
    ::close(output_);
    id_ = 0;
  }

  /// The next line of its output, or what came of it in ten seconds.
  std::string line() {
    std::string text;
    for (char c = 0; is_output_there() && ::read(output_, &c, 1) == 1 && c != '\n';) text += c;
    return text;
  }

 private:
  bool is_output_there() const {
    pollfd state{output_, POLLIN, 0};
    return ::poll(&state, 1, 10000) > 0;
  }
  pid_t id_ = 0;
  int input_ = -1;
  int output_ = -1;
};

const std::string server = std::string(STEADYGLOW_SOURCE_DIR) + "/tests/external/modbus/server.py";

std::string channel(const std::string& name, const std::string& table, int address, const std::string& type, const std::string& more = "") {
  return "[[channel]]\nname = \"" + name + "\"\ntable = \"" + table + "\"\naddress = " + std::to_string(address) +
         (type.empty() ? "" : "\ntype = \"" + type + "\"") + "\nquantity = \"" + (type.empty() ? "state" : "voltage") + "\"\nuom = \"" + (type.empty() ? "1" : "V") + "\"\n" + more;
}

std::string instrument_text() {
  std::string text = "[instrument]\nprotocol = \"modbus\"\n";
  text += channel("bias", "input", 0, "int16", "scale = 0.001\n");
  text += channel("negative", "input", 1, "int16", "scale = 0.1\n");
  text += channel("open", "input", 2, "int16", "sentinel = [ { raw = 32767, quality = \"open_sensor\" } ]\n");
  text += channel("unsigned", "input", 3, "uint16", "plausible = { high = 50000 }\n");
  int address = 100;
  for (const std::string order : {"ABCD", "CDAB", "BADC", "DCBA"})
    for (const std::string type : {"float32", "int32", "uint32"}) {
      std::string name = type + "_" + order;
      for (char& c : name) c = static_cast<char>(std::tolower(c));
      text += channel(name, "input", address, type, "word_order = \"" + order + "\"\n");
      address += 2;
    }
  text += channel("held", "holding", 0, "uint16");
  text += channel("missing", "holding", 3, "uint16");  // the device has three
  text += channel("door", "discrete", 1, "");
  text += "[[output]]\nname = \"outlet_1\"\ncoil = 0\n[[output]]\nname = \"outlet_2\"\ncoil = 7\n";
  return text;
}

std::unique_ptr<Bus> make_bus(const std::string& keys, std::map<std::string, std::size_t>& channels) {
  const std::string toml = "[[bus]]\nname = \"outside\"\n" + keys +
                           "timeout_seconds = 0.4\n[[bus.meter]]\nname = \"m\"\ninstrument = \"outside\"\naddress = 1\n"
                           "[[bus.meter]]\nname = \"absent\"\ninstrument = \"outside\"\naddress = 9\n";
  Errors errors;
  const document::Node root = document::parse(toml, "bench.toml", errors);
  document::Table top(root, "bench.toml", errors);
  auto buses = top.tables("bus");
  const auto spec = read_bus(buses.at(0), [](const std::string&) { return InstrumentText{"outside.toml", instrument_text()}; }, errors);
  if (!spec) {
    for (const Error& error : errors) ADD_FAILURE() << error.text();
    return nullptr;
  }
  for (std::size_t i = 0; i < spec->meters[0].channels.size(); ++i) channels[spec->meters[0].channels[i].name] = i;
  return spec->make();
}

/// Both links give the same; only the way there differs.
class Outside : public testing::TestWithParam<std::string> {
 protected:
  void SetUp() override {
    GetParam() == "tcp" ? start_tcp() : start_rtu();
    ASSERT_TRUE(bus);
  }
  void TearDown() override { std::filesystem::remove_all(folder); }

  void start_tcp() {
    device = std::make_unique<Program>(std::vector<std::string>{"/usr/bin/python3", server, "tcp"});
    const std::string said = device->line();
    ASSERT_EQ(said.rfind("port ", 0), 0u) << "pymodbus did not start (Debian packages python3-pymodbus and python3-serial-asyncio): " << said;
    bus = make_bus("driver = \"modbus_tcp\"\nhost = \"127.0.0.1\"\nport = " + said.substr(5) + "\n", channels);
  }

  void start_rtu() {
    folder = std::filesystem::temp_directory_path() / ("steadyglow_line_" + std::to_string(::getpid()));
    std::filesystem::create_directories(folder);
    const std::string ours = (folder / "ours").string();
    const std::string theirs = (folder / "theirs").string();
    line = std::make_unique<Program>(std::vector<std::string>{"/usr/bin/socat", "pty,rawer,link=" + ours, "pty,rawer,link=" + theirs});
    for (int i = 0; i < 500 && !(std::filesystem::exists(ours) && std::filesystem::exists(theirs)); ++i) std::this_thread::sleep_for(10ms);
    device = std::make_unique<Program>(std::vector<std::string>{"/usr/bin/python3", server, "rtu", theirs});
    ASSERT_EQ(device->line(), "ready") << "pymodbus did not start (Debian packages python3-pymodbus and python3-serial-asyncio)";
    bus = make_bus("driver = \"modbus_rtu\"\ndevice = \"" + ours + "\"\nbaud = 115200\nparity = \"none\"\n", channels);
  }

  ChannelValue value(const MeterReply& reply, const std::string& name) const { return reply.channels.at(channels.at(name)); }

  std::filesystem::path folder = "/nonexistent";
  std::unique_ptr<Program> line;
  std::unique_ptr<Program> device;
  std::map<std::string, std::size_t> channels;
  std::unique_ptr<Bus> bus;
};

TEST_P(Outside, ReadsWhatPymodbusHolds) {
  const MeterReply reply = bus->read(0);
  ASSERT_TRUE(reply.is_answered) << reply.trouble;
  EXPECT_DOUBLE_EQ(value(reply, "bias").value, 0.380);
  EXPECT_DOUBLE_EQ(value(reply, "negative").value, -24.5);
  EXPECT_EQ(value(reply, "open").quality, Quality::open_sensor);
  EXPECT_EQ(value(reply, "unsigned").quality, Quality::implausible);
  EXPECT_EQ(value(reply, "unsigned").value, 60000.0);
  EXPECT_EQ(value(reply, "held").value, 555.0);
  EXPECT_EQ(value(reply, "held").quality, Quality::good);
  EXPECT_EQ(value(reply, "missing").quality, Quality::refused);
  EXPECT_EQ(value(reply, "door").value, 1.0);
}

TEST_P(Outside, ReadsEveryWordOrderAsPymodbusLaysItOut) {
  const MeterReply reply = bus->read(0);
  for (const std::string order : {"abcd", "cdab", "badc", "dcba"}) {
    EXPECT_EQ(value(reply, "float32_" + order).value, 230.5) << order;
    EXPECT_EQ(value(reply, "int32_" + order).value, -40000.0) << order;
    EXPECT_EQ(value(reply, "uint32_" + order).value, 912351.0) << order;
    EXPECT_EQ(value(reply, "uint32_" + order).quality, Quality::good) << order;
  }
}

TEST_P(Outside, SwitchesAndReadsBackItsCoils) {
  for (const bool on : {true, false, true}) {
    const auto written = bus->write_output(0, 1, on);
    ASSERT_TRUE(written) << written.error().text();
    EXPECT_EQ(bus->read_output(0, 1), on);
    EXPECT_EQ(bus->read_output(0, 0), false);
  }
}

TEST_P(Outside, AnAbsentUnitIsNoAnswerAndTheOtherGoesOn) {
  for (int i = 0; i < 3; ++i) {
    EXPECT_FALSE(bus->read(1).is_answered);
    const MeterReply reply = bus->read(0);
    EXPECT_DOUBLE_EQ(value(reply, "bias").value, 0.380) << reply.trouble;
    EXPECT_EQ(value(reply, "bias").quality, Quality::good);
  }
}

TEST_P(Outside, ADeviceThatEndsIsNoAnswerWithinTheDeadline) {
  ASSERT_TRUE(bus->read(0).is_answered);
  device->stop();
  const auto began = std::chrono::steady_clock::now();
  const MeterReply reply = bus->read(0);
  EXPECT_LT(std::chrono::steady_clock::now() - began, bus->call_deadline());
  EXPECT_FALSE(reply.is_answered);
  EXPECT_EQ(value(reply, "bias").quality, Quality::no_answer);
}

INSTANTIATE_TEST_SUITE_P(Over, Outside, testing::Values("tcp", "rtu"),
                         [](const auto& link) { return link.param; });

}  // namespace
}  // namespace steadyglow::drivers
