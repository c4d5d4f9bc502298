/// Records of every format and every engine that ever was. They verify for ever.
#include <gtest/gtest.h>

#include <algorithm>
#include <filesystem>

#include "seal/engine_words.hpp"
#include "seal/seal.hpp"

namespace steadyglow::seal {
namespace {

const std::filesystem::path fixtures = std::filesystem::path(STEADYGLOW_SOURCE_DIR) / "tests/seal/fixtures";

struct Kept {
  const char* file;
  const char* fingerprint;
  std::int64_t format;
  std::int64_t engine;
};
// A line is added for each new format and engine, and none is ever taken away.
constexpr Kept kept_records[] = {{"format_1_engine_1.zip", "57dd-eac5-348c-9748-d38f-586f-1db3-2851", 1, 1},
                                 {"format_1_engine_2.zip", "55fa-ec25-0d6e-9b30-7e87-33d1-7ad3-04ed", 1, 2},
                                 {"format_1_engine_3.zip", "49a8-6087-fcf6-f272-b88a-99fe-3fad-c7d4", 1, 3},
                                 {"format_1_engine_4.zip", "1d4d-15e8-53e0-8e0e-94e1-724e-615c-c00f", 1, 4}};

TEST(KeptRecords, VerifyForEver) {
  for (const Kept& kept : kept_records) {
    const auto report = check((fixtures / kept.file).string(), {.fingerprint = kept.fingerprint, .progress = {}});
    ASSERT_TRUE(report) << kept.file << ": " << report.error().text();
    EXPECT_TRUE(report->was_retold) << kept.file;
    EXPECT_EQ(report->manifest.format, kept.format) << kept.file;
    EXPECT_EQ(report->manifest.engine_version, kept.engine) << kept.file;
    EXPECT_EQ(report->is_another_engine, kept.engine != engine_version) << kept.file;
    for (const std::string& difference : report->differences)
      ADD_FAILURE() << kept.file << ": " << difference << "\nIf the engine now says something else of the same readings: raise engine_version in seal/engine_words.hpp, make a record by make_fixture, and add a line above.";
  }
}

TEST(KeptRecords, HoldOneOfThePresentFormatAndEngine) {
  EXPECT_TRUE(std::any_of(std::begin(kept_records), std::end(kept_records), [](const Kept& kept) { return kept.format == format_newest && kept.engine == engine_version; }));
}

}  // namespace
}  // namespace steadyglow::seal
