#pragma once
/// A program for the length of a test: its input is held open, its output is read line by line, and it ends with the test. Nothing here waits
/// for it without a bound.
#include <fcntl.h>
#include <gtest/gtest.h>
#include <poll.h>
#include <signal.h>
#include <spawn.h>
#include <sys/wait.h>
#include <unistd.h>

#include <chrono>
#include <cstdlib>
#include <string>
#include <thread>
#include <vector>

extern char** environ;

namespace steadyglow::tests {

constexpr int line_within_milliseconds = 15'000;
constexpr std::chrono::seconds end_within{15};

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

/// What a program says of its troubles.
enum class Complaints { shown, dropped };

class Program {
 public:
  /// `words`: the program, as a path or looked for in PATH, and its arguments.
  explicit Program(const std::vector<std::string>& words, Complaints complaints = Complaints::shown) {
    int in[2];
    int out[2];
    if (::pipe2(in, O_CLOEXEC) != 0 || ::pipe2(out, O_CLOEXEC) != 0) std::abort();
    posix_spawn_file_actions_t actions;
    posix_spawn_file_actions_init(&actions);
    posix_spawn_file_actions_adddup2(&actions, in[0], 0);
    posix_spawn_file_actions_adddup2(&actions, out[1], 1);
    if (complaints == Complaints::dropped) posix_spawn_file_actions_addopen(&actions, 2, "/dev/null", O_WRONLY, 0);
    std::vector<char*> arguments;
    for (const std::string& word : words) arguments.push_back(const_cast<char*>(word.c_str()));
    arguments.push_back(nullptr);
    EXPECT_EQ(::posix_spawnp(&id_, arguments[0], &actions, nullptr, arguments.data(), environ), 0) << words[0];
    posix_spawn_file_actions_destroy(&actions);
    ::close(in[0]);
    ::close(out[1]);
    input_ = in[1];
    output_ = out[0];
  }
  Program(const Program&) = delete;
  Program& operator=(const Program&) = delete;
  ~Program() { stop(SIGKILL); }  // mosquitto_sub can lock itself up in its handler of SIGTERM

  void send(int signal) const { ::kill(id_, signal); }
  void write(const std::string& line) const { (void)!::write(input_, (line + "\n").data(), line.size() + 1); }
  std::string read_line() const { return line_from(output_); }

  /// Its status as waitpid(2) gives it. What does not end by itself in time is killed, and the test has failed.
  int wait() {
    if (id_ <= 0) return 0;
    int status = 0;
    const auto until = std::chrono::steady_clock::now() + end_within;
    while (::waitpid(id_, &status, WNOHANG) == 0) {
      if (std::chrono::steady_clock::now() > until) {
        ADD_FAILURE() << "did not end in time";
        ::kill(id_, SIGKILL);
        ::waitpid(id_, &status, 0);
        break;
      }
      std::this_thread::sleep_for(std::chrono::milliseconds{2});
    }
    id_ = 0;
    close_input();
    ::close(output_);
    return status;
  }
  /// Its input ends, and it gets this signal.
  void stop(int signal = SIGTERM) {
    if (id_ <= 0) return;
    close_input();
    send(signal);
    wait();
  }

 private:
  void close_input() {
    if (input_ >= 0) ::close(input_);
    input_ = -1;
  }
  pid_t id_ = 0;
  int input_ = -1;
  int output_ = -1;
};

}  // namespace steadyglow::tests
