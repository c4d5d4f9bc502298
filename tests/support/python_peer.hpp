#pragma once
/// A device of tests/external that is a Python program: started on a free port or a pseudo-terminal, told its faults over its control port,
/// ended with the test. It must print "ready tcp PORT control PORT" or "ready pty LINK control PORT".
#include <arpa/inet.h>
#include <fcntl.h>
#include <gtest/gtest.h>
#include <netinet/in.h>
#include <poll.h>
#include <signal.h>
#include <spawn.h>
#include <sys/socket.h>
#include <sys/wait.h>
#include <unistd.h>

#include <cstdlib>
#include <filesystem>
#include <nlohmann/json.hpp>
#include <sstream>
#include <string>
#include <vector>

extern char** environ;

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
    start(words);
    std::istringstream said(line_from(output_));
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
    ::close(input_);
    ::kill(id_, SIGTERM);
    ::waitpid(id_, nullptr, 0);
    ::close(output_);
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
  void start(const std::vector<std::string>& words) {
    int in[2];
    int out[2];
    if (::pipe2(in, O_CLOEXEC) != 0 || ::pipe2(out, O_CLOEXEC) != 0) std::abort();
    posix_spawn_file_actions_t actions;
    posix_spawn_file_actions_init(&actions);
    posix_spawn_file_actions_adddup2(&actions, in[0], 0);
    posix_spawn_file_actions_adddup2(&actions, out[1], 1);
    std::vector<char*> arguments;
    for (const std::string& word : words) arguments.push_back(const_cast<char*>(word.c_str()));
    arguments.push_back(nullptr);
    EXPECT_EQ(::posix_spawn(&id_, arguments[0], &actions, nullptr, arguments.data(), environ), 0);
    posix_spawn_file_actions_destroy(&actions);
    ::close(in[0]);
    ::close(out[1]);
    input_ = in[1];
    output_ = out[0];
  }

  void connect(int port) {
    control_ = ::socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0);
    sockaddr_in address{};
    address.sin_family = AF_INET;
    address.sin_port = htons(static_cast<std::uint16_t>(port));
    address.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
    EXPECT_EQ(::connect(control_, reinterpret_cast<sockaddr*>(&address), sizeof address), 0);
  }

  static std::string line_from(int descriptor) {
    std::string text;
    const auto is_there = [&] {
      pollfd state{descriptor, POLLIN, 0};
      return ::poll(&state, 1, 15000) > 0;
    };
    for (char c = 0; is_there() && ::read(descriptor, &c, 1) == 1 && c != '\n';) text += c;
    return text;
  }

  std::filesystem::path folder_;
  std::string place_;
  pid_t id_ = 0;
  int input_ = -1;
  int output_ = -1;
  int control_ = -1;
};

}  // namespace steadyglow::tests
