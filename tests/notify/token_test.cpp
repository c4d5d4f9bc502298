/// The token of a message's link.
#include "notify/token.hpp"

#include <gtest/gtest.h>
#include <sys/stat.h>
#include <unistd.h>

#include <filesystem>
#include <fstream>
#include <set>

namespace steadyglow::notify {
namespace {

/// A folder of its own, gone with the test.
class Token : public ::testing::Test {
 protected:
  Token() { std::filesystem::create_directories(folder_); }
  ~Token() override { std::filesystem::remove_all(folder_); }
  std::string file() const { return (folder_ / "links").string(); }

 private:
  std::filesystem::path folder_ = std::filesystem::temp_directory_path() / ("steadyglow-token-" + std::to_string(getpid()));
};

// RFC 4231, test case 2 gives HMAC-SHA-512 of another key length; crypto_auth is HMAC-SHA-512-256 with keys of 32 bytes, so
// the value here is from Python: hmac.new(b"\x0b" * 32, b"incident:7", "sha512").hexdigest()[:64].
TEST_F(Token, IsTheKeyedHashOfTheIncidentsName) {
  EXPECT_EQ(link_token(std::string(32, '\x0b'), 7), "12033473467ce0624dd95e5cb2e48c2e20187edbc53c32aa39793835fd700618");
}

TEST_F(Token, OpensItsOwnIncidentOnly) {
  const std::string key(32, 'k');
  const std::string token = link_token(key, 7);
  EXPECT_TRUE(is_link_token(key, 7, token));
  EXPECT_FALSE(is_link_token(key, 8, token));
  EXPECT_FALSE(is_link_token(std::string(32, 'l'), 7, token));
}

TEST_F(Token, IsWrongWithAnyCharacterChangedOrMissing) {
  const std::string key(32, 'k');
  const std::string token = link_token(key, 7);
  for (std::size_t i = 0; i < token.size(); ++i) {
    std::string other = token;
    other[i] = other[i] == '0' ? '1' : '0';
    EXPECT_FALSE(is_link_token(key, 7, other)) << i;
  }
  EXPECT_FALSE(is_link_token(key, 7, token.substr(1)));
  EXPECT_FALSE(is_link_token(key, 7, token + "0"));
  EXPECT_FALSE(is_link_token(key, 7, ""));
}

TEST_F(Token, DiffersFromIncidentToIncident) {
  std::set<std::string> tokens;
  for (int i = 0; i < 1000; ++i) EXPECT_TRUE(tokens.insert(link_token(std::string(32, 'k'), i)).second);
}

TEST_F(Token, HasAKeyThatIsMadeOnceAndKeptFromOthers) {
  const auto made = link_key(file());
  ASSERT_TRUE(made) << made.error().text();
  EXPECT_EQ(made->size(), 32u);
  EXPECT_EQ(*link_key(file()), *made);
  struct stat status {};
  ASSERT_EQ(stat(file().c_str(), &status), 0);
  EXPECT_EQ(status.st_mode & 0777, 0600u);
}

TEST_F(Token, HasAKeyOfItsOwnInEveryShop) {
  const auto one = link_key(file());
  std::filesystem::remove(file());
  EXPECT_NE(*link_key(file()), *one);
}

TEST_F(Token, OfADamagedKeyIsRefusedWithAHint) {
  std::ofstream(file()) << "short";
  const auto key = link_key(file());
  ASSERT_FALSE(key);
  EXPECT_NE(key.error().text().find("damaged"), std::string::npos);
}

}  // namespace
}  // namespace steadyglow::notify
