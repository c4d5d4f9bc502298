/// Cards as the daemon keeps them: in a real store file, with photos beside it.
#include "app/bench_cards.hpp"

#include <gtest/gtest.h>
#include <sys/stat.h>
#include <unistd.h>

#include <filesystem>
#include <fstream>
#include <future>
#include <nlohmann/json.hpp>

#include "app/bench_clock.hpp"
#include "store/reader.hpp"
#include "store/store.hpp"

namespace steadyglow::app {
namespace {

using Json = nlohmann::ordered_json;

/// One life of the daemon's cards over a store; everything that the loop has to do is done in the calls.
class Keeping {
 public:
  Keeping(const std::string& file, std::vector<card::ConfiguredUnit> units) : store_(std::move(store::Store::open(file).value())), cards_(file, std::move(units), loop_, [this](const std::string& kind, const std::string& json) {
    if (is_disk_full) return std::int64_t{0};
    const auto utc = utc_now_ms();
    const auto seq = store_->append_journal(utc, kind, json);
    cards_.take({seq, utc, kind, json});
    return seq;
  }) {
    const auto rows = store::StoreReader::open(file).value()->journal().value();
    for (const auto& row : rows) cards_.take(row);
    cards_.begin();
    // Whatever is asked next is asked after the first look at the stored runs.
    (void)make("cards");
  }
  ~Keeping() {
    cards_.stop();
    EXPECT_TRUE(store_->flush());
  }

  Result<Json> add(const std::string& card, const std::string& kind, Json fields, std::int64_t corrects = 0) {
    http::Order order{"cards", card, "entries", nlohmann::json{{"who", "Ada"}, {"kind", kind}, {"fields", fields}}};
    if (corrects != 0) order.body["corrects"] = corrects;
    return cards_.add(order);
  }
  Result<Json> add_photo(const std::string& card, const std::string& bytes, const std::string& who = "Ada") {
    std::optional<Result<Json>> answer;
    cards_.add_photo({card, who, "underside", "", bytes}, [&](Result<Json> made) { answer = std::move(made); });
    wait([&] { return answer.has_value(); });
    return *answer;
  }
  Result<http::Document> make(const std::string& what, const std::string& name = {}, std::map<std::string, std::string> query = {}) {
    std::promise<Result<http::Document>> promise;
    auto answer = promise.get_future();
    cards_.make({0, name, std::move(query), what}, [&](Result<http::Document> made) { promise.set_value(std::move(made)); });
    wait([&] { return answer.wait_for(std::chrono::seconds{0}) == std::future_status::ready; });
    loop_.restart();
    loop_.run_for(std::chrono::milliseconds{20});
    return answer.get();
  }
  Json card(const std::string& name) { return Json::parse(make("cards", name).value().bytes)["card"]; }

  store::Store& store() { return *store_; }
  bool is_disk_full = false;

 private:
  template <class Claim>
  void wait(Claim claim) {
    for (int i = 0; i < 1000 && !claim(); ++i) {
      loop_.restart();
      loop_.run_for(std::chrono::milliseconds{10});
    }
    ASSERT_TRUE(claim());
  }

  boost::asio::io_context loop_;
  boost::asio::executor_work_guard<boost::asio::io_context::executor_type> work_{loop_.get_executor()};
  std::unique_ptr<store::Store> store_;
  BenchCards cards_;
};

const std::string jpeg("\xFF\xD8\xFF\xE0 a picture", 14);

class BenchCardsTest : public testing::Test {
 protected:
  void SetUp() override {
    folder = std::filesystem::temp_directory_path() / ("steadyglow_cards_" + std::to_string(::getpid()));
    std::filesystem::create_directory(folder);
  }
  void TearDown() override { std::filesystem::remove_all(folder); }
  std::string file() const { return (folder / "s.db").string(); }

  /// A run of two and a half hours, a reading each minute; from `trips_at_min` on beyond the trip limit.
  std::int64_t store_run(store::Store& store, const std::string& unit, const std::string& serial, int trips_at_min = -1) {
    store::RunRow row;
    row.unit = unit;
    row.title = "Wexmere M50";
    row.serial = serial;
    row.profile_name = "p";
    row.profile_text = "[profile]\nkind = \"tube-pp-fixed-bias\"\nmains_nominal_volts = 230.0\n[[point]]\nname = \"v1_cathode_mv\"\nquantity = \"voltage\"\nuom = \"mV\"\nrole = \"bias\"\nnominal = 380.0\n"
                       "warn = { low = 300.0, high = 460.0 }\ntrip = { high = 570.0 }\n";
    row.plan_name = "short";
    row.plan_text = "[plan]\ntitle = \"short\"\n[[stage]]\nkind = \"baseline\"\nminutes = 30\n[[stage]]\nkind = \"idle_soak\"\nminutes = 120\ncounted = true\n";
    row.started_utc = "2026-02-02T20:00:00Z";
    row.points = {"v1_cathode_mv"};
    const std::int64_t run = store.begin_run(row);
    constexpr int seconds = 9300;
    for (int s = 0; s <= seconds; s += 5) {
      const bool is_hot = trips_at_min >= 0 && s >= 60 * trips_at_min;
      const Reading reading = Reading::good(PointId{0}, at_ms(1000 * s), is_hot ? 600.0 : 380.0);
      store.append_readings(run, at_ms(1000 * s), std::span(&reading, 1));
    }
    store.append_event(run, at_ms(1000 * seconds), "verdict", trips_at_min >= 0 ? R"({"word":"fail"})" : R"({"word":"pass"})");
    store.end_run(run, "2026-02-02T22:40:00Z");
    EXPECT_TRUE(store.flush());
    return run;
  }

  std::filesystem::path folder;
};

TEST_F(BenchCardsTest, WhatWasWrittenIsThereAfterARestart) {
  {
    Keeping before(file(), {});
    const auto wrong = before.add("m50", "tube", {{"socket", "V1"}, {"type", "25 W pentode"}, {"identity", "W-0412"}});
    ASSERT_TRUE(wrong) << wrong.error().text();
    ASSERT_TRUE(before.add("m50", "tube", {{"socket", "V1"}, {"type", "25 W pentode"}, {"identity", "W-0421"}}, (*wrong)["card"]["entries"][0]["id"].get<std::int64_t>()));
  }
  Keeping after(file(), {});
  const Json card = after.card("m50");
  ASSERT_EQ(card["entries"].size(), 2u);
  EXPECT_EQ(card["entries"][0]["corrected_by"], card["entries"][1]["id"]);
  EXPECT_EQ(card["tubes"][0]["identity"], "W-0421");
}

TEST_F(BenchCardsTest, TheAnswerToAnEntryIsTheCardAsItStandsAfterARestart) {
  Json answered;
  {
    Keeping before(file(), {{"m50", "Wexmere M50", "M50-1", "tube-pp-fixed-bias"}});
    answered = (*before.add("m50", "repair", {{"found", "C12 dry"}}))["card"];
  }
  Keeping after(file(), {{"m50", "Wexmere M50", "M50-1", "tube-pp-fixed-bias"}});
  EXPECT_EQ(after.card("m50"), answered);
}

TEST_F(BenchCardsTest, RunTwoStandsBesideRunOneThoughTheUnitLeftTheConfiguration) {
  Keeping cards(file(), {});
  store_run(cards.store(), "wexmere_r", "M50-0412R");
  ASSERT_TRUE(cards.add("wexmere_r", "sold", {{"day", "2026-02-04"}}));
  store_run(cards.store(), "on_bench_2", "m50 0412r");
  const auto found = Json::parse(cards.make("cards", {}, {{"find", "M50-0412r"}}).value().bytes)["cards"];
  ASSERT_EQ(found.size(), 1u);
  const Json card = cards.card(found[0]["name"]);
  ASSERT_EQ(card["runs"].size(), 2u);
  EXPECT_EQ(card["runs"][0]["unit"], "on_bench_2");
  EXPECT_EQ(card["runs"][0]["powered_s"], 9300.0);
  EXPECT_GT(card["runs"][0]["counted_s"], 0.0);
  EXPECT_LE(card["runs"][0]["counted_s"], 7200.0) << "no more than the plan counts";
}

TEST_F(BenchCardsTest, ARunsHoursAreFoundOnceAndKept) {
  {
    Keeping cards(file(), {});
    store_run(cards.store(), "a", "1");
    cards.card("a");
  }
  Keeping again(file(), {});
  again.card("a");
  const auto rows = store::StoreReader::open(file()).value()->journal().value();
  EXPECT_EQ(std::count_if(rows.begin(), rows.end(), [](const auto& row) { return row.kind == run_hours_row; }), 1);
}

TEST_F(BenchCardsTest, AFailedRunHasTheHourWithPowerAtWhichItWasCut) {
  Keeping cards(file(), {});
  store_run(cards.store(), "a", "1", 66);
  const Json run = cards.card("a")["runs"][0];
  // On for 66 min, and the trip dwells for seconds.
  EXPECT_NEAR(run["failed_s"].get<double>(), 66.0 * 60.0, 30.0);
  const Json memory = Json::parse(cards.make("memory").value().bytes);
  EXPECT_EQ(memory["failures"], 1);
  EXPECT_EQ(memory["kinds"][0]["kind"], "tube-pp-fixed-bias");
}

TEST_F(BenchCardsTest, ASignatureThatComesLaterCounts) {
  Keeping cards(file(), {});
  const auto run = store_run(cards.store(), "a", "1");
  EXPECT_EQ(cards.card("a")["runs"][0]["verdict"], "pass");
  cards.store().append_event(run, at_ms(9'400'000), "signature", R"({"who":"Ben","word":"fail"})");
  ASSERT_TRUE(cards.store().flush());
  EXPECT_EQ(cards.card("a")["runs"][0]["verdict"], "fail");
  EXPECT_EQ(cards.card("a")["runs"][0]["signed_by"], "Ben");
}

TEST_F(BenchCardsTest, ASafetyTestOfAConfiguredUnitIsWhatTheListBeforeLeavingLooksFor) {
  Keeping cards(file(), {{"wexmere_r", "Wexmere M50", "M50-0412R", "tube-pp-fixed-bias"}});
  ASSERT_TRUE(cards.add("wexmere_r", "safety_test", {{"text", "earth 0.09 ohm"}}));
  ASSERT_TRUE(cards.store().flush());
  const auto rows = store::StoreReader::open(file()).value()->journal().value();
  ASSERT_EQ(rows.back().kind, "unit_fact");
  const auto json = Json::parse(rows.back().json);
  EXPECT_EQ(json["unit"], "wexmere_r");
  EXPECT_EQ(json["serial"], "M50-0412R");
}

TEST_F(BenchCardsTest, WhatCouldNotBeStoredIsNotOnTheCard) {
  Keeping cards(file(), {});
  cards.is_disk_full = true;
  const auto refused = cards.add("m50", "remark", {{"text", "x"}});
  ASSERT_FALSE(refused);
  EXPECT_EQ(refused.error().fault, Fault::io);
  EXPECT_FALSE(cards.make("cards", "m50"));
}

TEST_F(BenchCardsTest, AQuestionThatCannotBeAnsweredSaysWhy) {
  Keeping cards(file(), {});
  EXPECT_EQ(cards.make("cards", "nobody").error().fault, Fault::bad_data);
  for (const char* hours : {"x", "0", "-3", "1e9", "nan", "1,5"}) EXPECT_EQ(cards.make("memory", {}, {{"hours", hours}}).error().fault, Fault::usage) << hours;
  EXPECT_EQ(cards.make("memory", {}, {{"day", "1"}}).error().fault, Fault::usage);
  EXPECT_EQ(cards.make("cards", {}, {{"find", std::string(card::find_text_bytes_max + 1, 'x')}}).error().fault, Fault::usage);
}

// ---- photos ----

TEST_F(BenchCardsTest, APhotoComesBackAsItCame) {
  Keeping cards(file(), {});
  const auto made = cards.add_photo("m50", jpeg);
  ASSERT_TRUE(made) << made.error().text();
  const std::string digest = (*made)["card"]["photos"][0]["sha256"];
  const auto photo = cards.make("photos", digest);
  ASSERT_TRUE(photo) << photo.error().text();
  EXPECT_EQ(photo->bytes, jpeg);
  EXPECT_EQ(photo->content_type, "image/jpeg");
}

TEST_F(BenchCardsTest, WhatIsNoPictureIsRefusedAndNothingIsWritten) {
  Keeping cards(file(), {});
  for (const char* bytes : {"", "<svg onload=alert(1)>", "GIF89a", "\xFF\xD8", "%PDF-1.7"}) EXPECT_EQ(cards.add_photo("m50", bytes).error().fault, Fault::usage) << bytes;
  EXPECT_EQ(cards.add_photo("m50", jpeg, "").error().fault, Fault::usage);
  EXPECT_EQ(cards.add_photo("../m50", jpeg).error().fault, Fault::usage);
  EXPECT_FALSE(std::filesystem::exists(photo_folder(file())));
}

TEST_F(BenchCardsTest, APhotoThatTheDiskChangedIsNotShown) {
  Keeping cards(file(), {});
  const std::string digest = (*cards.add_photo("m50", jpeg))["card"]["photos"][0]["sha256"];
  std::ofstream(photo_folder(file()) + "/" + digest, std::ios::app) << "x";
  EXPECT_EQ(cards.make("photos", digest).error().fault, Fault::io);
}

TEST_F(BenchCardsTest, OnlyADigestNamesAPhoto) {
  Keeping cards(file(), {});
  for (const char* name : {"../s.db", "..", "", "/etc/hostname", "ABCDEF"}) EXPECT_EQ(cards.make("photos", name).error().fault, Fault::bad_data) << name;
  EXPECT_EQ(cards.make("photos", std::string(64, 'a')).error().fault, Fault::bad_data);
}

TEST_F(BenchCardsTest, ALinkInTheFolderOfPhotosIsNotFollowed) {
  Keeping cards(file(), {});
  ASSERT_TRUE(cards.add_photo("m50", jpeg));
  const std::string name(64, 'b');
  std::filesystem::create_symlink(file(), photo_folder(file()) + "/" + name);
  EXPECT_FALSE(cards.make("photos", name));
}

TEST_F(BenchCardsTest, APhotoThatCannotBeWrittenIsNotOnTheCard) {
  Keeping cards(file(), {});
  std::ofstream(photo_folder(file())) << "in the way";
  EXPECT_EQ(cards.add_photo("m50", jpeg).error().fault, Fault::io);
  EXPECT_FALSE(cards.make("cards", "m50"));
}

}  // namespace
}  // namespace steadyglow::app
