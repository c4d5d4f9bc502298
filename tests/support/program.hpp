#pragma once
/// A program for the length of a test: its input is held open, its output is read line by line, and it ends with the test.
#include <fcntl.h>
#include <gtest/gtest.h>
#include <poll.h>
#include <signal.h>
#include <spawn.h>
#include <sys/wait.h>
#include <unistd.h>

#include <cstdlib>
#include <string>
#include <vector>

extern char** environ;

namespace steadyglow::tests {

constexpr int line_within_milliseconds = 15'000;

/// The next line from a descriptor, without its end; what came of it when nothing more comes.
inline std::string line_from(int descriptor) {
  std::string text;
  const auto is_there = [&] {
    pollfd state{descriptor, POLLIN, 0};
    return ::poll(&state, 1, line_within_milliseconds) > 0;
  };
  for (char c = 0; is_there() && ::read(descriptor, &c, 1) == 1 && c != '\n';) text += c;
  return text;
}

class Program {
 public:
  explicit Program(const std::vector<std::string>& words) {
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
    EXPECT_EQ(::posix_spawn(&id_, arguments[0], &actions, nullptr, arguments.data(), environ), 0) << words[0];
    posix_spawn_file_actions_destroy(&actions);
    ::close(in[0]);
    ::close(out[1]);
    input_ = in[1];
    output_ = out[0];
  }
  Program(const Program&) = delete;
  Program& operator=(const Program&) = delete;
  ~Program() { stop(); }

  void stop() {
    if (id_ <= 0) return;
    ::close(input_);
    ::kill(id_, SIGTERM);
    ::waitpid(id_, nullptr, 0);
    ::close(output_);
    id_ = 0;
  }

  std::string line() const { return line_from(output_); }

 private:
  pid_t id_ = 0;
  int input_ = -1;
  int output_ = -1;
};

}  // namespace steadyglow::tests
