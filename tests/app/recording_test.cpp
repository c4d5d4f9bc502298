#include <gtest/gtest.h>

#include <sstream>

#include "app/csv.hpp"
#include "app/replay.hpp"
#include "profile/profile_toml.hpp"

namespace steadyglow::app {
namespace {

profile::Profile two_points() {
  Errors errors;
  return *profile::parse_profile("[profile]\nkind = \"x\"\n[[point]]\nname = \"sink\"\nquantity = \"temperature\"\nuom = \"Cel\"\nrole = \"heatsink\"\n"
                                 "[[point]]\nname = \"offset\"\nquantity = \"voltage\"\nuom = \"mV\"\nrole = \"offset\"\n",
                                 "p.toml", errors);
}

/// The first error of reading a whole recording, or empty.
std::string first_error(const std::string& text) {
  const profile::Profile profile = two_points();
  std::istringstream in(text);
  RecordingReader recording(in, "r.csv", profile);
  std::vector<std::string> missing;
  if (const auto header = recording.read_header(missing); !header) return header.error().text();
  Timestamp at{};
  std::vector<Reading> readings;
  while (true) {
    const auto row = recording.next(at, readings);
    if (!row) return row.error().text();
    if (!*row) return "";
  }
}

TEST(Csv, ReadsQuotesCommasAndLineBreaksAfterRfc4180) {
  std::istringstream in("\xEF\xBB\xBF" "a,\"b,\"\"c\"\"\",d\r\n\r\n\"line\nbreak\",,\r\n");
  CsvReader csv(in, "r.csv");
  std::vector<std::string> fields;
  ASSERT_TRUE(*csv.next(fields));
  EXPECT_EQ(fields, (std::vector<std::string>{"a", "b,\"c\"", "d"}));
  ASSERT_TRUE(*csv.next(fields));
  EXPECT_EQ(fields, (std::vector<std::string>{"line\nbreak", "", ""}));
  EXPECT_EQ(csv.line(), 3u);
  EXPECT_FALSE(*csv.next(fields));
}

TEST(Recording, GivesReadingsQualitiesAndGaps) {
  const profile::Profile profile = two_points();
  std::istringstream in("time_s,offset,sink\n0,1.5,\n1.25,open_sensor,40\n");
  RecordingReader recording(in, "r.csv", profile);
  std::vector<std::string> missing;
  ASSERT_TRUE(recording.read_header(missing).has_value());
  Timestamp at{};
  std::vector<Reading> readings;
  ASSERT_TRUE(*recording.next(at, readings));
  ASSERT_EQ(readings.size(), 1u);
  EXPECT_EQ(readings[0].point(), PointId{1});
  ASSERT_TRUE(*recording.next(at, readings));
  EXPECT_EQ(at, at_ms(1250));
  EXPECT_EQ(readings[0].quality(), Quality::open_sensor);
  EXPECT_EQ(readings[1].value(), 40.0);
}

TEST(Recording, SaysWhatIsWrongAndWhere) {
  EXPECT_NE(first_error("").find("the recording is empty"), std::string::npos);
  EXPECT_NE(first_error("t,sink\n").find("r.csv:1: error: the first column is `t`"), std::string::npos);
  EXPECT_NE(first_error("time_s,snik\n").find("did you mean `sink`?"), std::string::npos);
  EXPECT_NE(first_error("time_s,sink,sink\n").find("two columns"), std::string::npos);
  EXPECT_NE(first_error("time_s,sink\n0,1\n1,2,3\n").find("r.csv:3: error: this row has 3 fields"), std::string::npos);
  EXPECT_NE(first_error("time_s,sink\n0,warm\n").find("neither a number nor a quality"), std::string::npos);
  EXPECT_NE(first_error("time_s,sink\n0;1,2\n").find("no number of seconds"), std::string::npos);
  EXPECT_NE(first_error("time,sink\nyesterday,2\n").find("no RFC 3339 time"), std::string::npos);
  EXPECT_NE(first_error("time_s,sink\n0,\"2\n").find("inside a quoted field"), std::string::npos);
  EXPECT_NE(first_error("time_s,sink\n0,nan\n").find("neither a number"), std::string::npos);
}

// RFC 3339 section 5.8: 1985-04-12T23:20:50.52Z and 1996-12-19T16:39:57-08:00 (= 1996-12-20T00:39:57Z).
TEST(Recording, ReadsTheTimesOfRfc3339) {
  EXPECT_NEAR(parse_rfc3339("1985-04-12T23:20:50.52Z").value(), 482196050.52, 1e-6);
  EXPECT_EQ(parse_rfc3339("1996-12-19T16:39:57-08:00"), parse_rfc3339("1996-12-20T00:39:57Z"));
  for (const char* text : {"1985-04-12", "1985-13-12T23:20:50Z", "1985-04-31T23:20:50Z", "1985-04-12T23:20:50", "1985-04-12T24:20:50Z"})
    EXPECT_FALSE(parse_rfc3339(text).has_value()) << text;
}

TEST(Recording, ANightOfTwentyFiveHoursHasNoHole) {
  const profile::Profile profile = two_points();
  std::istringstream in("time,sink\n2026-10-25T02:30:00+02:00,40\n2026-10-25T02:30:00+01:00,41\n");
  RecordingReader recording(in, "r.csv", profile);
  std::vector<std::string> missing;
  ASSERT_TRUE(recording.read_header(missing).has_value());
  Timestamp at{};
  std::vector<Reading> readings;
  ASSERT_TRUE(*recording.next(at, readings));
  ASSERT_TRUE(*recording.next(at, readings));
  EXPECT_EQ(at, at_ms(3600000));
}

}  // namespace
}  // namespace steadyglow::app
