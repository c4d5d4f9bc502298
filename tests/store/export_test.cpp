#include "store/export.hpp"

#include <gtest/gtest.h>

#include <array>
#include <bit>
#include <cstdio>
#include <random>
#include <sstream>

#include "app/replay.hpp"
#include "profile/profile_toml.hpp"
#include "store/store_files.hpp"

namespace steadyglow::store {
namespace {

std::string csv_of(const std::string& file, std::int64_t run) {
  std::ostringstream out;
  const auto written = write_csv(*read(file), run, out);
  if (!written) throw std::runtime_error(written.error().text());
  return out.str();
}

TEST(Export, WritesOneRowPerBatchAfterRfc4180) {
  Folder folder;
  auto store = opened(folder.file());
  const auto run = store->begin_run(a_run("u", {"v1", "odd,\"name\"", "chassis"}));
  store->append_readings(run, at_ms(0), std::vector{good(0, at_ms(0), 380.1), bad(2, at_ms(0), Quality::open_sensor, 7.0)});
  store->append_input(run, at_ms(1), "acknowledge", "{}");
  store->append_readings(run, at_ms(86'400'007), std::vector{good(1, at_ms(86'400'007), -1e-7)});
  store->append_readings(run, at_ms(86'400'050), {});
  ASSERT_TRUE(store->flush());
  EXPECT_EQ(csv_of(folder.file(), run),
            "time_s,v1,\"odd,\"\"name\"\"\",chassis\r\n"
            "0.000,380.1,,open_sensor\r\n"
            "86400.007,,-1e-07,\r\n"
            "86400.050,,,\r\n");
}

TEST(Export, ReplaysToTheSameReadings) {
  Folder folder;
  auto store = opened(folder.file());
  const auto run = store->begin_run(a_run("u", {"sink", "offset"}));
  std::mt19937_64 chance(3);
  std::vector<std::vector<Reading>> fed;
  for (int i = 0; i < 3000; ++i) {
    const Timestamp at = at_ms(1000 * i + static_cast<std::int64_t>(chance() % 1000));
    std::vector<Reading> batch;
    for (std::uint16_t point = 0; point < 2; ++point) {
      if (chance() % 5 == 0) continue;
      if (chance() % 7 == 0) batch.push_back(bad(point, at, static_cast<Quality>(1 + chance() % (quality_count - 1))));
      else batch.push_back(good(point, at, std::ldexp(static_cast<double>(static_cast<std::int64_t>(chance())), static_cast<int>(chance() % 120) - 100)));
    }
    store->append_readings(run, at, batch);
    fed.push_back(std::move(batch));
  }
  ASSERT_TRUE(store->flush());

  Errors errors;
  const auto profile = profile::parse_profile(
      "[profile]\nkind = \"x\"\n[[point]]\nname = \"sink\"\nquantity = \"temperature\"\nuom = \"Cel\"\nrole = \"heatsink\"\n"
      "[[point]]\nname = \"offset\"\nquantity = \"voltage\"\nuom = \"mV\"\nrole = \"offset\"\n",
      "p.toml", errors);
  ASSERT_TRUE(profile);
  std::istringstream in(csv_of(folder.file(), run));
  app::RecordingReader recording(in, "export.csv", *profile);
  std::vector<std::string> missing;
  ASSERT_TRUE(recording.read_header(missing));
  Timestamp at{};
  std::vector<Reading> readings;
  for (const auto& batch : fed) {
    const auto row = recording.next(at, readings);
    ASSERT_TRUE(row && *row);
    ASSERT_EQ(readings.size(), batch.size());
    for (std::size_t i = 0; i < batch.size(); ++i) {
      ASSERT_EQ(readings[i].point(), batch[i].point());
      ASSERT_EQ(readings[i].at(), batch[i].at());
      ASSERT_EQ(readings[i].quality(), batch[i].quality());
      if (batch[i].is_good()) { ASSERT_EQ(std::bit_cast<std::uint64_t>(readings[i].value()), std::bit_cast<std::uint64_t>(batch[i].value())); }
    }
  }
  EXPECT_FALSE(*recording.next(at, readings));
}

TEST(Export, SaysHowManyRowsWereDamaged) {
  Folder folder;
  auto store = opened(folder.file());
  const auto run = store->begin_run(a_run());
  for (int i = 0; i < 3; ++i) store->append_readings(run, at_ms(i), std::vector{good(0, at_ms(i), i)});
  store.reset();
  {
    auto connection = Connection::open(folder.file(), Access::write);
    ASSERT_TRUE(connection->run("UPDATE reading_batch SET at_ms = 77 WHERE at_ms = 1"));
  }
  std::ostringstream out;
  const auto written = write_csv(*read(folder.file()), run, out);
  ASSERT_TRUE(written);
  EXPECT_EQ(written->batches, 2u);
  EXPECT_EQ(written->damaged_rows, 1u);
}

TEST(Export, SaysThatThereIsNoSuchRun) {
  Folder folder;
  opened(folder.file());
  std::ostringstream out;
  EXPECT_EQ(write_csv(*read(folder.file()), 5, out).error().fault, Fault::bad_data);
}

/// Every row of the file as tests/store/read_by_the_document.py prints it.
std::string told_by_us(StoreReader& reader) {
  std::ostringstream out;
  const auto journal = reader.journal();
  for (const JournalRow& row : *journal) out << "journal " << row.seq << ' ' << row.utc_ms << ' ' << row.kind << ' ' << row.json << '\n';
  const auto runs = reader.runs();
  for (const RunRow& run : *runs) {
    out << "run " << run.id << ' ' << run.unit << ' ' << run.state;
    for (const std::string& point : run.points) out << ' ' << point;
    out << '\n';
    for (const InputRow& input : inputs_of(reader, run.id)) {
      out << "input " << input.seq << ' ' << ms_of(input.at) << ' ' << input.kind << ' ' << input.json << '\n';
      for (const Reading& reading : input.readings) {
        std::array<char, 17> bits{};
        std::snprintf(bits.data(), bits.size(), "%016llx", static_cast<unsigned long long>(std::bit_cast<std::uint64_t>(reading.as_met())));
        out << "  " << reading.point().index << ' ' << ms_of(reading.at()) << ' ' << to_word(reading.quality()) << ' ' << bits.data() << '\n';
      }
    }
    const auto events = reader.events(run.id);
    for (const EventRow& event : *events) out << "event " << event.seq << ' ' << ms_of(event.at) << ' ' << event.kind << ' ' << event.json << '\n';
  }
  return out.str();
}

TEST(Format, IsWhatTheDocumentSays) {
  // A second reader, written in another language from FORMAT.md alone, with zlib's CRC-32.
  Folder folder;
  auto store = opened(folder.file());
  std::mt19937_64 chance(5);
  for (const char* unit : {"brindlecombe35", "tarnmoor2"}) {
    const auto run = store->begin_run(a_run(unit));
    for (int i = 0; i < 200; ++i) {
      std::vector<Reading> batch;
      for (std::uint16_t n = 0; n < 5; ++n)
        batch.push_back(Reading::of(PointId{static_cast<std::uint16_t>(chance() % 300)}, at_ms(1000 * i - (i % 3 == 0 ? n : 0)), chance() % 4 == 0 ? 0.0 : std::bit_cast<double>(chance()), static_cast<Quality>(chance() % quality_count)));
      store->append_readings(run, at_ms(1000 * i), batch);
      if (i % 50 == 0) store->append_input(run, at_ms(1000 * i), "acknowledge", "{\"who\":\"Jürgen\"}");
      if (i % 70 == 2) store->append_journal(1'700'000'000'000 + i, "relay", "{\"name\":\"Müller\"}");
      if (i % 50 == 1) store->append_event(run, at_ms(1000 * i), "finding", "{}");
    }
    if (run == 1) store->end_run(run, "2026-02-01T22:00:00.000Z");
  }
  ASSERT_TRUE(store->flush());
  const std::string command = "/usr/bin/python3 " STEADYGLOW_SOURCE_DIR "/tests/store/read_by_the_document.py '" + folder.file() + "' 2>&1";
  FILE* pipe = popen(command.c_str(), "r");
  std::string told;
  std::array<char, 4096> part{};
  for (std::size_t size; (size = fread(part.data(), 1, part.size(), pipe)) > 0;) told.append(part.data(), size);
  EXPECT_EQ(pclose(pipe), 0);
  EXPECT_EQ(told, told_by_us(*read(folder.file())));
}

}  // namespace
}  // namespace steadyglow::store
