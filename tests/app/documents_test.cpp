#include "app/documents.hpp"

#include <gtest/gtest.h>
#include <unistd.h>

#include <filesystem>
#include <nlohmann/json.hpp>

#include "store/store.hpp"

namespace steadyglow::app {
namespace {

/// A store with two runs: one signed, one that goes on.
class Documents : public testing::Test {
 protected:
  void SetUp() override {
    folder = std::filesystem::temp_directory_path() / ("steadyglow_documents_" + std::to_string(::getpid()));
    std::filesystem::create_directory(folder);
    auto store = store::Store::open(file());
    ASSERT_TRUE(store) << store.error().text();
    const std::int64_t first = (*store)->begin_run(row("ostrel9", "O9-0031"));
    (*store)->append_event(first, at_ms(1000), "verdict", R"({"word":"pass"})");
    (*store)->append_event(first, at_ms(2000), "signature", R"({"who":"Ada","word":"pass_with_remarks"})");
    (*store)->end_run(first, "2026-02-03T08:00:00Z");
    (*store)->begin_run(row("fennimark120", "F120-4"));
    ASSERT_TRUE((*store)->flush());
  }
  void TearDown() override { std::filesystem::remove_all(folder); }

  static store::RunRow row(std::string unit, std::string serial) {
    store::RunRow row;
    row.unit = row.title = std::move(unit);
    row.serial = std::move(serial);
    row.started_utc = "2026-02-02T20:00:00Z";
    row.points = {"mains_w"};
    return row;
  }
  std::string file() const { return (folder / "s.db").string(); }

  std::filesystem::path folder;
};

TEST_F(Documents, TheListHasEveryRunNewestFirstWithItsEnding) {
  const auto list = make_document(file(), {});
  ASSERT_TRUE(list) << list.error().text();
  const auto runs = nlohmann::json::parse(list->bytes)["runs"];
  ASSERT_EQ(runs.size(), 2u);
  EXPECT_EQ(runs[0]["unit"], "fennimark120");
  EXPECT_EQ(runs[0]["state"], "running");
  EXPECT_TRUE(runs[0]["verdict"].is_null());
  EXPECT_EQ(runs[1]["serial"], "O9-0031");
  EXPECT_EQ(runs[1]["verdict"], "pass_with_remarks") << "what the person signed, not what was proposed";
  EXPECT_EQ(runs[1]["signed_by"], "Ada");
  EXPECT_EQ(runs[1]["ended_utc"], "2026-02-03T08:00:00Z");
}

TEST_F(Documents, OfARunThatIsNotThereAreNone) {
  const auto made = make_document(file(), {7, "page.pdf", {}});
  ASSERT_FALSE(made);
  EXPECT_EQ(made.error().fault, Fault::bad_data);
}

TEST_F(Documents, AnUnknownNameIsSaid) {
  const auto made = make_document(file(), {1, "page.docx", {}});
  ASSERT_FALSE(made);
  EXPECT_NE(made.error().message.find("page.docx"), std::string::npos);
}

}  // namespace
}  // namespace steadyglow::app
