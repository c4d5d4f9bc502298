#include "card/cards.hpp"

#include <gtest/gtest.h>

#include "card/written.hpp"

namespace steadyglow::card {
namespace {

using Kind = EntryKind;

std::string refusal_of(const Result<void>& result) { return result ? "" : result.error().message; }

// --- folding

TEST(Card, EntryComesBackFromItsRowAsItWasWritten) {
  Entry entry;
  entry.utc_ms = 5;
  entry.card = "wexmere-m50-r";
  entry.serial = "M50-0412R";
  entry.who = "Ada";
  entry.kind = Kind::repair;
  entry.corrects = 3;
  entry.fields = {{"told", "hum"}, {"found", "C12 dry"}, {"parts_in", {"C12 220 uF"}}};
  const RowText text = row_of(entry);
  const auto back = entry_of({9, 5, text.kind, text.json});
  ASSERT_TRUE(back.has_value());
  EXPECT_EQ(back->id, 9);
  EXPECT_EQ(back->card, entry.card);
  EXPECT_EQ(back->serial, entry.serial);
  EXPECT_EQ(back->corrects, 3);
  EXPECT_EQ(back->fields, entry.fields);
}

TEST(Card, EveryEntrySaysWhoAndWhen) {
  Shop shop;
  shop.write("m50", Kind::remark, {{"text", "knob is loose"}});
  EXPECT_EQ(shop.card("m50").entries[0].who, "Ada");
  EXPECT_EQ(to_json(shop.card("m50"))["entries"][0]["utc"], "2026-01-01T00:00:00Z");
}

TEST(Card, PlateIsMadeOfAllThatWasWrittenOfIt) {
  Shop shop;
  shop.write("m50", Kind::unit, {{"model", "M50"}, {"serial", "M50-0412R"}, {"nameplate_volts", 230}});
  shop.write("m50", Kind::unit, {{"stock_number", "S-88"}});
  const Plate& plate = shop.card("m50").plate;
  EXPECT_EQ(plate.model, "M50");
  EXPECT_EQ(plate.stock_number, "S-88");
  EXPECT_EQ(plate.nameplate_volts, 230.0);
}

TEST(Card, NewestTubeOfASocketIsTheOneInIt) {
  Shop shop;
  shop.write("m50", Kind::tube, {{"socket", "V1"}, {"type", "25 W pentode"}, {"identity", "W-0421"}});
  shop.write("m50", Kind::tube, {{"socket", "V2"}, {"type", "25 W pentode"}, {"identity", "W-0422"}});
  shop.write("m50", Kind::tube, {{"socket", "v1"}, {"type", "25 W pentode"}, {"identity", "W-0500"}, {"prior_hours", 12}});
  const auto tubes = shop.card("m50").tubes();
  ASSERT_EQ(tubes.size(), 2u);
  EXPECT_EQ(tubes[0]->text("identity"), "W-0500");
}

TEST(Card, SafetyTestOfTheListBeforeLeavingStandsOnTheCard) {
  Shop shop;
  shop.write("m50", Kind::unit, {{"serial", "M50-0412R"}});
  shop.cards.take(Row{40, day_of_tests_ms, "unit_fact", R"({"unit":"m50","serial":"M50-0412R","kind":"safety_test","who":"Ben","text":"earth 0.09 ohm","of":"x"})"});
  const auto tests = shop.card("m50").standing(Kind::safety_test);
  ASSERT_EQ(tests.size(), 1u);
  EXPECT_EQ(tests[0]->text("text"), "earth 0.09 ohm");
}

TEST(Card, SafetyTestOfACardIsTheFactThatTheListAsksFor) {
  Shop shop;
  Entry entry = shop.draft("m50", Kind::safety_test, {{"text", "earth 0.09 ohm"}});
  entry.serial = "M50-0412R";
  const RowText row = row_of(entry);
  EXPECT_EQ(row.kind, "unit_fact");
  const auto json = nlohmann::json::parse(row.json);
  EXPECT_EQ(json["kind"], "safety_test");
  EXPECT_EQ(json["unit"], "m50");
  EXPECT_EQ(json["serial"], "M50-0412R");
}

TEST(Card, OtherFactsAreNoEntries) {
  Cards cards;
  cards.take(Row{1, 0, "unit_fact", R"({"unit":"m50","kind":"limits_reviewed","who":"Ada","text":"sheet 4"})"});
  cards.take(Row{2, 0, "rehearsal", R"({"unit":"m50"})"});
  cards.take(Row{3, 0, "card_horoscope", R"({"unit":"m50","who":"Ada","fields":{}})"});
  cards.take(Row{4, 0, "card_remark", "no JSON"});
  EXPECT_TRUE(cards.all().empty());
}

TEST(Card, SoldAndReturnedSayWhereItIs) {
  Shop shop;
  shop.write("m50", Kind::unit, {{"model", "M50"}});
  EXPECT_EQ(shop.card("m50").whereabouts(), Whereabouts::in_shop);
  shop.write("m50", Kind::sold, {{"day", "2025-11-01"}});
  EXPECT_EQ(shop.card("m50").whereabouts(), Whereabouts::sold);
  const auto back = shop.write("m50", Kind::returned, {{"day", "2025-12-31"}, {"complaint", "hum"}, {"is_fault", true}});
  EXPECT_EQ(shop.card("m50").whereabouts(), Whereabouts::returned);
  shop.write("m50", Kind::remark, {{"text", "wrong card"}}, back);
  EXPECT_EQ(shop.card("m50").whereabouts(), Whereabouts::sold);
}

// --- corrections

TEST(Correction, TheOldEntryStaysAndCountsNoMore) {
  Shop shop;
  const auto wrong = shop.write("m50", Kind::tube, {{"socket", "V1"}, {"type", "25 W pentode"}, {"identity", "W-0412"}});
  const auto right = shop.write("m50", Kind::tube, {{"socket", "V1"}, {"type", "25 W pentode"}, {"identity", "W-0421"}}, wrong);
  const Card& card = shop.card("m50");
  ASSERT_EQ(card.entries.size(), 2u);
  EXPECT_EQ(card.entries[0].corrected_by, right);
  EXPECT_EQ(card.entries[0].text("identity"), "W-0412");
  ASSERT_EQ(card.tubes().size(), 1u);
  EXPECT_EQ(card.tubes()[0]->text("identity"), "W-0421");
}

TEST(Correction, APlateThatWasWithdrawnSaysNothingMore) {
  Shop shop;
  const auto wrong = shop.write("m50", Kind::unit, {{"title", "Ostrel 9"}, {"stock_number", "S-9"}});
  shop.write("m50", Kind::remark, {{"text", "that was another unit's"}}, wrong);
  EXPECT_EQ(shop.card("m50").title(), "m50");
  EXPECT_EQ(shop.card("m50").plate.stock_number, "");
}

TEST(Correction, OfWhatIsNotThereIsRefused) {
  Shop shop;
  shop.write("m50", Kind::remark, {{"text", "a"}});
  EXPECT_NE(refusal_of(shop.cards.accepts(shop.draft("m50", Kind::remark, {{"text", "b"}}, 77))).find("no entry 77"), std::string::npos);
  EXPECT_NE(refusal_of(shop.cards.accepts(shop.draft("ostrel9", Kind::remark, {{"text", "b"}}, 1))).find("no entry 1"), std::string::npos);
}

TEST(Correction, OfWhatWasCorrectedIsRefusedAndSaysWhichToTake) {
  Shop shop;
  const auto first = shop.write("m50", Kind::remark, {{"text", "a"}});
  const auto second = shop.write("m50", Kind::remark, {{"text", "b"}}, first);
  const auto refused = shop.cards.accepts(shop.draft("m50", Kind::remark, {{"text", "c"}}, first));
  ASSERT_FALSE(refused.has_value());
  EXPECT_EQ(refused.error().hint, "correct entry " + std::to_string(second));
}

TEST(Correction, ByAnotherKindIsRefused) {
  Shop shop;
  const auto sold = shop.write("m50", Kind::sold, {{"day", "2025-11-01"}});
  EXPECT_FALSE(shop.cards.accepts(shop.draft("m50", Kind::unit, {{"model", "M50"}}, sold)).has_value());
}

TEST(Correction, ASafetyTestIsNotWithdrawnByARemark) {
  Shop shop;
  const auto test = shop.write("m50", Kind::safety_test, {{"text", "earth 0.09 ohm"}});
  EXPECT_FALSE(shop.cards.accepts(shop.draft("m50", Kind::remark, {{"text", "oh"}}, test)).has_value());
  EXPECT_TRUE(shop.cards.accepts(shop.draft("m50", Kind::safety_test, {{"text", "earth 0.9 ohm: not good"}}, test)).has_value());
}

// --- refusals

TEST(Refusal, NamesTheFieldAndWhatTheKindHas) {
  Shop shop;
  const auto refused = shop.cards.accepts(shop.draft("m50", Kind::tube, {{"socket", "V1"}, {"brand", "x"}}));
  ASSERT_FALSE(refused.has_value());
  EXPECT_EQ(refused.error().message, "a tube has no field `brand`");
  EXPECT_NE(refused.error().hint.find("socket (needed)"), std::string::npos);
}

struct BadEntry {
  const char* what;
  Kind kind;
  nlohmann::ordered_json fields;
};

class BadEntries : public testing::TestWithParam<BadEntry> {};

TEST_P(BadEntries, AreRefusedWithAWord) {
  const Shop shop;
  const auto refused = shop.cards.accepts(shop.draft("m50", GetParam().kind, GetParam().fields));
  ASSERT_FALSE(refused.has_value()) << GetParam().what;
  EXPECT_EQ(refused.error().fault, Fault::usage);
  EXPECT_FALSE(refused.error().message.empty());
}

INSTANTIATE_TEST_SUITE_P(
    Card, BadEntries,
    testing::Values(BadEntry{"nothing in it", Kind::unit, nlohmann::ordered_json::object()}, BadEntry{"no object", Kind::unit, nlohmann::ordered_json::array()},
                    BadEntry{"a needed field is missing", Kind::repair, {{"told", "hum"}}}, BadEntry{"an empty text", Kind::remark, {{"text", "  "}}},
                    BadEntry{"a text too long", Kind::remark, {{"text", std::string(text_bytes_max + 1, 'x')}}}, BadEntry{"a control character", Kind::remark, {{"text", "a\nb"}}},
                    BadEntry{"text for a number", Kind::unit, {{"nameplate_volts", "230"}}}, BadEntry{"a nameplate of 23 kV", Kind::unit, {{"nameplate_volts", 23000}}},
                    BadEntry{"less than no hours", Kind::tube, {{"socket", "V1"}, {"type", "x"}, {"prior_hours", -1}}}, BadEntry{"31 February", Kind::sold, {{"day", "2026-02-31"}}},
                    BadEntry{"a day as it is spoken", Kind::sold, {{"day", "1.1.2026"}}}, BadEntry{"a day to come", Kind::sold, {{"day", "2026-03-01"}}},
                    BadEntry{"a return without a word on whose fault", Kind::returned, {{"day", "2025-12-31"}, {"complaint", "hum"}}}, BadEntry{"parts that are no list", Kind::repair, {{"found", "x"}, {"parts_in", "C12"}}},
                    BadEntry{"a part that is a number", Kind::repair, {{"found", "x"}, {"parts_in", {12}}}}, BadEntry{"a digest that is none", Kind::photo, {{"sha256", "../../etc"}, {"content_type", "image/png"}, {"bytes", 5}}},
                    BadEntry{"a uom with a blank", Kind::adjustment, {{"what", "bias"}, {"before", 44}, {"after", 38}, {"uom", "m A"}}}));

TEST(Refusal, ACardHasAPlainName) {
  const Shop shop;
  for (const char* name : {"", "a b", "../x", "a/b", "ü"}) EXPECT_FALSE(shop.cards.accepts(shop.draft(name, Kind::remark, {{"text", "x"}})).has_value()) << name;
  EXPECT_FALSE(shop.cards.accepts(shop.draft(std::string(name_bytes_max + 1, 'a'), Kind::remark, {{"text", "x"}})).has_value());
}

TEST(Refusal, SomebodyWritesIt) {
  const Shop shop;
  Entry entry = shop.draft("m50", Kind::remark, {{"text", "x"}});
  entry.who = " ";
  EXPECT_FALSE(shop.cards.accepts(entry).has_value());
}

TEST(Day, IsAFullDateOfTheCalendar) {
  EXPECT_EQ(day_ms("2026-01-01"), day_of_tests_ms);
  EXPECT_TRUE(day_ms("2024-02-29").has_value());
  EXPECT_FALSE(day_ms("2026-02-29").has_value());
  EXPECT_FALSE(day_ms("2026-1-1").has_value());
  EXPECT_FALSE(day_ms("2026-01-0x").has_value());
}

// --- which unit is which

TEST(WhichUnit, AReturnStandsBesideItsFirstRun) {
  Shop shop;
  shop.run("wexmere_r", "M50-0412R", "pass", 24.0);
  shop.write("wexmere_r", Kind::sold, {{"day", "2025-11-01"}});
  shop.run("on_bench_2", "m50 0412r", "pass", 24.0);  // another name in the configuration, the same plate
  ASSERT_EQ(shop.cards.all().size(), 1u);
  EXPECT_EQ(shop.card("wexmere_r").runs.size(), 2u);
}

TEST(WhichUnit, ANameThatIsUsedAgainIsAnotherUnit) {
  Shop shop;
  shop.run("bench_a", "A-1", "pass", 24.0);
  shop.title = "Ostrel 9";
  shop.run("bench_a", "O9-7", "pass", 24.0);
  ASSERT_EQ(shop.cards.all().size(), 2u);
  EXPECT_EQ(shop.card("bench_a").runs.size(), 1u);
  EXPECT_EQ(shop.card("bench_a-o97").title(), "Ostrel 9");
}

TEST(WhichUnit, OneNumberOnTwoModelsIsTwoUnits) {
  Shop shop;
  shop.run("wexmere", "0117", "pass", 24.0);
  shop.title = "Carrowen A30";
  shop.run("carrowen", "0117", "pass", 24.0);
  EXPECT_EQ(shop.cards.all().size(), 2u);
}

TEST(WhichUnit, ACorrectedSerialNumberKeepsItsRuns) {
  Shop shop;
  const auto wrong = shop.write("m50", Kind::unit, {{"serial", "M50-0412L"}});
  shop.write("m50", Kind::unit, {{"serial", "M50-0412R"}}, wrong);
  shop.run("m50", "M50-0412L", "pass", 24.0);
  shop.run("m50", "M50-0412R", "pass", 24.0);
  EXPECT_EQ(shop.card("m50").runs.size(), 2u);
}

TEST(WhichUnit, AConfiguredUnitHasACardBeforeItsFirstRun) {
  Cards cards;
  cards.take(ConfiguredUnit{"ostrel9", "Ostrel 9", "O9-7", "tube-se-triode"});
  EXPECT_EQ(to_list_json(cards.all()[0])["is_configured"], true);
  EXPECT_EQ(cards.card_of("ostrel9", "O9-7")->title(), "Ostrel 9");
}

// --- search

class Search : public testing::Test {
 protected:
  void SetUp() override {
    shop.write("wexmere-m50-r", Kind::unit, {{"title", "Wexmere M50"}, {"model", "M50"}, {"serial", "M50-0412R"}, {"stock_number", "S-88"}});
    shop.write("wexmere-m50-r", Kind::tube, {{"socket", "V1"}, {"type", "25 W pentode"}, {"identity", "W-0421"}});
    shop.write("wexmere-m50-r", Kind::tube, {{"socket", "V1"}, {"type", "25 W pentode"}, {"identity", "W-0500"}});
    shop.write("ostrel-9", Kind::unit, {{"title", "Ostrel 9"}, {"serial", "M50"}});
    shop.title = "Tolvane R-22";
    shop.run("tolvane", "R22-1187", "pass", 24.0);
  }
  std::string first(const std::string& text) const {
    const auto found = shop.cards.find(text);
    return found.empty() ? "" : found[0].card->name;
  }
  Shop shop;
};

TEST_F(Search, BySerialWithoutItsDashes) { EXPECT_EQ(first("m50 0412r"), "wexmere-m50-r"); }
TEST_F(Search, ByStockNumber) { EXPECT_EQ(first("s88"), "wexmere-m50-r"); }
TEST_F(Search, ByTitle) { EXPECT_EQ(first("OSTREL"), "ostrel-9"); }
TEST_F(Search, ByTubeThatWasInIt) { EXPECT_EQ(first("w-0421"), "wexmere-m50-r"); }
TEST_F(Search, ByRunOfAUnitThatNobodyWroteACardFor) { EXPECT_EQ(first("R22 1187"), "tolvane"); }
TEST_F(Search, AWholeSerialNumberComesBeforeAModel) {
  EXPECT_EQ(first("M50"), "ostrel-9");
  EXPECT_EQ(shop.cards.find("M50").size(), 2u);
}
TEST_F(Search, EveryWordMustBeSomewhere) {
  EXPECT_EQ(first("wexmere 88"), "wexmere-m50-r");
  EXPECT_EQ(first("wexmere 99"), "");
}
TEST_F(Search, SaysWhereItFoundIt) {
  const auto found = shop.cards.find("0421");
  ASSERT_EQ(found.size(), 1u);
  EXPECT_EQ(found[0].by[0].field, "tube");
  EXPECT_EQ(found[0].by[0].text, "W-0421");
}
TEST_F(Search, NothingFindsNothing) {
  EXPECT_TRUE(shop.cards.find("").empty());
  EXPECT_TRUE(shop.cards.find(" - ").empty());
}

}  // namespace
}  // namespace steadyglow::card
