#include <gtest/gtest.h>
#include <unistd.h>

#include <filesystem>
#include <fstream>

#include "app/settings.hpp"

namespace steadyglow::app {
namespace {

namespace fs = std::filesystem;

/// A unit behind a plug that is reached through a broker.
class SecondCut : public ::testing::Test {
 protected:
  void SetUp() override {
    fs::create_directories(folder_ / "profiles");
    fs::create_directories(folder_ / "plans");
    std::ofstream(folder_ / "profiles/preamp.toml") << "[profile]\nkind = \"line-preamp\"\n[[point]]\nname = \"mains_power\"\nquantity = \"power\"\nuom = \"W\"\nrole = \"mains_power\"\n";
    std::ofstream(folder_ / "plans/short.toml") << "[plan]\ntitle = \"short\"\n[[stage]]\nkind = \"baseline\"\nminutes = 30\n[[stage]]\nkind = \"idle_soak\"\nminutes = 60\n";
  }
  void TearDown() override { fs::remove_all(folder_); }

  /// What is wrong with a bench that has this contactor; empty when all is well.
  std::string said(const std::string& bench) {
    std::ofstream(folder_ / "shop.toml") << "[daemon]\nstore = \"s.db\"\nlisten = \"127.0.0.1:8460\"\ninstrument_folder = \"" STEADYGLOW_SOURCE_DIR "/config/instruments\"\n"
                                         << "[[bus]]\nname = \"air\"\ndriver = \"mqtt\"\nhost = \"127.0.0.1\"\n"
                                         << "[[bus.meter]]\nname = \"plug\"\ninstrument = \"mqtt-plug\"\ndevice = \"bench/plug_1\"\n"
                                         << "[[bus.meter]]\nname = \"plug_2\"\ninstrument = \"mqtt-plug\"\ndevice = \"bench/plug_2\"\n"
                                         << "[[bus]]\nname = \"wire\"\ndriver = \"modbus_tcp\"\nhost = \"127.0.0.1\"\n[[bus.meter]]\nname = \"relays\"\ninstrument = \"relay-bench\"\naddress = 1\n"
                                         << "[[bench]]\nname = \"bench 1\"\n" << bench
                                         << "[[unit]]\nname = \"hollin\"\nbench = \"bench 1\"\nprofile = \"preamp\"\nplan = \"short\"\n[unit.outlet]\nmeter = \"plug\"\noutput = \"outlet\"\n[[unit.point]]\nname = \"mains_power\"\nchannel = \"plug.watts\"\n";
    Errors errors;
    (void)load_settings((folder_ / "shop.toml").string(), errors);
    std::string text;
    for (const Error& error : errors) text += error.text() + "\n";
    return text;
  }

 private:
  const fs::path folder_ = fs::path(::testing::TempDir()) / ("second_cut_" + std::to_string(::getpid()));
};

TEST_F(SecondCut, APlugAloneIsRefusedWithTheReason) {
  const std::string text = said("");
  EXPECT_NE(text.find("an outlet on `air` is not enough to cut a unit"), std::string::npos) << text;
  EXPECT_NE(text.find("give the bench a [bench.contactor] on a relay module"), std::string::npos) << text;
}
TEST_F(SecondCut, AContactorOnARelayModuleIsOne) { EXPECT_EQ(said("[bench.contactor]\nmeter = \"relays\"\noutput = \"contactor_1\"\n"), ""); }
TEST_F(SecondCut, AnotherPlugIsNone) {
  const std::string text = said("[bench.contactor]\nmeter = \"plug_2\"\noutput = \"outlet\"\n");
  EXPECT_NE(text.find("is not enough to cut a unit"), std::string::npos) << text;
}

}  // namespace
}  // namespace steadyglow::app
