#pragma once
/// A device of tests/external that is a Python program: started on a free port or a pseudo-terminal, told its faults over its control port,
/// ended with the test. It must print "ready tcp PORT control PORT" or "ready pty LINK control PORT".
#include <arpa/inet.h>
#include <gtest/gtest.h>
#include <netinet/in.h>
#include <sys/socket.h>
#include <unistd.h>

#include <filesystem>
#include <nlohmann/json.hpp>
#include <optional>
#include <sstream>
#include <string>
#include <vector>

#include "support/program.hpp"

namespace steadyglow::tests {

class PythonPeer {
 public:
  using json = nlohmann::json;

  /// `script`: below tests/external.
  PythonPeer(const std::string& script, bool is_serial, const std::vector<std::string>& more) {
    std::vector<std::string> words{"/usr/bin/python3", std::string(STEADYGLOW_SOURCE_DIR) + "/tests/external/" + script, "--control", "0"};
    if (is_serial) {
      static int count = 0;
      folder_ = std::filesystem::temp_directory_path() / ("steadyglow_peer_" + std::to_string(::getpid()) + "_" + std::to_string(++count));
      std::filesystem::create_directories(folder_);
      words.insert(words.end(), {"--pty", (folder_ / "line").string()});
    } else {
      words.insert(words.end(), {"--tcp", "0"});
    }
    words.insert(words.end(), more.begin(), more.end());
    program_.emplace(words);
    std::istringstream said(program_->read_line());
    std::string ready, kind, control;
    int control_port = 0;
    said >> ready >> kind >> place_ >> control >> control_port;
    if (ready != "ready") ADD_FAILURE() << script << " did not start: " << said.str();
    connect(control_port);
  }
  PythonPeer(const PythonPeer&) = delete;
  PythonPeer& operator=(const PythonPeer&) = delete;
  ~PythonPeer() {
    ::close(control_);
    program_.reset();
    if (!folder_.empty()) std::filesystem::remove_all(folder_);
  }

  /// The port as text, or the device's path.
  const std::string& place() const { return place_; }

  json tell(const json& order) {
    const std::string text = order.dump() + "\n";
    EXPECT_EQ(::write(control_, text.data(), text.size()), static_cast<ssize_t>(text.size()));
    const json answer = json::parse(line_from(control_), nullptr, false);
    EXPECT_TRUE(answer.is_object() && answer.value("ok", false)) << order << " -> " << answer;
    return answer;
  }

 private:
  void connect(int port) {
    control_ = ::socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0);
    sockaddr_in address{};
    address.sin_family = AF_INET;
    address.sin_port = htons(static_cast<std::uint16_t>(port));
    address.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
    EXPECT_EQ(::connect(control_, reinterpret_cast<sockaddr*>(&address), sizeof address), 0);
  }

  std::filesystem::path folder_;
  std::string place_;
  std::optional<Program> program_;
  int control_ = -1;
};

}  // namespace steadyglow::tests
