#include "notify/command.hpp"

#include <fcntl.h>
#include <poll.h>
#include <signal.h>
#include <spawn.h>
#include <sys/wait.h>
#include <unistd.h>

#include <cerrno>
#include <cstring>
#include <thread>

#include "notify/webhook.hpp"

extern char** environ;

namespace steadyglow::notify {
namespace {

using Clock = std::chrono::steady_clock;
constexpr std::chrono::milliseconds look_every{20};

struct Child {
  pid_t id = -1;
  int input = -1;
};

Result<Child> spawn(const std::vector<std::string>& program) {
  int ends[2];
  if (pipe2(ends, O_CLOEXEC) != 0) return fail(Fault::unavailable, std::string("no pipe: ") + std::strerror(errno));
  posix_spawn_file_actions_t actions;
  posix_spawn_file_actions_init(&actions);
  posix_spawn_file_actions_adddup2(&actions, ends[0], STDIN_FILENO);
  posix_spawn_file_actions_addopen(&actions, STDOUT_FILENO, "/dev/null", O_WRONLY, 0);
  posix_spawnattr_t attributes;
  posix_spawnattr_init(&attributes);
  // A group of its own: what it has started ends with it. Signals as a fresh program expects them.
  sigset_t none, all;
  sigemptyset(&none);
  sigfillset(&all);
  posix_spawnattr_setpgroup(&attributes, 0);
  posix_spawnattr_setsigmask(&attributes, &none);
  posix_spawnattr_setsigdefault(&attributes, &all);
  posix_spawnattr_setflags(&attributes, POSIX_SPAWN_SETPGROUP | POSIX_SPAWN_SETSIGMASK | POSIX_SPAWN_SETSIGDEF);
  std::vector<char*> words;
  for (const std::string& word : program) words.push_back(const_cast<char*>(word.c_str()));
  words.push_back(nullptr);
  Child child;
  const int failed = posix_spawn(&child.id, program.front().c_str(), &actions, &attributes, words.data(), environ);
  posix_spawn_file_actions_destroy(&actions);
  posix_spawnattr_destroy(&attributes);
  close(ends[0]);
  if (failed != 0) {
    close(ends[1]);
    return fail(Fault::unavailable, program.front() + " cannot be started: " + std::strerror(failed));
  }
  fcntl(ends[1], F_SETFL, O_NONBLOCK);
  child.input = ends[1];
  return child;
}

}  // namespace

Result<void> CommandRoute::send(const Message& message) {
  const auto child = spawn(settings_.program);
  if (!child) return tl::unexpected(child.error());
  const auto until = Clock::now() + attempt_max;
  std::string rest = message_json(message, true) + "\n";
  int input = child->input;
  int status = 0;
  bool is_over = false;
  while (!is_over && Clock::now() < until && !is_aborted()) {
    if (input >= 0) {
      const ssize_t written = rest.empty() ? 0 : write(input, rest.data(), rest.size());
      if (written > 0) rest.erase(0, static_cast<std::size_t>(written));
      const bool has_broken = written < 0 && errno != EAGAIN && errno != EINTR;  // it may have read enough
      if (rest.empty() || has_broken) {
        close(input);
        input = -1;
      }
    }
    is_over = waitpid(child->id, &status, WNOHANG) == child->id;
    if (!is_over) std::this_thread::sleep_for(look_every);
  }
  if (input >= 0) close(input);
  if (!is_over) {
    kill(-child->id, SIGKILL);
    waitpid(child->id, &status, 0);
    return fail(Fault::unavailable, settings_.program.front() + " did not end in time and was ended");
  }
  kill(-child->id, SIGKILL);  // what it left behind in its group
  if (WIFEXITED(status) && WEXITSTATUS(status) == 0) return {};
  return fail(Fault::unavailable, settings_.program.front() + (WIFEXITED(status) ? " ended with exit code " + std::to_string(WEXITSTATUS(status)) : " was ended by signal " + std::to_string(WTERMSIG(status))));
}

}  // namespace steadyglow::notify
