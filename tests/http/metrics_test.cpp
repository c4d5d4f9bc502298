#include "http/metrics.hpp"

#include <gtest/gtest.h>
#include <unistd.h>

#include <cmath>
#include <ctime>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <limits>
#include <locale>
#include <set>
#include <sstream>
#include <string>

#include "core/uom.hpp"
#include "http/sample_bench.hpp"

namespace steadyglow::http {
namespace {

std::string text_of(const BenchView& bench) { return metrics_text(bench, {}, {}); }

/// A bench with one unit that has one point.
BenchView bench_with(PointView point) {
  BenchView bench = sample_bench();
  bench.units.front().points = {std::move(point)};
  return bench;
}

bool has_line(const std::string& text, const std::string& line) { return text.find("\n" + line + "\n") != std::string::npos; }

TEST(Metrics, AReadingIsServedInTheBaseUnitOfItsName) {
  const std::string text = text_of(sample_bench());
  EXPECT_TRUE(has_line(text, R"(steadyglow_point_volts{unit="brindlecombe35",point="v1_cathode_mv"} 0.4376)")) << text;
  EXPECT_TRUE(has_line(text, R"(steadyglow_point_amperes{unit="brindlecombe35",point="mains_current"} 0.8125)")) << text;
  EXPECT_TRUE(has_line(text, R"(steadyglow_point_celsius{unit="brindlecombe35",point="heatsink_celsius"} 54.25)")) << text;
}

TEST(Metrics, ThirtyThreeAndAThirdTurnsAMinuteAreFiveNinthsOfAHertz) {
  const std::string text = text_of(bench_with(sample_point("platter_speed", "speed", "{rpm}", 100.0 / 3.0)));
  EXPECT_NE(text.find("point=\"platter_speed\"} 0.5555555"), std::string::npos) << text;
}

TEST(Metrics, EveryUnitOfMeasureThatAProfileMayNameHasAMetric) {
  for (std::uint8_t i = 0; i < quantity_count; ++i) {
    const auto quantity = static_cast<Quantity>(i);
    std::istringstream symbols{std::string(uoms_of(quantity))};
    for (std::string symbol; std::getline(symbols >> std::ws, symbol, ',');) {
      const std::string text = text_of(bench_with(sample_point("a", std::string(to_word(quantity)), symbol, 1.0)));
      int readings = 0;
      for (const char* name : {"volts", "amperes", "watts", "volt_amperes", "celsius", "hertz", "ratio", "decibels", "joules", "ohms", "state"})
        readings += text.find("\nsteadyglow_point_" + std::string(name) + "{") != std::string::npos ? 1 : 0;
      EXPECT_EQ(readings, 1) << to_word(quantity) << " " << symbol;
    }
  }
}

/// Names without "steadyglow_", of every family on the page.
std::set<std::string> families_of(const std::string& text) {
  std::set<std::string> names;
  std::istringstream lines(text);
  for (std::string line; std::getline(lines, line);)
    if (line.starts_with("# TYPE steadyglow_")) names.insert(line.substr(18, line.rfind(' ') - 18));
  return names;
}

TEST(Metrics, TheDocumentNamesEveryFamilyAndNoOther) {
  std::set<std::string> named;
  std::ifstream file(STEADYGLOW_SOURCE_DIR "/daemon/http/API.md");
  bool is_there = false;
  for (std::string line; std::getline(file, line);) {
    is_there = is_there || line == "## metrics";
    if (!is_there || !line.starts_with("| `")) continue;
    std::istringstream words(line.substr(0, line.find('|', 1)));
    for (std::string word; std::getline(words, word, '`');)
      if (std::getline(words, word, '`')) named.insert(word);
  }
  EXPECT_EQ(named, families_of(text_of(sample_bench())));
}

TEST(Metrics, ABadReadingHasNoSeries) {
  PointView point = sample_point("a", "voltage", "V", 230.0);
  point.quality = "over_range";  // even if a value were left standing
  const std::string text = text_of(bench_with(point));
  EXPECT_EQ(text.find("steadyglow_point_volts"), std::string::npos) << text;
  EXPECT_TRUE(has_line(text, R"(steadyglow_point_is_good{unit="brindlecombe35",point="a"} 0)")) << text;
  EXPECT_TRUE(has_line(text, R"(steadyglow_point_quality_info{unit="brindlecombe35",point="a",quality="over_range"} 1)")) << text;
}

TEST(Metrics, AnOldReadingHasNoSeriesAndItsAgeIsShown) {
  PointView point = sample_point("a", "voltage", "V", 230.0);
  point.age_s = reading_age_max_s + 1.0;
  const std::string text = text_of(bench_with(point));
  EXPECT_EQ(text.find("steadyglow_point_volts"), std::string::npos) << text;
  EXPECT_TRUE(has_line(text, R"(steadyglow_point_age_seconds{unit="brindlecombe35",point="a"} 301)")) << text;
}

TEST(Metrics, ANumberThatIsNotFiniteIsNeverWritten) {
  const std::string text = text_of(bench_with(sample_point("a", "voltage", "V", std::numeric_limits<double>::infinity())));
  EXPECT_EQ(text.find("steadyglow_point_volts"), std::string::npos);
  EXPECT_EQ(text.find("Inf"), std::string::npos);
  EXPECT_EQ(text.find("Nan"), std::string::npos);
}

TEST(Metrics, OneInfoSeriesTellsTheUnitAndItsRun) {
  EXPECT_TRUE(has_line(text_of(sample_bench()),
                       R"(steadyglow_unit_info{unit="brindlecombe35",title="Brindlecombe 35",serial="B35-0117",bench="bench 1",kind="tube-pp-fixed-bias",plan="24 h night",run="3"} 1)"));
}

TEST(Metrics, AUnitWithoutARunHasNoRunSeries) {
  BenchView bench = sample_bench();
  bench.units.front().run.reset();
  EXPECT_EQ(text_of(bench).find("steadyglow_run_"), std::string::npos);
}

TEST(Metrics, TheStageThatIsGoingOnIsOneAndTheOthersZero) {
  const std::string text = text_of(sample_bench());
  EXPECT_TRUE(has_line(text, R"(steadyglow_run_stage{unit="brindlecombe35",stage="idle_soak"} 1)"));
  EXPECT_TRUE(has_line(text, R"(steadyglow_run_stage{unit="brindlecombe35",stage="warm_up"} 0)"));
}

TEST(Metrics, AlarmsAreCountedBySeverityAndStateWithZerosForTheUsualOnes) {
  const std::string text = text_of(sample_bench());
  EXPECT_TRUE(has_line(text, R"(steadyglow_alarms{unit="brindlecombe35",severity="warn",state="unacknowledged"} 1)"));
  EXPECT_TRUE(has_line(text, R"(steadyglow_alarms{unit="brindlecombe35",severity="trip",state="latched_unacknowledged"} 0)"));
}

TEST(Metrics, ASilentMeterShows) {
  EXPECT_TRUE(has_line(text_of(sample_bench()), R"(steadyglow_meter_is_silent{bus="bench_tcp",meter="relays"} 1)"));
}

TEST(Metrics, NamesThatPeopleChoseAreEscaped) {
  BenchView bench = sample_bench();
  bench.units.front().title = "The \"loud\" one\\\n";
  EXPECT_NE(text_of(bench).find(R"(title="The \"loud\" one\\\n")"), std::string::npos);
}

TEST(Metrics, NoSeriesIsWrittenTwice) {
  BenchView bench = sample_bench();
  bench.units.front().run->stages.push_back({"idle_soak", 60.0, "ahead"});  // a plan may name a kind twice
  std::istringstream lines(text_of(bench));
  std::set<std::string> seen;
  for (std::string line; std::getline(lines, line);)
    EXPECT_TRUE(line.starts_with('#') || seen.insert(line.substr(0, line.rfind(' '))).second) << line;
}

TEST(Metrics, ADecimalCommaLocaleChangesNothing) {
  const std::string before = text_of(sample_bench());
  struct Comma : std::numpunct<char> {
    char do_decimal_point() const override { return ','; }
    std::string do_grouping() const override { return "\3"; }
    char do_thousands_sep() const override { return '.'; }
  };
  const std::locale old = std::locale::global(std::locale(std::locale::classic(), new Comma));
  EXPECT_EQ(text_of(sample_bench()), before);
  EXPECT_TRUE(read_process_figures().resident_bytes.has_value());
  std::locale::global(old);
}

TEST(Metrics, TheProcessTellsOfItselfAsTheKernelDoes) {
  const ProcessFigures figures = read_process_figures();
  ASSERT_TRUE(figures.start_time_seconds && figures.resident_bytes && figures.open_fds && figures.threads);
  EXPECT_NEAR(*figures.start_time_seconds, static_cast<double>(std::time(nullptr)), 60.0);
  EXPECT_GT(*figures.resident_bytes, 1e6);
  EXPECT_EQ(*figures.threads, static_cast<double>(std::distance(std::filesystem::directory_iterator("/proc/self/task"), {})));
  const int one_more = dup(0);
  EXPECT_EQ(*read_process_figures().open_fds, *figures.open_fds + 1.0);
  close(one_more);
}

}  // namespace
}  // namespace steadyglow::http
