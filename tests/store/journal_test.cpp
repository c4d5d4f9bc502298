/// What is true of the bench between runs.
#include <algorithm>
#include <thread>

#include "store/schema.hpp"
#include "store/store_files.hpp"

namespace steadyglow::store {
namespace {

TEST(Journal, IsReadBackInOrderAfterAReopening) {
  Folder folder;
  {
    auto store = opened(folder.file());
    store->append_journal(1000, "rehearsal", "{\"bench\":\"bench 1\"}");
    store->begin_run(a_run());
    store->append_journal(2000, "relay", "{}");
  }
  const auto rows = *read(folder.file())->journal();
  ASSERT_EQ(rows.size(), 2u);
  EXPECT_EQ(rows[0].kind, "rehearsal");
  EXPECT_EQ(rows[0].utc_ms, 1000);
  EXPECT_EQ(rows[0].json, "{\"bench\":\"bench 1\"}");
  EXPECT_LT(rows[0].seq, rows[1].seq);
  EXPECT_EQ(read(folder.file())->journal(rows[0].seq)->size(), 1u);
  auto again = opened(folder.file());
  EXPECT_GT(again->append_journal(3000, "relay", "{}"), rows[1].seq) << "numbers are never given twice";
}

TEST(Journal, OfADamagedRowIsToldAndLeftOut) {
  Folder folder;
  {
    auto store = opened(folder.file());
    store->append_journal(1000, "relay", "{\"is_defective\":true}");
    store->append_journal(1001, "relay", "{}");
  }
  {
    auto connection = Connection::open(folder.file(), Access::write);
    ASSERT_TRUE(connection->run("UPDATE journal SET json = '{\"is_defective\":false}' WHERE utc_ms = 1000"));
  }
  auto reader = read(folder.file());
  EXPECT_EQ(reader->journal()->size(), 1u);
  EXPECT_EQ(reader->damage().rows, 1u);
}

TEST(Journal, ComesToAStoreOfTheFirstLayoutAndTheRunsStay) {
  Folder folder;
  {
    auto connection = Connection::open(folder.file(), Access::write);
    ASSERT_TRUE(migrate(*connection, folder.file(), migrations().first(1)));
  }
  {
    auto store = opened(folder.file());
    store->append_journal(5, "ready", "{}");
    store->begin_run(a_run());
  }
  EXPECT_EQ(read(folder.file())->journal()->size(), 1u);
  EXPECT_EQ(folder.names_with(".before-v2").size(), 1u);
}

TEST(Journal, IsCarriedOverFromADamagedFile) {
  Folder folder;
  {
    auto store = opened(folder.file());
    store->append_journal(7, "relay", "{\"is_defective\":true}");
    const auto run = store->begin_run(a_run());
    for (int i = 0; i < 20'000; ++i) store->append_readings(run, at_ms(1000 * i), std::vector{good(0, at_ms(1000 * i), 0.5 + i)});
  }
  const auto bytes = std::filesystem::file_size(folder.file());
  {
    FILE* file = fopen(folder.file().c_str(), "r+b");
    ASSERT_NE(file, nullptr);
    fseek(file, static_cast<long>(bytes / 4096 / 2 * 4096), SEEK_SET);
    const std::string rot(4096, '\xA5');
    fwrite(rot.data(), 1, rot.size(), file);
    fclose(file);
  }
  auto store = opened(folder.file());
  EXPECT_FALSE(store->health().is_ok);
  ASSERT_TRUE(store->flush());
  const auto rows = read(folder.file())->journal();
  ASSERT_EQ(rows->size(), 1u);
  EXPECT_EQ(rows->front().json, "{\"is_defective\":true}");
}

TEST(Journal, WhatIsAppendedTogetherWaitsForItsLastRow) {
  Folder folder;
  auto store = opened(folder.file());
  const auto run = store->begin_run(a_run());
  ASSERT_TRUE(store->flush());
  {
    const Store::Together together(*store);
    store->append_event(run, at_ms(1), "alarm", "{}");
    EXPECT_FALSE(store->flush(std::chrono::milliseconds{150})) << "the alarm must not reach the disk without its message";
    EXPECT_TRUE(read(folder.file())->events(run)->empty());
    store->append_journal(1, "message", "{}");
  }
  ASSERT_TRUE(store->flush());
  EXPECT_EQ(read(folder.file())->events(run)->size(), 1u);
  EXPECT_EQ(read(folder.file())->journal()->size(), 1u);
}

}  // namespace
}  // namespace steadyglow::store
