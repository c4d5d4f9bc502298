/// What the service manager hears, on a real datagram socket.
#include "app/service.hpp"

#include "app/journal_sink.hpp"

#include <gtest/gtest.h>
#include <sys/socket.h>
#include <spdlog/spdlog.h>
#include <sys/un.h>
#include <unistd.h>

#include <cstring>

namespace steadyglow::app {
namespace {

/// A socket as a service manager has it; abstract names begin with @.
class Manager {
 public:
  explicit Manager(const std::string& name) {
    socket_ = ::socket(AF_UNIX, SOCK_DGRAM | SOCK_NONBLOCK, 0);
    sockaddr_un address{};
    address.sun_family = AF_UNIX;
    std::memcpy(address.sun_path, name.data(), name.size());
    if (name.front() == '@') address.sun_path[0] = '\0';
    EXPECT_EQ(::bind(socket_, reinterpret_cast<sockaddr*>(&address), static_cast<socklen_t>(offsetof(sockaddr_un, sun_path) + name.size())), 0);
    ::setenv("NOTIFY_SOCKET", name.c_str(), 1);
  }
  ~Manager() { ::close(socket_); }
  std::string heard() {
    char text[256];
    const ssize_t size = ::recv(socket_, text, sizeof text, 0);
    return size < 0 ? "" : std::string(text, static_cast<std::size_t>(size));
  }

 private:
  int socket_;
};

TEST(Service, SpeaksToAFileAndToAnAbstractName) {
  const std::string file = "/tmp/steadyglow-service-" + std::to_string(::getpid());
  for (const std::string& name : {file, "@" + file}) {
    Manager manager(name);
    const Service service = Service::from_environment();
    EXPECT_TRUE(service.say("READY=1\nSTATUS=3 units"));
    EXPECT_EQ(manager.heard(), "READY=1\nSTATUS=3 units") << name;
    ::unlink(file.c_str());
  }
}

TEST(Service, WithoutAManagerSaysNothing) {
  ::unsetenv("NOTIFY_SOCKET");
  EXPECT_FALSE(Service::from_environment().say("READY=1"));
}

TEST(Service, TakesTheSocketOutOfTheEnvironmentOfLaterChildren) {
  Manager manager("@steadyglow-env-" + std::to_string(::getpid()));
  (void)Service::from_environment();
  EXPECT_EQ(std::getenv("NOTIFY_SOCKET"), nullptr);
}

TEST(Service, PingsAtHalfThePeriodAndNotMore) {
  Manager manager("@steadyglow-dog-" + std::to_string(::getpid()));
  ::setenv("WATCHDOG_USEC", "10000000", 1);
  ::setenv("WATCHDOG_PID", std::to_string(::getpid()).c_str(), 1);
  Service service = Service::from_environment();
  ASSERT_TRUE(service.watchdog_period());
  int pings = 0;
  const auto start = std::chrono::steady_clock::time_point{} + std::chrono::hours{1};
  for (int ms = 0; ms < 20000; ms += 50) {
    service.alive(start + std::chrono::milliseconds{ms});
    if (manager.heard() == "WATCHDOG=1") ++pings;
  }
  EXPECT_EQ(pings, 4);
}

TEST(Service, TheWatchdogOfAnotherProcessIsNotOurs) {
  ::setenv("WATCHDOG_USEC", "10000000", 1);
  ::setenv("WATCHDOG_PID", "1", 1);
  EXPECT_FALSE(Service::from_environment().watchdog_period());
}

TEST(JournalEntry, GivesALineBreakItsLength) {
  const std::string entry = journal_entry({{"MESSAGE", "a\nb"}, {"PRIORITY", "4"}});
  EXPECT_EQ(entry, std::string("MESSAGE\n\x03\0\0\0\0\0\0\0", 16) + "a\nb\nPRIORITY=4\n");
}

TEST(JournalEntry, KnowsWhoseLineItIs) {
  EXPECT_EQ(unit_of_line("Brindlecombe 35: outlet ordered off", {"Brindlecombe 35"}), "Brindlecombe 35");
  EXPECT_EQ(unit_of_line("listening at: http://", {"Brindlecombe 35"}), "");
}

TEST(JournalSink, SendsPriorityAndUnitToTheJournal) {
  const std::string name = "/tmp/steadyglow-journal-" + std::to_string(::getpid());
  Manager journal(name);
  auto sink = std::make_shared<JournalSink>(name);
  sink->know({"Brindlecombe 35"});
  spdlog::logger logger("test", sink);
  logger.warn("Brindlecombe 35: cut");
  const std::string heard = journal.heard();
  EXPECT_NE(heard.find("MESSAGE=Brindlecombe 35: cut\n"), std::string::npos) << heard;
  EXPECT_NE(heard.find("PRIORITY=4\n"), std::string::npos);
  EXPECT_NE(heard.find("UNIT_UNDER_TEST=Brindlecombe 35\n"), std::string::npos);
  ::unlink(name.c_str());
}

}  // namespace
}  // namespace steadyglow::app
