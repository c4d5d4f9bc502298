#pragma once
/// Files and rows for the tests of the store.
#include <gtest/gtest.h>
#include <unistd.h>

#include <filesystem>
#include <memory>
#include <string>
#include <vector>

#include "store/reader.hpp"
#include "store/store.hpp"

namespace steadyglow::store {

/// A folder below the build tree that goes away with the test.
class Folder {
 public:
  Folder() {
    const auto* test = testing::UnitTest::GetInstance()->current_test_info();
    path_ = std::filesystem::current_path() / ("store_" + std::string(test->test_suite_name()) + "_" + test->name() + "_" + std::to_string(getpid()));
    std::filesystem::remove_all(path_);
    std::filesystem::create_directories(path_);
  }
  ~Folder() { std::filesystem::remove_all(path_); }
  Folder(const Folder&) = delete;
  std::string file(const std::string& name = "s.db") const { return (path_ / name).string(); }
  std::vector<std::string> names_with(const std::string& part) const {
    std::vector<std::string> names;
    for (const auto& entry : std::filesystem::directory_iterator(path_))
      if (entry.path().filename().string().find(part) != std::string::npos) names.push_back(entry.path().filename().string());
    return names;
  }

 private:
  std::filesystem::path path_;
};

inline std::unique_ptr<Store> opened(const std::string& file, StoreOptions options = {}) {
  auto store = Store::open(file, options);
  if (!store) throw std::runtime_error(store.error().text());
  return std::move(*store);
}

inline std::unique_ptr<StoreReader> read(const std::string& file) {
  auto reader = StoreReader::open(file);
  if (!reader) throw std::runtime_error(reader.error().text());
  return std::move(*reader);
}

inline RunRow a_run(std::string unit = "brindlecombe35", std::vector<std::string> points = {"v1_cathode_mv", "v2_cathode_mv", "chassis"}) {
  RunRow run;
  run.unit = std::move(unit);
  run.title = "Brindlecombe 35";
  run.serial = "B35-0117";
  run.profile_name = "brindlecombe35";
  run.profile_text = "[profile]\nkind = \"tube-pp-fixed-bias\"\n";
  run.plan_name = "night-24h";
  run.plan_text = "[plan]\ntitle = \"24 h night\"\n";
  run.started_utc = "2026-01-31T22:00:00.000Z";
  run.boot_id = "b00b-1e";
  run.started_boottime_ms = 123456789;
  run.started_by = "Imke";
  run.points = std::move(points);
  return run;
}

inline Reading good(std::uint16_t point, Timestamp at, double value) { return Reading::good(PointId{point}, at, value); }
inline Reading bad(std::uint16_t point, Timestamp at, Quality why, double as_met = 0.0) { return Reading::bad(PointId{point}, at, why, as_met); }

inline std::vector<InputRow> inputs_of(StoreReader& reader, std::int64_t run) {
  std::vector<InputRow> inputs;
  const auto read = reader.for_each_input(run, [&](const InputRow& input) { inputs.push_back(input); });
  if (!read) throw std::runtime_error(read.error().text());
  return inputs;
}

}  // namespace steadyglow::store
