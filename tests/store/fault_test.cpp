/// A disk that is full, fails, loses power or lets the process be killed: what was acknowledged is there, and the rest comes later.
#include <gtest/gtest.h>
#include <signal.h>
#include <sqlite3.h>
#include <sys/resource.h>
#include <sys/wait.h>

#include <filesystem>
#include <random>

#include "core/decimal.hpp"
#include "store/faulty_disk.hpp"
#include "store/store_files.hpp"

namespace steadyglow::store {
namespace {

using namespace std::chrono_literals;

const StoreOptions impatient{.commit_every = 1ms, .retry_first = 1ms, .retry_max = 2ms};

void feed(Store& store, std::int64_t run, int from, int to) {
  for (int i = from; i < to; ++i) store.append_readings(run, at_ms(i), std::vector{good(0, at_ms(i), 0.1 * i), good(1, at_ms(i), -i)});
}

/// The batches fed by feed() that can be read back, from 0 without a hole; -1 if one is missing or wrong.
int fed_without_a_hole(StoreReader& reader, std::int64_t run) {
  int next = 0;
  for (const InputRow& input : inputs_of(reader, run)) {
    if (input.kind != input_kind_readings) continue;
    if (input.at != at_ms(next) || input.readings.size() != 2 || input.readings[0].value() != 0.1 * next) return -1;
    ++next;
  }
  return reader.damage().rows == 0 ? next : -1;
}

bool becomes(const std::function<bool()>& is_so) {
  const auto end = std::chrono::steady_clock::now() + 5s;
  while (!is_so() && std::chrono::steady_clock::now() < end) std::this_thread::sleep_for(1ms);
  return is_so();
}

class Faults : public testing::Test {
 protected:
  FaultyDisk& disk = FaultyDisk::instance();
  Folder folder;
  Faults() { disk.wait_for_the_medium(false); }
  ~Faults() override {
    disk.heal();
    disk.wait_for_the_medium(true);
  }
};

TEST_F(Faults, WhicheverWriteFailsNothingIsLostAndNothingTwice) {
  for (const int code : {SQLITE_FULL, SQLITE_IOERR_WRITE}) {
    int failures = 0;
    for (int n = 1; n < 400; ++n) {
      const std::string file = folder.file("n" + std::to_string(code) + "_" + std::to_string(n) + ".db");
      disk.heal();
      auto store = opened(file, impatient);
      disk.fail_from(n, 3, code);
      const auto run = store->begin_run(a_run());
      for (int i = 0; i < 10; ++i) {
        feed(*store, run, 5 * i, 5 * i + 5);
        store->append_event(run, at_ms(i), "stage", std::to_string(i));
        ASSERT_TRUE(store->flush()) << n;
      }
      EXPECT_TRUE(store->health().is_ok) << n;
      store.reset();
      const bool has_failed = disk.failed() > 0;
      disk.heal();
      auto reader = read(file);
      ASSERT_EQ(fed_without_a_hole(*reader, run), 50) << n;
      ASSERT_EQ(reader->events(run)->size(), 10u) << n;
      failures += has_failed ? 1 : 0;
      if (!has_failed) break;
    }
    EXPECT_GT(failures, 20);
    EXPECT_LT(failures, 399) << "the loop ended before every operation had its turn";
  }
}

TEST_F(Faults, AFullDiskIsSaidAndMadeGoodWhenThereIsRoomAgain) {
  auto store = opened(folder.file(), impatient);
  const auto run = store->begin_run(a_run());
  ASSERT_TRUE(store->flush());
  disk.fail_from(1, 1 << 30, SQLITE_FULL);
  feed(*store, run, 0, 500);
  ASSERT_TRUE(becomes([&] { return !store->health().is_ok; }));
  EXPECT_NE(store->health().reason.find("free space"), std::string::npos) << store->health().reason;
  EXPECT_FALSE(store->flush(10ms));
  EXPECT_EQ(store->health().queue, 500u);
  disk.heal();
  ASSERT_TRUE(store->flush());
  EXPECT_TRUE(store->health().is_ok);
  EXPECT_EQ(store->health().reason, "");
  EXPECT_EQ(store->health().queue, 0u);
  EXPECT_EQ(store->health().queue_bytes, 0u);
  EXPECT_EQ(fed_without_a_hole(*read(folder.file()), run), 500);
}

TEST_F(Faults, TheKernelsOwnLimitOnAFileIsMadeGoodToo) {
  signal(SIGXFSZ, SIG_IGN);
  rlimit before{};
  getrlimit(RLIMIT_FSIZE, &before);
  auto store = opened(folder.file(), impatient);
  const auto run = store->begin_run(a_run());
  ASSERT_TRUE(store->flush());
  rlimit tight = before;
  tight.rlim_cur = store->health().wal_bytes + 20'000;
  setrlimit(RLIMIT_FSIZE, &tight);
  feed(*store, run, 0, 3000);
  const bool is_told = becomes([&] { return !store->health().is_ok; });
  setrlimit(RLIMIT_FSIZE, &before);
  ASSERT_TRUE(is_told);
  ASSERT_TRUE(store->flush());
  EXPECT_TRUE(store->health().is_ok) << store->health().reason;
  EXPECT_EQ(fed_without_a_hole(*read(folder.file()), run), 3000);
}

TEST_F(Faults, WhatWaitsIsBoundedAndWhatIsDroppedIsCountedAndTold) {
  StoreOptions options = impatient;
  options.queue_bytes_max = 20'000;
  auto store = opened(folder.file(), options);
  const auto run = store->begin_run(a_run());
  ASSERT_TRUE(store->flush());
  disk.fail_from(1, 1 << 30, SQLITE_FULL);
  feed(*store, run, 0, 1000);
  const auto dropped = store->health().dropped;
  EXPECT_GT(dropped, 500u);
  EXPECT_LE(store->health().queue_bytes, 20'000u);
  EXPECT_NE(store->append_event(run, at_ms(1000), "alarm", "{}"), 0);
  disk.heal();
  ASSERT_TRUE(store->flush());
  feed(*store, run, 1000, 1001);
  ASSERT_TRUE(store->flush());
  EXPECT_TRUE(store->health().is_ok);
  EXPECT_EQ(store->health().dropped, dropped);
  const auto events = read(folder.file())->events(run);
  ASSERT_TRUE(events);
  ASSERT_EQ(events->size(), 2u);
  EXPECT_EQ(events->back().kind, event_kind_not_stored);
  EXPECT_EQ(events->back().json, "{\"batches\":" + std::to_string(dropped) + ",\"from_s\":" + to_decimal(seconds_of(at_ms(1000) - Duration(dropped))) + ",\"to_s\":0.999}");
}

TEST_F(Faults, AStoreThatCannotWriteStillClosesInTime) {
  StoreOptions options = impatient;
  options.close_patience = 200ms;
  auto store = opened(folder.file(), options);
  const auto run = store->begin_run(a_run());
  ASSERT_TRUE(store->flush());
  disk.fail_from(1, 1 << 30, SQLITE_IOERR_WRITE);
  feed(*store, run, 0, 10);
  ASSERT_TRUE(becomes([&] { return !store->health().is_ok; }));
  const auto begun = std::chrono::steady_clock::now();
  store.reset();
  EXPECT_LT(std::chrono::steady_clock::now() - begun, 1s);
}

TEST_F(Faults, APowerCutAtAnyMomentTakesNothingThatWasAcknowledged) {
  auto store = opened(folder.file(), impatient);
  const auto run = store->begin_run(a_run());
  ASSERT_TRUE(store->flush());
  const std::string ballast(4000, 'x');
  for (int cut = 0; cut < 40; ++cut) {
    for (int i = 0; i < 60; ++i) {
      feed(*store, run, 60 * cut + i, 60 * cut + i + 1);
      store->append_event(run, at_ms(60 * cut + i), "stage", ballast);  // brings checkpoints into the test
    }
    const auto rows = static_cast<int>(store->health().rows) - 1;  // without the run's own
    const std::string after = folder.file("after" + std::to_string(cut) + ".db");
    disk.cut_power(folder.file(), after);
    auto reader = read(after);
    ASSERT_GE(fed_without_a_hole(*reader, run), rows / 2) << cut;
    ASSERT_GE(static_cast<int>(reader->events(run)->size()), rows / 2) << cut;
  }
  EXPECT_GT(store->health().rows, 1000u);
  EXPECT_GT(std::filesystem::file_size(folder.file()), 1'000'000u) << "no checkpoint fell into the test";
}

/// Appends, flushes and says each time how many are acknowledged; lives until it is killed.
[[noreturn]] void write_until_killed(const std::string& file, int tell) {
  auto store = opened(file, {.commit_every = 2ms});
  const auto run = store->begin_run(a_run());
  for (int count = 0;;) {
    feed(*store, run, count, count + 7);
    count += 7;
    if (!store->flush()) _exit(1);
    const std::int64_t said[2] = {run, count};
    if (write(tell, said, sizeof said) != sizeof said) _exit(1);
  }
}

TEST_F(Faults, AKilledProcessHasLostNothingThatWasAcknowledged) {
  std::mt19937 chance(20260131);
  std::map<std::int64_t, std::int64_t> acknowledged;
  for (int kill_number = 0; kill_number < 30; ++kill_number) {
    int ends[2];
    ASSERT_EQ(pipe(ends), 0);
    const pid_t child = fork();
    if (child == 0) write_until_killed(folder.file(), ends[1]);
    close(ends[1]);
    std::int64_t said[2];
    // Every other time while it opens the file, perhaps; else while it writes for sure.
    if (kill_number % 2 == 0 && ::read(ends[0], said, sizeof said) == sizeof said) acknowledged[said[0]] = said[1];
    std::this_thread::sleep_for(std::chrono::microseconds(chance() % 30'000));
    kill(child, SIGKILL);
    waitpid(child, nullptr, 0);
    while (::read(ends[0], said, sizeof said) == sizeof said) acknowledged[said[0]] = said[1];
    close(ends[0]);
    auto reader = read(folder.file());
    for (const auto& [run, count] : acknowledged) ASSERT_GE(fed_without_a_hole(*reader, run), count) << "run " << run << ", kill " << kill_number;
  }
  EXPECT_GE(acknowledged.size(), 15u);
}

}  // namespace
}  // namespace steadyglow::store
