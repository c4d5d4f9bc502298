#include "document/table.hpp"

#include <gtest/gtest.h>

namespace steadyglow::document {
namespace {

TEST(Document, SaysWhereTheSyntaxBreaks) {
  Errors errors;
  parse("a = 1\nb = = 2\n", "bench.toml", errors);
  ASSERT_EQ(errors.size(), 1u);
  EXPECT_EQ(errors[0].where.rfind("bench.toml:2:", 0), 0u) << errors[0].where;
}

TEST(Table, FindsEveryMistakeInOnePass) {
  Errors errors;
  const Node root = parse("name = 3\nmax_celsius = 850.0\nsped = 1\n", "bench.toml", errors);
  Table table(root, "bench.toml", errors);
  table.text("name");
  table.number("max_celsius", {0.0, 200.0});
  table.maybe_number("speed");
  table.whole("missing");
  table.done();
  ASSERT_EQ(errors.size(), 4u);
  EXPECT_EQ(errors[0].text(), "bench.toml:1:8: error: `name` must be a text, not a whole number hint: write it in quotes: name = \"...\"");
  EXPECT_NE(errors[1].text().find("did you mean 85?"), std::string::npos) << errors[1].text();
  EXPECT_NE(errors[2].text().find("`missing` is missing"), std::string::npos);
  EXPECT_EQ(errors[3].text(), "bench.toml:3:1: error: unknown key `sped` hint: did you mean `speed`?");
}

TEST(Table, SaysHowAWholeNumberIsWritten) {
  Errors errors;
  const Node root = parse("port = \"502\"\nbaud = 9600.0\n", "bench.toml", errors);
  Table table(root, "bench.toml", errors);
  table.whole("port");
  table.whole("baud");
  ASSERT_EQ(errors.size(), 2u);
  EXPECT_EQ(errors[0].hint, "write it without quotes");
  EXPECT_EQ(errors[1].hint, "write it without a decimal point");
}

TEST(Table, OffersTheNearestWord) {
  EXPECT_EQ(nearest("volatge", {"voltage", "current"}), "voltage");
  EXPECT_EQ(nearest("banana", {"voltage", "current"}), "");
}

}  // namespace
}  // namespace steadyglow::document
