#include "app/meter_watch.hpp"

#include <gtest/gtest.h>

namespace steadyglow::app {
namespace {

class MeterWatchTest : public testing::Test {
 protected:
  static drivers::BusSpec bus() {
    drivers::BusSpec spec;
    spec.name = "line";
    spec.meters.push_back({.name = "dmm", .instrument = "scpi", .channels = {}, .outputs = {}, .identity = "MODEL A,7"});
    return spec;
  }
  void answers(const std::string& identity, bool is_stranger, bool is_answered = true) {
    drivers::MeterReply reply;
    reply.is_answered = is_answered;
    reply.identity = identity;
    reply.is_stranger = is_stranger;
    if (is_stranger) reply.trouble = "`" + identity + "` answers where `MODEL A,7` is bound";
    watch.take({0, 0, {}, reply}, alarms, Timestamp{});
  }
  std::size_t standing() const {
    std::size_t count = 0;
    for (const alarm::Fact& fact : alarms.facts()) count += fact.kind == stranger_alarm && fact.is_condition_true ? 1 : 0;
    return count;
  }

  BenchAlarms alarms{[](const alarm::Fact&) {}, [](const std::string&) {}};
  MeterWatch watch{{bus()}};
};

TEST_F(MeterWatchTest, AnotherMeterIsToldOnceWithBothNames) {
  answers("MODEL A,7", false);
  EXPECT_EQ(standing(), 0u);
  answers("MODEL B,9", true);
  answers("MODEL B,9", true);
  ASSERT_EQ(alarms.facts().size(), 1u);
  EXPECT_NE(alarms.facts()[0].message.find("`MODEL B,9` answers where `MODEL A,7` is bound"), std::string::npos) << alarms.facts()[0].message;
  EXPECT_EQ(standing(), 1u);
}

TEST_F(MeterWatchTest, SilenceChangesNothingAndTheRightOneEndsIt) {
  answers("MODEL B,9", true);
  answers("", false, false);
  EXPECT_EQ(standing(), 1u);
  EXPECT_EQ(watch.identity("dmm"), "MODEL B,9");
  answers("MODEL A,7", false);
  EXPECT_EQ(standing(), 0u);
  EXPECT_EQ(watch.identity("dmm"), "MODEL A,7");
}

}  // namespace
}  // namespace steadyglow::app
