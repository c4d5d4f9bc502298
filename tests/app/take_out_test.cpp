#include <gtest/gtest.h>
#include <unistd.h>

#include <bit>
#include <cmath>
#include <filesystem>
#include <fstream>
#include <functional>

#include "app/import_run.hpp"
#include "app/store_folder.hpp"
#include "profile/profile_toml.hpp"
#include "record/tell_run.hpp"
#include "soak/verdict.hpp"
#include "store/export.hpp"
#include "store/reader.hpp"
#include "store/store.hpp"

namespace steadyglow::app {
namespace {

constexpr const char* profile_text =
    "[profile]\nkind = \"tube-pp-fixed-bias\"\nmains_nominal_volts = 230.0\n"
    "[[point]]\nname = \"v1_cathode_mv\"\nquantity = \"voltage\"\nuom = \"mV\"\nrole = \"bias\"\nnominal = 380.0\nwarn = { low = 300.0, high = 456.0 }\ntrip = { high = 570.0 }\nsense_ohms = 10.0\n"
    "[[point]]\nname = \"mains_v\"\nquantity = \"voltage\"\nuom = \"V\"\nrole = \"mains_voltage\"\n"
    "[[point]]\nname = \"mains_a\"\nquantity = \"current\"\nuom = \"A\"\nrole = \"mains_current\"\n";
constexpr const char* plan_text =
    "[plan]\ntitle = \"short\"\nat_end = \"off\"\n[[stage]]\nkind = \"warm_up\"\nminutes = 20\n[[stage]]\nkind = \"baseline\"\nminutes = 10\n[[stage]]\nkind = \"idle_soak\"\nminutes = 30\ncounted = true\n";

class TakeOut : public testing::Test {
 protected:
  TakeOut() {
    const auto* test = testing::UnitTest::GetInstance()->current_test_info();
    path_ = std::filesystem::current_path() / ("take_out_" + std::string(test->name()) + "_" + std::to_string(getpid()));
    std::filesystem::remove_all(path_);
    std::filesystem::create_directories(path_);
    write("p.toml", profile_text);
    write("l.toml", plan_text);
  }
  ~TakeOut() override { std::filesystem::remove_all(path_); }

  std::string file(const std::string& name) const { return (path_ / name).string(); }
  void write(const std::string& name, const std::string& text) const { std::ofstream(file(name), std::ios::binary) << text; }
  std::string read(const std::string& name) const {
    std::ifstream in(file(name), std::ios::binary);
    return {std::istreambuf_iterator<char>(in), {}};
  }

  ImportOptions options(const std::string& log) const {
    ImportOptions made;
    made.store = file("s.db");
    made.file = file(log);
    made.profile = file("p.toml");
    made.plan = file("l.toml");
    made.unit = "brindlecombe35";
    made.title = "Brindlecombe 35";
    made.serial = "B35-0117";
    made.who = "Imke";
    made.began = "2026-01-31T22:00:00Z";
    made.may_begin_store = true;
    return made;
  }
  /// The mistake with which a log is refused; empty: it was taken.
  std::string refusal(const std::string& text) const {
    write("log.csv", text);
    Errors errors;
    const auto done = import_run(options("log.csv"), errors);
    return done ? "" : errors.front().text();
  }
  void expect_refused(const std::string& text, const std::string& where, const std::string& words) const {
    const std::string told = refusal(text);
    EXPECT_NE(told.find(where), std::string::npos) << told;
    EXPECT_NE(told.find(words), std::string::npos) << told;
  }
  std::uint64_t runs_in_store() const {
    if (!std::filesystem::exists(file("s.db"))) return 0;
    const auto check = store::check_store(file("s.db"));
    return check ? check->runs + check->batches : 0;
  }

  /// An hour as a daemon would have stored it: an engine is fed, and what goes in goes to the store. Returns the verdict.
  std::string store_a_night(const std::string& name, const std::function<double(int)>& v1) const {
    Errors errors;
    soak::Engine engine(*profile::parse_profile(profile_text, "p", errors), *profile::parse_plan(plan_text, "l", errors));
    auto store = store::Store::open(file(name));
    if (!store) throw std::runtime_error(store.error().text());
    store::RunRow row;
    row.unit = "brindlecombe35";
    row.title = "Brindlecombe 35";
    row.serial = "B35-0117";
    row.profile_name = "p";
    row.profile_text = profile_text;
    row.plan_name = "l";
    row.plan_text = plan_text;
    row.started_utc = "2026-01-31T22:00:00.000Z";
    row.boot_id = "b";
    row.started_by = "Ada";
    row.points = {"v1_cathode_mv", "mains_v", "mains_a"};
    const auto run = (*store)->begin_run(row);
    for (int i = 0; i < 4000; ++i) {
      const Timestamp at = at_ms(1000 * i + i % 7);
      const double on = engine.power() == soak::Power::on ? 1.0 : 0.0;
      std::vector<Reading> batch{Reading::good(PointId{0}, at, on * v1(i) + 0.1 * (i % 3)), Reading::good(PointId{1}, at, 230.0 + 0.01 * (i % 11))};
      if (i % 50 == 7) batch.push_back(Reading::bad(PointId{2}, at, Quality::no_answer, 9.9e37));
      else batch.push_back(Reading::good(PointId{2}, at, on * 0.55 + 1e-7 * i));
      (void)engine.take(batch);
      (*store)->append_readings(run, at, batch);
    }
    (*store)->end_run(run, "2026-01-31T23:06:40.000Z");
    if (!(*store)->flush()) throw std::runtime_error("not stored");
    return engine.verdict() ? std::string(soak::to_word(engine.verdict()->word)) : "none";
  }
  void export_to(const std::string& store, std::int64_t run, const std::string& name, bool is_json) const {
    auto reader = store::StoreReader::open(file(store));
    std::ofstream out(file(name), std::ios::binary);
    const auto done = is_json ? store::write_json_lines(**reader, run, out) : store::write_csv(**reader, run, out);
    if (!done) throw std::runtime_error(done.error().text());
  }

 private:
  std::filesystem::path path_;
};

/// Every reading of a run, bit for bit.
std::vector<std::string> readings_of(const std::string& store, std::int64_t run, bool with_bad_values) {
  std::vector<std::string> told;
  auto reader = store::StoreReader::open(store);
  (void)(*reader)->for_each_input(run, [&](const store::InputRow& input) {
    for (const Reading& r : input.readings)
      told.push_back(std::to_string(ms_of(input.at)) + ' ' + std::to_string(r.point().index) + ' ' + std::string(to_word(r.quality())) + ' ' +
                     (r.is_good() || with_bad_values ? std::to_string(std::bit_cast<std::uint64_t>(r.as_met())) : ""));
  });
  return told;
}

double steady(int) { return 380.0; }
double runs_away(int i) { return i < 3000 ? 380.0 : 380.0 * std::exp2((i - 3000) / 360.0); }

// ---- there and back

TEST_F(TakeOut, CsvGivesBackTheSameReadingsAndTheSameVerdict) {
  for (const auto& course : {steady, runs_away}) {
    const std::string name = course == steady ? "steady" : "away";
    const std::string verdict = store_a_night(name + ".db", course);
    export_to(name + ".db", 1, name + ".csv", false);
    auto wanted = options(name + ".csv");
    wanted.store = file(name + ".new.db");
    Errors errors;
    const auto made = import_run(wanted, errors);
    ASSERT_TRUE(made) << errors.front().text();
    EXPECT_EQ(made->verdict, verdict);
    EXPECT_EQ(readings_of(file(name + ".new.db"), 1, false), readings_of(file(name + ".db"), 1, false));
  }
}

TEST_F(TakeOut, JsonLinesGiveBackWhatBadMetersSaidToo) {
  const std::string verdict = store_a_night("a.db", steady);
  export_to("a.db", 1, "a.jsonl", true);
  ImportOptions wanted;
  wanted.store = file("b.db");
  wanted.file = file("a.jsonl");
  wanted.who = "Imke";
  wanted.may_begin_store = true;
  Errors errors;
  const auto made = import_run(wanted, errors);
  ASSERT_TRUE(made) << errors.front().text();
  EXPECT_EQ(made->verdict, verdict);
  EXPECT_EQ(readings_of(file("b.db"), 1, true), readings_of(file("a.db"), 1, true));
}

TEST_F(TakeOut, WhatWasBroughtInSaysSo) {
  ASSERT_EQ(refusal("time_s,v1_cathode_mv\n0,380\n1,381\n"), "");
  auto reader = store::StoreReader::open(file("s.db"));
  EXPECT_TRUE((**(*reader)->run(1)).is_imported());
  const auto events = (*reader)->events(1);
  EXPECT_EQ(events->back().kind, event_kind_imported);
  EXPECT_NE(events->back().json.find("\"file\":\"log.csv\""), std::string::npos);
  // sha256sum of coreutils over the same bytes.
  EXPECT_NE(events->back().json.find("6e5feaa7d8ecb2c0e2fc5b1330590a5a473e3392ff5ccb1651afb0c00f335236"), std::string::npos);
}

// ---- a bad log

TEST_F(TakeOut, ADecimalCommaIsToldWithItsLine) {
  expect_refused("time_s,v1_cathode_mv\n0,380,5\n", "log.csv:2:", "a decimal comma parts one value into two");
  expect_refused("time_s,v1_cathode_mv\n0,\"380,5\"\n", "log.csv:2:", "write a decimal point");
}
TEST_F(TakeOut, SemicolonsAndTabsAreNamed) {
  expect_refused("time_s;v1_cathode_mv\n0;380\n", "log.csv:1:", "parted by semicolons");
  expect_refused("time_s\tv1_cathode_mv\n0\t380\n", "log.csv:1:", "parted by tabs");
}
TEST_F(TakeOut, AByteOrderMarkAndCrlfAreNothingBad) { EXPECT_EQ(refusal("\xEF\xBB\xBFtime_s,v1_cathode_mv\r\n0,380\r\n1,381\r\n"), ""); }
TEST_F(TakeOut, ATimeThatStandsTwiceIsRefused) { expect_refused("time_s,v1_cathode_mv\n0,380\n1,380\n1.0002,381\n", "log.csv:4:", "stands here twice"); }
TEST_F(TakeOut, ATimeThatGoesBackIsRefused) { expect_refused("time_s,v1_cathode_mv\n5,380\n4,381\n", "log.csv:3:", "goes back by 1.000 s"); }
TEST_F(TakeOut, AFormulaIsNeverComputed) {
  expect_refused("time_s,v1_cathode_mv\n0,=1+2\n", "log.csv:2:", "nothing was computed");
  expect_refused("time_s,v1_cathode_mv\n0,@SUM(A1)\n", "log.csv:2:", "formula");
}
TEST_F(TakeOut, AStrangeHeaderIsRefused) { expect_refused("time_s,v1_cathode\n0,380\n", "log.csv:1:", "did you mean `v1_cathode_mv`?"); }
TEST_F(TakeOut, ANulByteIsNoText) { expect_refused(std::string("time_s,v1_cathode_mv\n0,38\0\n", 27), "log.csv:2:", "NUL"); }
TEST_F(TakeOut, AnEmptyLogIsRefused) { expect_refused("time_s,v1_cathode_mv\n", "log.csv", "no reading"); }

TEST_F(TakeOut, ALineOfTwoGigabytesIsRefusedAtItsBeginning) {
  write("log.csv", "time_s,v1_cathode_mv\n0,");
  std::ofstream(file("log.csv"), std::ios::app | std::ios::binary) << std::string(300 * 1024, '1');
  std::filesystem::resize_file(file("log.csv"), std::uintmax_t{2} << 30);  // the rest is a hole
  Errors errors;
  EXPECT_FALSE(import_run(options("log.csv"), errors));
  EXPECT_NE(errors.front().text().find("longer than 262144 bytes"), std::string::npos) << errors.front().text();
}

TEST_F(TakeOut, NothingIsHalfBroughtIn) {
  std::string log = "time_s,v1_cathode_mv\n";
  for (int i = 0; i < 3000; ++i) log += std::to_string(i) + ",380\n";
  ASSERT_NE(refusal(log + "3000,warm\n"), "");
  EXPECT_EQ(runs_in_store(), 0u);
}

TEST_F(TakeOut, EveryMissingWordIsToldAtOnce) {
  write("log.csv", "time_s,v1_cathode_mv\n0,380\n");
  auto wanted = options("log.csv");
  wanted.who.clear();
  wanted.unit = "Brindle combe";
  wanted.began = "yesterday";
  Errors errors;
  EXPECT_FALSE(import_run(wanted, errors));
  EXPECT_EQ(errors.size(), 3u);
}

TEST_F(TakeOut, WhileADaemonHasTheStoreItIsRefused) {
  write("log.csv", "time_s,v1_cathode_mv\n0,380\n");
  const auto daemon = store::Store::open(file("s.db"));
  Errors errors;
  EXPECT_FALSE(import_run(options("log.csv"), errors));
  EXPECT_EQ(errors.front().fault, Fault::unavailable);
  EXPECT_NE(errors.front().hint.find("stop the daemon"), std::string::npos);
}

TEST_F(TakeOut, JsonOfAStrangerIsBounded) {
  write("deep.jsonl", "{\"what\":\"run\",\"a\":" + std::string(5000, '[') + "\n");
  Errors errors;
  EXPECT_FALSE(import_run(options("deep.jsonl"), errors));
  EXPECT_NE(errors.front().text().find("deep.jsonl:1"), std::string::npos) << errors.front().text();
}

// ---- backup and restore

TEST_F(TakeOut, ABackupComesBackWithItsPhotos) {
  store_a_night("s.db", steady);
  std::filesystem::create_directory(file("s.db.photos"));
  // SHA-256 of "abc": FIPS 180-4, the first example of NIST's set.
  write("s.db.photos/ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad", "abc");
  const auto made = back_up({.store = file("s.db"), .out = file("b"), .has_key = false, .progress = {}});
  ASSERT_TRUE(made) << made.error().text();
  EXPECT_TRUE(made->doubts.empty());
  const auto back = restore(file("b"), file("r.db"), {});
  ASSERT_TRUE(back) << back.error().text();
  EXPECT_EQ(readings_of(file("r.db"), 1, true), readings_of(file("s.db"), 1, true));
  EXPECT_EQ(read("r.db.photos/ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"), "abc");
}

TEST_F(TakeOut, APhotoThatIsNotWhatItsNameSaysIsTold) {
  store_a_night("s.db", steady);
  std::filesystem::create_directory(file("s.db.photos"));
  write("s.db.photos/ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad", "abd");
  EXPECT_EQ(back_up({.store = file("s.db"), .out = file("b"), .has_key = false, .progress = {}})->doubts.size(), 1u);
}

TEST_F(TakeOut, TheKeyGoesWithItOnlyWhenAsked) {
  store_a_night("s.db", steady);
  write("s.db.seal_key", "secret");
  ASSERT_TRUE(back_up({.store = file("s.db"), .out = file("without"), .has_key = false, .progress = {}}));
  ASSERT_TRUE(back_up({.store = file("s.db"), .out = file("with"), .has_key = true, .progress = {}}));
  EXPECT_FALSE(std::filesystem::exists(file("without/signing.key")));
  ASSERT_TRUE(restore(file("with"), file("r.db"), {}));
  EXPECT_EQ(read("r.db.seal_key"), "secret");
  EXPECT_EQ(std::filesystem::status(file("r.db.seal_key")).permissions(), std::filesystem::perms::owner_read | std::filesystem::perms::owner_write);
}

TEST_F(TakeOut, AStoreIsNeverWrittenOver) {
  store_a_night("s.db", steady);
  ASSERT_TRUE(back_up({.store = file("s.db"), .out = file("b"), .has_key = false, .progress = {}}));
  EXPECT_EQ(restore(file("b"), file("s.db"), {}).error().fault, Fault::cannot_create);
  write("n.db-wal", "of somebody");
  EXPECT_EQ(restore(file("b"), file("n.db"), {}).error().fault, Fault::cannot_create);
}

TEST_F(TakeOut, ABackupThatWasChangedIsRefusedAndNothingIsLeft) {
  store_a_night("s.db", steady);
  ASSERT_TRUE(back_up({.store = file("s.db"), .out = file("b"), .has_key = false, .progress = {}}));
  std::fstream(file("b/store.db"), std::ios::in | std::ios::out | std::ios::binary).seekp(5000).write("x", 1);
  EXPECT_EQ(restore(file("b"), file("r.db"), {}).error().fault, Fault::bad_data);
  EXPECT_FALSE(std::filesystem::exists(file("r.db")));
  EXPECT_FALSE(std::filesystem::exists(file("r.db.unfinished")));
}

TEST_F(TakeOut, NamesInABackupLeadNowhereElse) {
  store_a_night("s.db", steady);
  ASSERT_TRUE(back_up({.store = file("s.db"), .out = file("b"), .has_key = false, .progress = {}}));
  for (const char* name : {"../s.db", "photos/../../s.db", "/etc/hostname", "photos/.."}) {
    write("b/contents.json", std::string("{\"what\":\"steadyglow backup\",\"format\":1,\"files\":[{\"file\":\"") + name + "\",\"sha256\":\"0\"}]}");
    EXPECT_EQ(restore(file("b"), file("r.db"), {}).error().fault, Fault::bad_data) << name;
  }
}

}  // namespace
}  // namespace steadyglow::app
