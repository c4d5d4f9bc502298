/// Damaged, foreign, older and newer files.
#include <gtest/gtest.h>
#include <sqlite3.h>

#include <boost/crc.hpp>
#include <fstream>
#include <iterator>

#include "store/batch.hpp"
#include "store/schema.hpp"
#include "store/store_files.hpp"

namespace steadyglow::store {
namespace {

using namespace std::chrono_literals;

std::string bytes_of(const std::string& path) {
  std::ifstream in(path, std::ios::binary);
  return {std::istreambuf_iterator<char>(in), {}};
}
void put_bytes(const std::string& path, const std::string& bytes) { std::ofstream(path, std::ios::binary | std::ios::trunc) << bytes; }

/// What somebody else's program does to the file.
void sql(const std::string& file, const std::string& text) {
  auto connection = Connection::open(file, Access::write);
  ASSERT_TRUE(connection);
  const auto done = connection->run(text);
  ASSERT_TRUE(done) << done.error().text();
}

Reading value_at(int i, std::uint16_t point) { return good(point, at_ms(1000 * i), 380.0 + 0.125 * i); }

/// A closed store with one run that goes on, one that has ended, and some thousand batches.
std::int64_t store_a_night(const std::string& file, int batches) {
  auto store = opened(file);
  const auto ended = store->begin_run(a_run("tarnmoor2"));
  store->append_readings(ended, at_ms(0), std::vector{value_at(0, 0)});
  store->end_run(ended, "2026-01-30T10:00:00.000Z");
  const auto run = store->begin_run(a_run());
  for (int i = 0; i < batches; ++i) store->append_readings(run, at_ms(1000 * i), std::vector{value_at(i, 0), value_at(i, 1), value_at(i, 2)});
  store->append_input(run, at_ms(1000 * batches), "acknowledge", "{\"alarm\":1}");
  store->append_event(run, at_ms(1000 * batches), "alarm", "{\"id\":1}");
  return run;
}

TEST(Crc, IsTheOneOfIso3309) {
  // Check value of CRC-32 over "123456789"; the polynomial is that of ISO 3309 and RFC 1952 section 8.
  boost::crc_32_type crc;
  crc.process_bytes("123456789", 9);
  EXPECT_EQ(crc.checksum(), 0xCBF43926u);
}

TEST(Damage, EveryBitOfABatchIsGuarded) {
  Folder folder;
  const auto run = store_a_night(folder.file(), 3);
  const std::string sound = bytes_of(folder.file());
  const std::string batch = encode_batch(at_ms(1000), std::vector{value_at(1, 0), value_at(1, 1), value_at(1, 2)});
  const std::size_t at = sound.find(batch);
  ASSERT_NE(at, std::string::npos);
  for (std::size_t bit = 0; bit < 8 * batch.size(); ++bit) {
    std::string damaged = sound;
    damaged[at + bit / 8] = static_cast<char>(damaged[at + bit / 8] ^ (1 << bit % 8));
    put_bytes(folder.file(), damaged);
    auto reader = read(folder.file());
    const auto inputs = inputs_of(*reader, run);
    ASSERT_EQ(inputs.size(), 3u) << "bit " << bit;
    EXPECT_EQ(inputs[1].at, at_ms(2000));
    EXPECT_EQ(reader->damage().rows, 1u);
    ASSERT_EQ(reader->damage().told.size(), 1u);
    EXPECT_NE(reader->damage().told[0].find("damaged"), std::string::npos);
  }
}

TEST(Damage, ARowInAnothersPlaceIsFound) {
  Folder folder;
  const auto run = store_a_night(folder.file(), 3);
  sql(folder.file(), "UPDATE reading_batch SET run = " + std::to_string(run) + " WHERE run <> " + std::to_string(run));
  sql(folder.file(), "UPDATE run SET first_seq = 0 WHERE id = " + std::to_string(run));
  auto reader = read(folder.file());
  EXPECT_EQ(inputs_of(*reader, run).size(), 4u);
  EXPECT_EQ(reader->damage().rows, 2u);  // the batch, and the run whose first number was changed
}

TEST(Damage, EveryKindOfRowIsGuarded) {
  for (const char* change : {"UPDATE run SET serial = serial || 'x' WHERE unit = 'brindlecombe35'", "UPDATE run_end SET ended_utc = ''", "UPDATE input SET json = '{\"alarm\":2}'",
                             "UPDATE event SET at_ms = at_ms + 1", "UPDATE reading_batch SET crc32 = crc32 + 1 WHERE seq = (SELECT max(seq) FROM reading_batch)"}) {
    Folder folder;
    const auto run = store_a_night(folder.file(), 3);
    {
      auto sound = read(folder.file());
      ASSERT_TRUE(sound->runs() && sound->events(run));
      inputs_of(*sound, run);
      ASSERT_EQ(sound->damage().rows, 0u);
    }
    sql(folder.file(), change);
    auto reader = read(folder.file());
    ASSERT_TRUE(reader->runs());
    inputs_of(*reader, run);
    ASSERT_TRUE(reader->events(run));
    EXPECT_GE(reader->damage().rows, 1u) << change;
  }
}

TEST(Damage, ARunWithADamagedEndCountsAsRunning) {
  Folder folder;
  store_a_night(folder.file(), 1);
  sql(folder.file(), "UPDATE run_end SET ended_utc = ''");
  auto reader = read(folder.file());
  EXPECT_EQ(reader->runs()->at(0).state, "running");
  EXPECT_EQ(reader->damage().rows, 1u);
}

TEST(Damage, APageThatCannotBeReadCostsOnlyItsOwnRows) {
  Folder folder;
  const int batches = 20'000;
  const auto run = store_a_night(folder.file(), batches);
  std::string bytes = bytes_of(folder.file());
  const std::size_t page = bytes.size() / 4096 / 2 * 4096;
  bytes.replace(page, 4096, 4096, '\xA5');
  put_bytes(folder.file(), bytes);
  auto reader = read(folder.file());
  const auto inputs = inputs_of(*reader, run);
  EXPECT_GT(inputs.size(), static_cast<std::size_t>(batches) - 500);
  EXPECT_LT(inputs.size(), static_cast<std::size_t>(batches) + 1);
  EXPECT_EQ(inputs.back().kind, "acknowledge");
  EXPECT_EQ(reader->damage().rows, 1u);
}

TEST(Damage, ADamagedFileIsSetAsideAndTheRunThatWasGoingOnIsCarriedOver) {
  Folder folder;
  const int batches = 20'000;
  const auto run = store_a_night(folder.file(), batches);
  std::string bytes = bytes_of(folder.file());
  bytes.replace(bytes.size() / 4096 / 2 * 4096, 4096, 4096, '\xA5');
  put_bytes(folder.file(), bytes);

  auto store = opened(folder.file());
  EXPECT_FALSE(store->health().is_ok);
  EXPECT_NE(store->health().reason.find("damaged"), std::string::npos) << store->health().reason;
  const auto aside = folder.names_with(".damaged-");
  ASSERT_GE(aside.size(), 1u);
  EXPECT_EQ(bytes_of(folder.file(*std::min_element(aside.begin(), aside.end()))), bytes);

  EXPECT_EQ(store->begin_run(a_run()), run + 1);
  store->append_readings(run, at_ms(30'000'000), std::vector{good(0, at_ms(30'000'000), 1.0)});
  ASSERT_TRUE(store->flush());
  EXPECT_FALSE(store->health().is_ok) << "it must stay loud";
  auto reader = read(folder.file());
  ASSERT_EQ(reader->runs()->size(), 2u);
  EXPECT_EQ(reader->runs()->at(0).id, run);
  EXPECT_GT(inputs_of(*reader, run).size(), static_cast<std::size_t>(batches) - 500);
  EXPECT_EQ(reader->events(run)->size(), 1u);
  EXPECT_EQ(reader->damage().rows, 0u);
}

TEST(Damage, AFileThatIsNoDatabaseAnyMoreIsSetAside) {
  for (const std::string& bytes : {std::string(20'000, '\x81'), std::string("SQLite format 3\0", 16) + std::string(5000, '\xFF')}) {
    Folder folder;
    put_bytes(folder.file(), bytes);
    auto store = opened(folder.file());
    EXPECT_FALSE(store->health().is_ok);
    EXPECT_EQ(folder.names_with(".damaged-").size(), 1u);
    const auto run = store->begin_run(a_run());
    ASSERT_TRUE(store->flush());
    EXPECT_TRUE(read(folder.file())->run(run)->has_value());
  }
}

TEST(Damage, AFileCutShortIsSetAside) {
  Folder folder;
  store_a_night(folder.file(), 2000);
  put_bytes(folder.file(), bytes_of(folder.file()).substr(0, 40'960));
  EXPECT_FALSE(opened(folder.file())->health().is_ok);
  EXPECT_GE(folder.names_with(".damaged-").size(), 1u);
}

TEST(Damage, AFileThatIsTakenAwayWhileTheDaemonRunsIsBegunAnew) {
  Folder folder;
  auto store = opened(folder.file());
  const auto run = store->begin_run(a_run());
  ASSERT_TRUE(store->flush());
  std::filesystem::remove(folder.file());
  store->append_readings(run, at_ms(1), std::vector{good(0, at_ms(1), 1.0)});
  ASSERT_TRUE(store->flush());
  EXPECT_FALSE(store->health().is_ok);
  auto reader = read(folder.file());
  EXPECT_TRUE(reader->run(run)->has_value());
  EXPECT_EQ(inputs_of(*reader, run).size(), 1u);
}

TEST(Files, ATextFileIsRefusedAndLeftAsItIs) {
  Folder folder;
  const std::string text = "[daemon]\nstore = \"s.db\"\n# " + std::string(200, 'x') + "\n";
  put_bytes(folder.file(), text);
  const auto store = Store::open(folder.file());
  ASSERT_FALSE(store);
  EXPECT_EQ(store.error().fault, Fault::config);
  EXPECT_EQ(bytes_of(folder.file()), text);
}

TEST(Files, AnotherProgramsDatabaseIsRefusedAndLeftAsItIs) {
  Folder folder;
  sql(folder.file(), "CREATE TABLE recipes (name TEXT)");
  const std::string before = bytes_of(folder.file());
  const auto store = Store::open(folder.file());
  ASSERT_FALSE(store);
  EXPECT_EQ(store.error().fault, Fault::config);
  EXPECT_EQ(bytes_of(folder.file()), before);
  EXPECT_EQ(StoreReader::open(folder.file()).error().fault, Fault::config);
}

TEST(Files, ANewerLayoutIsRefusedAndLeftAsItIs) {
  Folder folder;
  store_a_night(folder.file(), 1);
  sql(folder.file(), "PRAGMA user_version = 99");
  const std::string before = bytes_of(folder.file());
  const auto store = Store::open(folder.file());
  ASSERT_FALSE(store);
  EXPECT_EQ(store.error().fault, Fault::config);
  EXPECT_NE(store.error().message.find("99"), std::string::npos);
  EXPECT_EQ(bytes_of(folder.file()), before);
  EXPECT_EQ(StoreReader::open(folder.file()).error().fault, Fault::config);
}

TEST(Files, AReaderDoesNotMakeAFile) {
  Folder folder;
  EXPECT_FALSE(StoreReader::open(folder.file()));
  EXPECT_EQ(folder.names_with("s.db").size(), 0u);
}

TEST(Files, AReaderCannotWrite) {
  Folder folder;
  store_a_night(folder.file(), 1);
  auto connection = Connection::open(folder.file(), Access::read_only);
  ASSERT_TRUE(connection);
  EXPECT_FALSE(connection->run("DELETE FROM run"));
}

TEST(Migration, KeepsACopyAndTheRows) {
  Folder folder;
  const auto run = store_a_night(folder.file(), 10);
  std::vector<Migration> steps(migrations().begin(), migrations().end());
  const std::int64_t next = steps.back().to_version + 1;
  steps.push_back({next, "ALTER TABLE run ADD COLUMN bench TEXT NOT NULL DEFAULT ''"});
  auto connection = Connection::open(folder.file(), Access::write);
  ASSERT_TRUE(connection);
  ASSERT_EQ(*standing(*connection, next), Standing::older);
  const auto migrated = migrate(*connection, folder.file(), steps);
  ASSERT_TRUE(migrated) << migrated.error().text();
  EXPECT_EQ(*connection->number("PRAGMA user_version"), next);
  EXPECT_EQ(*connection->number("SELECT count(bench) FROM run"), 2);
  EXPECT_EQ(*connection->number("SELECT count(*) FROM reading_batch"), 11);
  EXPECT_EQ(inputs_of(*read(folder.file() + ".before-v" + std::to_string(next)), run).size(), 11u);
}

TEST(Migration, ThatFailsLeavesTheFileAsItWas) {
  Folder folder;
  const auto run = store_a_night(folder.file(), 10);
  std::vector<Migration> steps(migrations().begin(), migrations().end());
  steps.push_back({steps.back().to_version + 1, "ALTER TABLE run ADD COLUMN bench TEXT; INSERT INTO nowhere VALUES (1)"});
  {
    auto connection = Connection::open(folder.file(), Access::write);
    EXPECT_FALSE(migrate(*connection, folder.file(), steps));
  }
  EXPECT_EQ(inputs_of(*read(folder.file()), run).size(), 11u);
  EXPECT_TRUE(opened(folder.file())->health().is_ok);
}

}  // namespace
}  // namespace steadyglow::store
