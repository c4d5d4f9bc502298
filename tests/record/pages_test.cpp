#include <gtest/gtest.h>

#include "record/dates.hpp"
#include "record/plain_words.hpp"
#include "record/sample_pages.hpp"

using namespace steadyglow;
using namespace steadyglow::record_test;

namespace {

/// All text that would stand on the pages, one line each.
std::string text_of(const std::vector<record::Block>& blocks) {
  struct Teller {
    std::string text;
    void operator()(const record::Heading& block) { text += block.text + "\n"; }
    void operator()(const record::Paragraph& block) { text += block.text + "\n"; }
    void operator()(const record::ItemList& block) {
      for (const auto& item : block.items) text += item + "\n";
    }
    void operator()(const record::Table& block) {
      for (const auto& row : block.rows)
        for (const auto& cell : row) text += cell + "\n";
    }
    void operator()(const record::Figure& block) { text += block.chart.alt + "\n"; }
    void operator()(const record::PhotoBeside& block) {
      for (const auto& paragraph : block.paragraphs) text += paragraph.text + "\n";
    }
    void operator()(const record::PhotoRow&) {}
    void operator()(const record::NewSide&) {}
  } teller;
  for (const auto& block : blocks) std::visit(teller, block);
  return teller.text;
}

bool has(const std::string& text, const std::string& part) { return text.find(part) != std::string::npos; }

}  // namespace

TEST(Pages, TheBuyersSideSaysWhatItMust) {
  const auto sample = gaps_and_trims();
  const std::string text = text_of(record::pages_of(sample.input).buyer);
  for (const char* part : {"h counted of", "switched off once on purpose", "Trimmed at 5 h 00 min", "Trimmed at 7 h 00 min", "Signed by Ada Thornbury", "last checked on 1 December 2024", "it does not promise a life", "a81c-7710-ee29", "Distortion, noise"})
    EXPECT_TRUE(has(text, part)) << part << " is not in:\n" << text;
}

TEST(Pages, TheMeanOfAnHourHidesNoMinuteOutside) {
  const auto sample = failed();
  EXPECT_TRUE(has(text_of(record::pages_of(sample.input).buyer), "OUTSIDE"));
}

TEST(Pages, EachHalfOfAPairNamesTheOther) {
  const auto pair = mono_pair();
  EXPECT_TRUE(has(text_of(record::pages_of(pair[0].input).buyer), "M50-0412R, code of its record 09f3-41c2-8b6d"));
  EXPECT_TRUE(has(text_of(record::pages_of(pair[1].input).buyer), "M50-0412L, code of its record 5510-aa01-77de"));
}

TEST(Pages, NobodyWhoHasNotSignedIsSaidToHave) {
  const auto sample = twenty_minutes();
  EXPECT_TRUE(has(text_of(record::pages_of(sample.input).buyer), "Nobody has signed"));
}

TEST(Pages, ASignatureThatDiffersFromTheProposalSaysSo) {
  auto sample = failed();
  sample.figures->signature->word = "pass";
  EXPECT_TRUE(has(text_of(record::pages_of(sample.input).buyer), "The program had proposed: Failed."));
}

TEST(Pages, AnOverdueMeterIsSaidToBe) {
  const auto sample = four_points();
  EXPECT_TRUE(has(text_of(record::pages_of(sample.input).technician), "OVERDUE when the run began"));
}

TEST(Pages, TheTechnicianSeesWhatStandsBetweenMeterAndPoint) {
  auto sample = four_points();
  record::Wire& wire = sample.figures->wiring.wires.front();
  wire.chain = "divider 4 MΩ over 33.2 kΩ with 100 kΩ input: × 161.5";
  EXPECT_TRUE(has(text_of(record::pages_of(sample.input).technician), wire.point + " (" + wire.channel + ", divider 4 MΩ over 33.2 kΩ with 100 kΩ input: × 161.5)"));
}

TEST(Pages, ADemoSaysSoOnEverySide) {
  auto sample = twenty_minutes();
  sample.figures->wiring.clock_rate = 480.0;
  EXPECT_TRUE(has(record::pages_of(sample.input).warning, "480 times too fast"));
  const auto html = record::page_html(sample.input);
  EXPECT_TRUE(has(*html, "DEMONSTRATION"));
}

TEST(Pages, WhatSomebodyTypedIsNoMarkup) {
  auto sample = twenty_minutes();
  sample.figures->run.title = "<script>alert('x')</script>\" onload=\"x";
  sample.input.card.done = {"<img src=x onerror=alert(1)>", "\xff\xfe broken", "& < > \" '"};
  const auto html = record::page_html(sample.input);
  ASSERT_TRUE(html);
  EXPECT_FALSE(has(*html, "<script"));
  EXPECT_FALSE(has(*html, "<img src=x"));
  EXPECT_FALSE(has(*html, "\" onload=\""));
  EXPECT_TRUE(record::page_pdf(sample.input, record::PaperSize::a4));
}

TEST(Pages, AVeryLongRemarkGoesOverToTheNextSide) {
  auto sample = twenty_minutes();
  std::string words;
  for (int i = 0; i < 6000; ++i) words += "word" + std::to_string(i) + " ";
  sample.input.card.done = {words};
  sample.figures->alarms.push_back({});
  sample.figures->alarms.back().finding.message = words;
  EXPECT_TRUE(record::page_pdf(sample.input, record::PaperSize::letter));
}

TEST(Pages, APhotoThatIsNoneIsAnError) {
  auto sample = twenty_minutes();
  sample.input.photo = {{"\xff\xd8 no jpeg at all", "x", "x"}};
  const auto pdf = record::page_pdf(sample.input, record::PaperSize::a4);
  ASSERT_FALSE(pdf);
  EXPECT_EQ(pdf.error().fault, Fault::bad_data);
}

TEST(Dates, AreWrittenOut) {
  const auto at = record::utc_from_text("2026-03-12T18:00:00.250Z");
  ASSERT_TRUE(at);
  EXPECT_EQ(record::moment_words(*at), "12 March 2026, 18:00 UTC");
  EXPECT_EQ(record::utc_text(*at), "2026-03-12T18:00:00Z");
  EXPECT_FALSE(record::date_from_text("2026-02-30"));
}

TEST(PlainWords, APointIsNamedForAPerson) {
  profile::Point point;
  point.name = "v1_cathode_mv";
  point.uom = *find_uom(Quantity::voltage, "mV");
  EXPECT_EQ(record::point_words(point), "V1 cathode");
  point.name = "b_plus_v";
  point.uom = *find_uom(Quantity::voltage, "V");
  EXPECT_EQ(record::point_words(point), "B+");
}
