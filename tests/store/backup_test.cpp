#include "store/backup.hpp"

#include <gtest/gtest.h>
#include <sqlite3.h>

#include <atomic>
#include <filesystem>
#include <fstream>
#include <thread>

#include "store/run_import.hpp"
#include "store/store_files.hpp"

namespace steadyglow::store {
namespace {

void fill(Store& store, std::int64_t run, int from, int to) {
  for (int i = from; i < to; ++i) store.append_readings(run, at_ms(1000 * i), std::vector{good(0, at_ms(1000 * i), 380.0 + 0.001 * i), bad(2, at_ms(1000 * i), Quality::open_sensor)});
}

TEST(Backup, HoldsAllThatWasOnTheDisk) {
  Folder folder;
  auto store = opened(folder.file());
  const auto run = store->begin_run(a_run());
  fill(*store, run, 0, 3000);
  store->append_event(run, at_ms(3'000'000), "finding", "{}");
  store->append_journal(1, "tick", "{}");
  ASSERT_TRUE(store->flush());
  ASSERT_TRUE(copy_store(folder.file(), folder.file("copy.db")));
  const auto check = check_store(folder.file("copy.db"));
  ASSERT_TRUE(check);
  EXPECT_EQ(check->batches, 3000u);
  EXPECT_EQ(check->events, 1u);
  EXPECT_EQ(check->journal, 1u);
  EXPECT_EQ(check->running, 1u);
  EXPECT_EQ(check->damage.rows, 0u);
  EXPECT_EQ(inputs_of(*read(folder.file("copy.db")), run).size(), 3000u);
}

TEST(Backup, IsOfOneMomentWhileTheDaemonWrites) {
  Folder folder;
  auto store = opened(folder.file(), {.commit_every = std::chrono::milliseconds{1}});
  const auto run = store->begin_run(a_run());
  fill(*store, run, 0, 20'000);
  ASSERT_TRUE(store->flush());
  std::atomic<bool> is_done = false;
  std::thread writes([&] {
    for (int i = 20'000; !is_done; ++i) {
      fill(*store, run, i, i + 1);
      if (i % 50 == 0) (void)store->flush();
    }
  });
  for (int copy = 0; copy < 5; ++copy) {
    const std::string name = folder.file("copy" + std::to_string(copy) + ".db");
    const auto copied = copy_store(folder.file(), name);
    EXPECT_TRUE(copied) << (copied ? "" : copied.error().text());
    const auto inputs = inputs_of(*read(name), run);
    EXPECT_GE(inputs.size(), 20'000u);
    // Nothing is missing in the middle, and nothing is there in part.
    for (std::size_t i = 0; i < inputs.size(); ++i) ASSERT_EQ(ms_of(inputs[i].at), static_cast<std::int64_t>(1000 * i));
  }
  is_done = true;
  writes.join();
  EXPECT_TRUE(store->health().is_ok);
}

TEST(Backup, StandsAloneInOneFile) {
  Folder folder;
  auto store = opened(folder.file());
  fill(*store, store->begin_run(a_run()), 0, 10);
  ASSERT_TRUE(store->flush());
  ASSERT_TRUE(copy_store(folder.file(), folder.file("copy.db")));
  EXPECT_EQ(folder.names_with("copy").size(), 1u);
}

TEST(Backup, NeverWritesTheLogBack) {
  // Only the daemon's own connection may: see FORMAT.md.
  Folder folder;
  auto store = opened(folder.file());
  fill(*store, store->begin_run(a_run()), 0, 1000);
  ASSERT_TRUE(store->flush());
  const auto file_bytes = std::filesystem::file_size(folder.file());
  const auto log_bytes = std::filesystem::file_size(folder.file() + "-wal");
  ASSERT_TRUE(copy_store(folder.file(), folder.file("copy.db")));
  EXPECT_EQ(std::filesystem::file_size(folder.file()), file_bytes);
  EXPECT_EQ(std::filesystem::file_size(folder.file() + "-wal"), log_bytes);
}

TEST(Backup, IsNeverWrittenOverAnything) {
  Folder folder;
  auto store = opened(folder.file());
  ASSERT_TRUE(store->flush());
  std::ofstream(folder.file("there.db")) << "mine";
  EXPECT_EQ(copy_store(folder.file(), folder.file("there.db")).error().fault, Fault::cannot_create);
}

TEST(Backup, TellsOfAFolderThatIsNotThere) {
  Folder folder;
  auto store = opened(folder.file());
  ASSERT_TRUE(store->flush());
  EXPECT_FALSE(copy_store(folder.file(), folder.file("no/such/folder/copy.db")));
}

TEST(StoreCheck, FindsARowThatWasChanged) {
  Folder folder;
  {
    auto store = opened(folder.file());
    fill(*store, store->begin_run(a_run()), 0, 100);
  }
  sqlite3* changer = nullptr;
  ASSERT_EQ(sqlite3_open(folder.file().c_str(), &changer), SQLITE_OK);
  ASSERT_EQ(sqlite3_exec(changer, "UPDATE reading_batch SET at_ms = at_ms + 1 WHERE seq = 50", nullptr, nullptr, nullptr), SQLITE_OK);
  sqlite3_close(changer);
  const auto check = check_store(folder.file());
  ASSERT_TRUE(check);
  EXPECT_EQ(check->damage.rows, 1u);
  EXPECT_EQ(check->damage.told.front(), "reading_batch 50 is damaged");
}

TEST(StoreCheck, FindsAFileThatWasCutOff) {
  Folder folder;
  {
    auto store = opened(folder.file());
    fill(*store, store->begin_run(a_run()), 0, 2000);
  }
  std::filesystem::resize_file(folder.file(), std::filesystem::file_size(folder.file()) / 2 / 1024 * 1024);
  EXPECT_EQ(check_store(folder.file()).error().fault, Fault::bad_data);
}

// ---- a run brought in

RunImport opened_for_import(const std::string& file, bool may_begin) {
  auto import = RunImport::open(file, may_begin);
  if (!import) throw std::runtime_error(import.error().text());
  return std::move(*import);
}

TEST(RunImport, WaitsForNoDaemonButRefuses) {
  Folder folder;
  auto store = opened(folder.file());
  const auto import = RunImport::open(folder.file(), false);
  ASSERT_FALSE(import);
  EXPECT_EQ(import.error().fault, Fault::unavailable);
  EXPECT_NE(import.error().hint.find("stop the daemon"), std::string::npos);
}

TEST(RunImport, BeginsNoStoreUnasked) {
  Folder folder;
  EXPECT_EQ(RunImport::open(folder.file(), false).error().fault, Fault::config);
  EXPECT_FALSE(std::filesystem::exists(folder.file()));
}

TEST(RunImport, ADamagedStoreIsLeftWhereItIs) {
  Folder folder;
  {
    auto store = opened(folder.file());
    fill(*store, store->begin_run(a_run()), 0, 2000);
  }
  std::ofstream(folder.file(), std::ios::in | std::ios::binary).write("no database", 11);
  EXPECT_FALSE(RunImport::open(folder.file(), true));
  EXPECT_TRUE(folder.names_with("damaged").empty());
}

TEST(RunImport, AFailureInTheMiddleLeavesNoRow) {
  Folder folder;
  {
    auto store = opened(folder.file());
    const auto run = store->begin_run(a_run());
    fill(*store, run, 0, 10);
    store->end_run(run, "2026-02-01T00:00:00.000Z");
  }
  const auto before = check_store(folder.file());
  {
    auto import = opened_for_import(folder.file(), false);
    const auto done = import.commit([](RunImport::Rows& rows) -> Result<RunImport::Header> {
      for (int i = 0; i < 5000; ++i) (void)rows.readings(at_ms(1000 * i), std::vector{good(0, at_ms(1000 * i), 1.0)});
      return fail(Fault::bad_data, "row 5001 is bad");
    });
    ASSERT_FALSE(done);
    EXPECT_EQ(done.error().message, "row 5001 is bad");
  }
  const auto after = check_store(folder.file());
  EXPECT_EQ(after->batches, before->batches);
  EXPECT_EQ(after->runs, 1u);
}

TEST(RunImport, IsARunLikeOthersAndSaysThatItIsNone) {
  Folder folder;
  auto import = opened_for_import(folder.file(), true);
  EXPECT_EQ(import.run(), 1);
  const auto done = import.commit([](RunImport::Rows& rows) -> Result<RunImport::Header> {
    if (auto put = rows.readings(at_ms(0), std::vector{good(1, at_ms(0), 379.9)}); !put) return tl::unexpected(put.error());
    if (auto put = rows.event(at_ms(0), "imported", "{}"); !put) return tl::unexpected(put.error());
    return RunImport::Header{a_run(), "2026-02-01T00:00:00.000Z"};
  });
  ASSERT_TRUE(done) << done.error().text();
  auto reader = read(folder.file());
  const auto run = reader->run(1);
  ASSERT_TRUE(run && *run);
  EXPECT_TRUE((*run)->is_imported());
  EXPECT_EQ((*run)->state, "ended");
  EXPECT_EQ(inputs_of(*reader, 1).front().readings.front().value(), 379.9);
  EXPECT_EQ(reader->events(1)->size(), 1u);
}

}  // namespace
}  // namespace steadyglow::store
