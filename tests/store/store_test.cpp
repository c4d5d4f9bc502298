#include "store/store.hpp"

#include <gtest/gtest.h>

#include <thread>
#include <vector>

#include "store/store_files.hpp"

namespace steadyglow::store {
namespace {

using namespace std::chrono_literals;

TEST(Store, GivesInputsBackInTheOrderTheyWereFed) {
  Folder folder;
  auto store = opened(folder.file());
  const auto run = store->begin_run(a_run());
  const auto other = store->begin_run(a_run("tarnmoor2"));
  for (int i = 0; i < 2500; ++i) {
    store->append_readings(run, at_ms(1000 * i), std::vector{good(0, at_ms(1000 * i), i)});
    store->append_readings(other, at_ms(1000 * i), std::vector{good(0, at_ms(1000 * i), -i)});
    if (i % 500 == 100) store->append_input(run, at_ms(1000 * i), "acknowledge", "{\"alarm\":" + std::to_string(i) + "}");
    if (i % 500 == 100) store->append_event(run, at_ms(1000 * i), "alarm", "{}");
  }
  ASSERT_TRUE(store->flush());
  auto reader = read(folder.file());
  const auto inputs = inputs_of(*reader, run);
  ASSERT_EQ(inputs.size(), 2505u);
  std::size_t at = 0;
  for (int i = 0; i < 2500; ++i) {
    ASSERT_EQ(inputs[at].kind, input_kind_readings);
    ASSERT_EQ(inputs[at].at, at_ms(1000 * i));
    ASSERT_EQ(inputs[at++].readings.at(0).value(), i);
    if (i % 500 != 100) continue;
    ASSERT_EQ(inputs[at].kind, "acknowledge");
    ASSERT_EQ(inputs[at++].json, "{\"alarm\":" + std::to_string(i) + "}");
  }
  EXPECT_EQ(reader->damage().rows, 0u);
}

TEST(Store, GivesARunBackAsItWasBegun) {
  Folder folder;
  auto store = opened(folder.file());
  const auto id = store->begin_run(a_run());
  ASSERT_TRUE(store->flush());
  auto reader = read(folder.file());
  const auto run = reader->run(id);
  ASSERT_TRUE(run && *run);
  const RunRow expected = a_run();
  EXPECT_EQ((*run)->unit, expected.unit);
  EXPECT_EQ((*run)->title, expected.title);
  EXPECT_EQ((*run)->serial, expected.serial);
  EXPECT_EQ((*run)->profile_name, expected.profile_name);
  EXPECT_EQ((*run)->profile_text, expected.profile_text);
  EXPECT_EQ((*run)->plan_name, expected.plan_name);
  EXPECT_EQ((*run)->plan_text, expected.plan_text);
  EXPECT_EQ((*run)->started_utc, expected.started_utc);
  EXPECT_EQ((*run)->boot_id, expected.boot_id);
  EXPECT_EQ((*run)->started_boottime_ms, expected.started_boottime_ms);
  EXPECT_EQ((*run)->started_by, expected.started_by);
  EXPECT_EQ((*run)->points, expected.points);
  EXPECT_EQ((*run)->state, "running");
}

TEST(Store, KnowsThatARunHasEnded) {
  Folder folder;
  auto store = opened(folder.file());
  const auto first = store->begin_run(a_run());
  const auto second = store->begin_run(a_run());
  store->end_run(second, "2026-02-01T22:00:00.000Z");
  ASSERT_TRUE(store->flush());
  const auto runs = read(folder.file())->runs();
  ASSERT_TRUE(runs);
  ASSERT_EQ(runs->size(), 2u);
  EXPECT_EQ(runs->at(0).id, first);
  EXPECT_EQ(runs->at(0).state, "running");
  EXPECT_EQ(runs->at(1).state, "ended");
  EXPECT_EQ(runs->at(1).ended_utc, "2026-02-01T22:00:00.000Z");
}

TEST(Store, KeepsWhatIsAcknowledgedAfterTheEnd) {
  Folder folder;
  auto store = opened(folder.file());
  const auto run = store->begin_run(a_run());
  store->end_run(run, "2026-02-01T22:00:00.000Z");
  store->append_input(run, at_ms(5), "acknowledge", "{}");
  ASSERT_TRUE(store->flush());
  EXPECT_EQ(inputs_of(*read(folder.file()), run).size(), 1u);
}

TEST(Store, GoesOnCountingWhereItStopped) {
  Folder folder;
  std::int64_t seq = 0, run = 0;
  {
    auto store = opened(folder.file());
    run = store->begin_run(a_run());
    store->append_readings(run, at_ms(1), std::vector{good(0, at_ms(1), 1.0)});
    seq = store->append_event(run, at_ms(1), "stage", "{}");
  }
  auto store = opened(folder.file());
  EXPECT_EQ(store->append_input(run, at_ms(2), "resume", "{}"), seq + 1);
  EXPECT_EQ(store->begin_run(a_run()), run + 1);
}

TEST(Store, CommitsReadingsWithinTheTimeAndTheRestAtOnce) {
  Folder folder;
  auto store = opened(folder.file(), {.commit_every = 24h});
  const auto run = store->begin_run(a_run());
  ASSERT_TRUE(store->flush());
  store->append_readings(run, at_ms(1), std::vector{good(0, at_ms(1), 1.0)});
  EXPECT_EQ(inputs_of(*read(folder.file()), run).size(), 0u);
  store->append_event(run, at_ms(1), "alarm", "{}");
  const auto end = std::chrono::steady_clock::now() + 5s;
  while (store->health().queue > 0 && std::chrono::steady_clock::now() < end) std::this_thread::yield();
  EXPECT_EQ(inputs_of(*read(folder.file()), run).size(), 1u);
}

TEST(Store, TakesRowsFromAnyThreadAndKeepsEachRunsOrder) {
  Folder folder;
  auto store = opened(folder.file(), {.commit_every = 1ms});
  std::vector<std::int64_t> runs;
  for (int i = 0; i < 4; ++i) runs.push_back(store->begin_run(a_run()));
  {
    std::vector<std::jthread> threads;
    for (const std::int64_t run : runs)
      threads.emplace_back([&store, run] {
        for (int i = 0; i < 500; ++i) {
          store->append_readings(run, at_ms(i), std::vector{good(0, at_ms(i), i)});
          if (i % 100 == 0) (void)store->health();
        }
      });
  }
  ASSERT_TRUE(store->flush());
  auto reader = read(folder.file());
  for (const std::int64_t run : runs) {
    const auto inputs = inputs_of(*reader, run);
    ASSERT_EQ(inputs.size(), 500u);
    for (int i = 0; i < 500; ++i) ASSERT_EQ(inputs[static_cast<std::size_t>(i)].at, at_ms(i));
  }
}

TEST(Store, RefusesASecondOpener) {
  Folder folder;
  auto store = opened(folder.file());
  const auto second = Store::open(folder.file());
  ASSERT_FALSE(second);
  EXPECT_EQ(second.error().fault, Fault::unavailable);
  EXPECT_NE(second.error().hint, "");
  store.reset();
  EXPECT_TRUE(Store::open(folder.file()));
}

TEST(Store, SaysWhatIsWrongWithAFolderThatIsNotThere) {
  const auto store = Store::open("nowhere/at/all/s.db");
  ASSERT_FALSE(store);
  EXPECT_EQ(store.error().fault, Fault::cannot_create);
  EXPECT_NE(store.error().hint, "");
}

}  // namespace
}  // namespace steadyglow::store
