#include "drivers/place_toml.hpp"

#include <gtest/gtest.h>

namespace steadyglow::drivers {
namespace {

TEST(TcpEndOf, ReadsAnAddressWithAndWithoutAPort) {
  EXPECT_EQ(tcp_end_of("192.168.40.21", 502).value().port, 502);
  const auto end = tcp_end_of("192.168.40.21:1502", 502);
  ASSERT_TRUE(end);
  EXPECT_EQ(end->host, "192.168.40.21");
  EXPECT_EQ(end->port, 1502);
}

TEST(TcpEndOf, RefusesWhatIsNoAddressOrNoPortWithAnExample) {
  for (const char* text : {"", ":502", "localhost", "1.2.3", "1.2.3.4:", "1.2.3.4:abc", "1.2.3.4:0", "1.2.3.4:65536", "1.2.3.4:50.5", "1.2.3.4:502 ", "1.2.3.4:502:1", "1.2.3.4\"\nx = \"1"}) {
    const auto end = tcp_end_of(text, 502);
    ASSERT_FALSE(end) << text;
    EXPECT_EQ(end.error().fault, Fault::usage);
    EXPECT_NE(end.error().hint.find("192.168.40.21:502"), std::string::npos);
  }
}

TEST(TomlText, IsReadBackAsItWas) {
  for (const std::string text : {"plain", "a \"quoted\" word", "back\\slash", "two\nlines\tand a tab", "\x1b[31m\x7f"}) {
    Errors errors;
    const auto node = document::parse("a = " + toml_text(text) + "\n", "t.toml", errors);
    ASSERT_TRUE(errors.empty()) << errors[0].text();
    ASSERT_EQ(node.members.size(), 1U);
    EXPECT_EQ(node.members[0].node.text, text);
  }
}

}  // namespace
}  // namespace steadyglow::drivers
