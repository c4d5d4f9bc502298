#include "http/client.hpp"

#include <gtest/gtest.h>
#include <netinet/in.h>
#include <sys/socket.h>
#include <unistd.h>

#include <string>
#include <thread>

#include "http/running_server.hpp"

namespace steadyglow::http {
namespace {

using std::chrono::milliseconds;

/// A port where somebody listens who says `answer`, and nothing more, to the first who comes.
class OneAnswer {
 public:
  explicit OneAnswer(std::string answer, bool hangs_up = true) : fd_(::socket(AF_INET, SOCK_STREAM, 0)) {
    sockaddr_in address{};
    address.sin_family = AF_INET;
    address.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
    socklen_t size = sizeof address;
    ::bind(fd_, reinterpret_cast<const sockaddr*>(&address), size);
    ::listen(fd_, 1);
    ::getsockname(fd_, reinterpret_cast<sockaddr*>(&address), &size);
    port_ = ntohs(address.sin_port);
    thread_ = std::thread([this, answer = std::move(answer), hangs_up] {
      const int client = ::accept(fd_, nullptr, nullptr);
      char bytes[4096];
      if (::recv(client, bytes, sizeof bytes, 0) > 0) ::send(client, answer.data(), answer.size(), MSG_NOSIGNAL);
      if (!hangs_up) ::recv(client, bytes, sizeof bytes, 0);  // until the client goes
      ::close(client);
    });
  }
  ~OneAnswer() {
    thread_.join();
    ::close(fd_);
  }
  std::uint16_t port() const { return port_; }

 private:
  int fd_;
  std::uint16_t port_ = 0;
  std::thread thread_;
};

TEST(Client, GetsAnAnswer) {
  RunningServer running;
  const auto answer = ask("127.0.0.1", running.port(), "GET", "/healthz", "", "");
  ASSERT_TRUE(answer.has_value()) << answer.error().text();
  EXPECT_EQ(answer->status, 200U);
  EXPECT_EQ(answer->content_type, "application/json");
  EXPECT_EQ(answer->body, R"({"state":"ok"})");
}

TEST(Client, TakesAName) {
  RunningServer running;
  EXPECT_EQ(ask("localhost", running.port(), "GET", "/healthz", "", "")->status, 200U);
}

TEST(Client, SendsAnOrderAsJson) {
  RunningServer running;
  EXPECT_EQ(ask("127.0.0.1", running.port(), "POST", "/api/v1/units/brindlecombe35/stop", R"({"who":"Ada","why":"smoke"})", "")->status, 200U);
  EXPECT_EQ(running.ordered, "stop brindlecombe35 Ada smoke");
}

TEST(Client, ARefusalIsAnAnswer) {
  RunningServer running;
  EXPECT_EQ(ask("127.0.0.1", running.port(), "GET", "/nothing", "", "")->status, 404U);
}

TEST(Client, ALargeBenchComesWhole) {
  RunningServer running;
  running.bench_view.units.assign(2000, sample_unit());
  const auto answer = ask("127.0.0.1", running.port(), "GET", "/api/v1/bench", "", "");
  ASSERT_TRUE(answer.has_value()) << answer.error().text();
  EXPECT_EQ(nlohmann::json::parse(answer->body)["units"].size(), 2000U);
}

TEST(Client, SaysWhenNobodyListens) {
  std::uint16_t port = 0;
  {
    RunningServer gone;
    port = gone.port();
  }
  const auto answer = ask("127.0.0.1", port, "GET", "/healthz", "", "");
  ASSERT_FALSE(answer.has_value());
  EXPECT_EQ(answer.error().fault, Fault::unavailable);
  EXPECT_EQ(answer.error().hint, "is steadyglowd running?");
  EXPECT_EQ(answer.error().where, "127.0.0.1:" + std::to_string(port));
}

TEST(Client, GivesUpAtItsDeadline) {
  const OneAnswer silent("", false);
  const auto begun = std::chrono::steady_clock::now();
  const auto answer = ask("127.0.0.1", silent.port(), "GET", "/", "", "", milliseconds{200});
  ASSERT_FALSE(answer.has_value());
  EXPECT_EQ(answer.error().fault, Fault::unavailable);
  EXPECT_LT(std::chrono::steady_clock::now() - begun, milliseconds{1000});
}

TEST(Client, DoesNotTakeAnotherProgramForADaemon) {
  const OneAnswer other("220 mail ready\r\n\r\n");
  const auto answer = ask("127.0.0.1", other.port(), "GET", "/", "", "");
  ASSERT_FALSE(answer.has_value());
  EXPECT_EQ(answer.error().fault, Fault::bad_data);
  EXPECT_EQ(answer.error().hint, "is another program listening there?");
}

TEST(Client, AHalfAnswerIsNone) {
  const OneAnswer half("HTTP/1.1 200 OK\r\nContent-Length: 100\r\n\r\nhalf");
  EXPECT_FALSE(ask("127.0.0.1", half.port(), "GET", "/", "", "").has_value());
}

TEST(Client, AMethodThatIsNoneIsAMistakeOfTheCaller) { EXPECT_EQ(ask("127.0.0.1", 1, "FETCH", "/", "", "").error().fault, Fault::usage); }

}  // namespace
}  // namespace steadyglow::http
