#include <gtest/gtest.h>

#include <fstream>

#include "store/store_files.hpp"

namespace steadyglow::store {
namespace {

constexpr PointId bias{0}, chassis{2};

class History : public testing::Test {
 protected:
  Folder folder;
  std::unique_ptr<Store> store = opened(folder.file());
  std::int64_t run = store->begin_run(a_run());
  std::unique_ptr<StoreReader> reader;

  HistoryBuckets history(std::vector<PointId> points, Timestamp from, Timestamp to, std::size_t buckets) {
    EXPECT_TRUE(store->flush());
    reader = read(folder.file());
    auto history = reader->history(run, points, from, to, buckets);
    if (!history) throw std::runtime_error(history.error().text());
    return *history;
  }
};

TEST_F(History, GivesMinimumMeanAndMaximumPerBucket) {
  for (int i = 0; i < 40; ++i) store->append_readings(run, at_ms(250 * i), std::vector{good(0, at_ms(250 * i), i % 4 == 3 ? 7.0 : i % 4)});
  const auto h = history({bias}, at_ms(0), at_ms(10'000), 10);
  ASSERT_EQ(h.series.size(), 1u);
  ASSERT_EQ(h.series[0].size(), 10u);
  for (const auto& bucket : h.series[0]) {
    ASSERT_TRUE(bucket);
    EXPECT_EQ(bucket->min, 0.0);
    EXPECT_EQ(bucket->mean, 2.5);
    EXPECT_EQ(bucket->max, 7.0);
    EXPECT_EQ(bucket->count, 4u);
  }
  EXPECT_EQ(h.bucket_seconds(), 1.0);
  EXPECT_EQ(h.bucket_start_seconds(3), 3.0);
}

TEST_F(History, LeavesGapsAndBadReadingsEmpty) {
  store->append_readings(run, at_ms(0), std::vector{good(0, at_ms(0), 1.0), bad(2, at_ms(0), Quality::open_sensor, 99.0)});
  store->append_readings(run, at_ms(1000), std::vector{bad(0, at_ms(1000), Quality::no_answer)});
  store->append_readings(run, at_ms(3000), std::vector{good(0, at_ms(3000), 2.0), good(2, at_ms(3000), 31.0)});
  const auto h = history({chassis, bias}, at_ms(0), at_ms(4000), 4);
  for (const std::size_t b : {0u, 1u, 2u}) EXPECT_FALSE(h.series[0][b]) << b;
  EXPECT_EQ(h.series[0][3]->mean, 31.0);
  EXPECT_EQ(h.series[1][0]->mean, 1.0);
  EXPECT_FALSE(h.series[1][1]);
  EXPECT_FALSE(h.series[1][2]);
  EXPECT_EQ(h.series[1][3]->mean, 2.0);
}

TEST_F(History, TakesTheBeginningAndLeavesTheEnd) {
  for (int i = 0; i <= 10; ++i) store->append_readings(run, at_ms(i), std::vector{good(0, at_ms(i), i)});
  const auto h = history({bias}, at_ms(2), at_ms(8), 3);
  EXPECT_EQ(h.series[0][0]->min, 2.0);
  EXPECT_EQ(h.series[0][0]->max, 3.0);
  EXPECT_EQ(h.series[0][2]->max, 7.0);
}

TEST_F(History, FindsAStretchInTheMiddleOfALongRunAmongOthers) {
  const auto other = store->begin_run(a_run("tarnmoor2"));
  for (int i = 0; i < 20'000; ++i) {
    store->append_readings(run, at_ms(1000 * i), std::vector{good(0, at_ms(1000 * i), i)});
    if (i % 3 == 0) store->append_readings(other, at_ms(500 * i), std::vector{good(0, at_ms(500 * i), -1.0)});
  }
  const auto h = history({bias}, at_ms(15'000'000), at_ms(15'010'000), 10);
  for (std::size_t b = 0; b < 10; ++b) {
    ASSERT_TRUE(h.series[0][b]);
    EXPECT_EQ(h.series[0][b]->count, 1u);
    EXPECT_EQ(h.series[0][b]->mean, 15'000.0 + static_cast<double>(b));
  }
  EXPECT_EQ(*reader->last_readings_at(run), at_ms(19'999'000));
}

TEST_F(History, HasOnlyEmptyBucketsOutsideTheRun) {
  store->append_readings(run, at_ms(0), std::vector{good(0, at_ms(0), 1.0)});
  const auto h = history({bias}, at_ms(1000), at_ms(2000), 5);
  for (const auto& bucket : h.series[0]) EXPECT_FALSE(bucket);
  EXPECT_EQ(*reader->last_readings_at(77), std::nullopt);
}

TEST_F(History, RefusesAnEmptyStretchAndTooManyBuckets) {
  ASSERT_TRUE(store->flush());
  reader = read(folder.file());
  EXPECT_EQ(reader->history(run, {}, at_ms(5), at_ms(5), 10).error().fault, Fault::usage);
  EXPECT_EQ(reader->history(run, {}, at_ms(5), at_ms(6), 0).error().fault, Fault::usage);
  EXPECT_EQ(reader->history(run, {}, at_ms(5), at_ms(6), StoreReader::history_buckets_max + 1).error().fault, Fault::usage);
}

TEST_F(History, AReaderThatTakesItsTimeDoesNotStopTheCheckpoint) {
  for (int i = 0; i < 2000; ++i) store->append_readings(run, at_ms(i), std::vector{good(0, at_ms(i), i)});
  ASSERT_TRUE(store->flush());
  reader = read(folder.file());
  const std::string ballast(40'000, 'x');
  std::uint64_t wal_bytes_max = 0;
  int visits = 0;
  // Between any two inputs that are visited the daemon writes on: 24 MB in all, and the log must stay near its 4 MB.
  const auto read_slowly = reader->for_each_input(run, [&](const InputRow&) {
    if (++visits % 100 != 0) return;
    for (int i = 0; i < 30; ++i) store->append_event(run, at_ms(0), "stage", ballast);
    ASSERT_TRUE(store->flush());
    wal_bytes_max = std::max(wal_bytes_max, store->health().wal_bytes);
  });
  ASSERT_TRUE(read_slowly);
  EXPECT_EQ(visits, 2000);
  EXPECT_LT(wal_bytes_max, 7'000'000u);
}

}  // namespace
}  // namespace steadyglow::store
