#pragma once
/// Debian's Mosquitto as the broker, its own client program as who publishes, and the plug of tests/external/mqtt as a device.
#include <arpa/inet.h>
#include <gtest/gtest.h>
#include <netinet/in.h>
#include <signal.h>
#include <sys/socket.h>
#include <unistd.h>

#include <chrono>
#include <filesystem>
#include <fstream>
#include <memory>
#include <string>
#include <thread>
#include <vector>

#include "support/program.hpp"

namespace steadyglow::drivers::tests {

inline int free_port() {
  const int number = ::socket(AF_INET, SOCK_STREAM, 0);
  sockaddr_in address{};
  address.sin_family = AF_INET;
  address.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
  socklen_t size = sizeof address;
  (void)::bind(number, reinterpret_cast<const sockaddr*>(&address), size);
  (void)::getsockname(number, reinterpret_cast<sockaddr*>(&address), &size);
  ::close(number);
  return ntohs(address.sin_port);
}

inline bool is_listening(int port) {
  const int number = ::socket(AF_INET, SOCK_STREAM, 0);
  sockaddr_in address{};
  address.sin_family = AF_INET;
  address.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
  address.sin_port = htons(static_cast<std::uint16_t>(port));
  const bool is_there = ::connect(number, reinterpret_cast<const sockaddr*>(&address), sizeof address) == 0;
  ::close(number);
  return is_there;
}

using steadyglow::tests::Complaints;
using steadyglow::tests::Program;

class Mosquitto {
 public:
  explicit Mosquitto(std::string more = "listener PORT 127.0.0.1\nallow_anonymous true\n") : more_(std::move(more)) {
    std::filesystem::create_directories(folder_);
    start();
  }
  ~Mosquitto() {
    program_.reset();
    std::filesystem::remove_all(folder_);
  }

  int port() const { return port_; }
  std::filesystem::path folder() const { return folder_; }
  /// As an unplugged machine would: without a word.
  void kill() { program_->stop(SIGKILL), program_.reset(); }
  void freeze() const { program_->send(SIGSTOP); }
  void thaw() const { program_->send(SIGCONT); }
  void start() {
    std::string text = more_;
    for (std::size_t at; (at = text.find("PORT")) != std::string::npos;) text.replace(at, 4, std::to_string(port_));
    for (std::size_t at; (at = text.find("FOLDER")) != std::string::npos;) text.replace(at, 6, folder_.string());
    // Started by root it would become somebody who cannot read its files.
    std::ofstream(folder_ / "mosquitto.conf") << "user root\npersistence false\n" << text;
    program_ = std::make_unique<Program>(std::vector<std::string>{"/usr/sbin/mosquitto", "-c", (folder_ / "mosquitto.conf").string()}, Complaints::dropped);
    for (int i = 0; i < 500 && !is_listening(port_); ++i) std::this_thread::sleep_for(std::chrono::milliseconds{10});
  }
  void publish(const std::string& topic, const std::string& payload, bool is_kept = false) const {
    std::vector<std::string> words{"mosquitto_pub", "-h", "127.0.0.1", "-p", std::to_string(port_), "-q", "1", "-t", topic, "-m", payload};
    if (is_kept) words.push_back("-r");
    EXPECT_EQ(Program(words).wait(), 0);
  }

 private:
  const std::filesystem::path folder_ = std::filesystem::path(::testing::TempDir()) / ("mosquitto_" + std::to_string(::getpid()));
  const int port_ = free_port();
  const std::string more_;
  std::unique_ptr<Program> program_;
};

class PlugPeer {
 public:
  PlugPeer(int port, const std::string& id = "plug-1", std::vector<std::string> more = {})
      : program_([&] {
          std::vector<std::string> words{"/usr/bin/python3", std::string(STEADYGLOW_SOURCE_DIR) + "/tests/external/mqtt/plug_peer.py", "--port", std::to_string(port), "--id", id, "--every", "0.05"};
          words.insert(words.end(), more.begin(), more.end());
          return words;
        }()) {
    EXPECT_EQ(program_.read_line(), "ready");
  }
  void tell(const std::string& line) const {
    program_.write(line);
    EXPECT_EQ(program_.read_line(), "done") << line;
  }

 private:
  Program program_;
};

}  // namespace steadyglow::drivers::tests
