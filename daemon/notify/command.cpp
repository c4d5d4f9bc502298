#include "notify/command.hpp"

#include <fcntl.h>
#include <signal.h>
#include <spawn.h>
#include <sys/wait.h>
#include <unistd.h>

#include <array>
#include <cerrno>
#include <cstdlib>
#include <cstring>
#include <optional>
#include <string>
#include <thread>

#include "notify/webhook.hpp"

namespace steadyglow::notify {
namespace {

using Clock = std::chrono::steady_clock;
constexpr std::chrono::milliseconds look_every{20};
constexpr std::chrono::seconds death_max{2};  ///< SIGKILL is heard at once, but for a program that waits for a disk that hangs

struct Child {
  pid_t id = -1;
  int input = -1;
};

/// What a program may know of its surroundings: nothing of the service manager's sockets, nor where secrets stand.
std::vector<std::string> environment() {
  std::vector<std::string> kept;
  for (const char* name : {"PATH", "HOME", "USER", "LANG", "LC_ALL", "TZ", "TMPDIR"})
    if (const char* value = std::getenv(name)) kept.push_back(std::string(name) + "=" + value);
  return kept;
}

std::vector<char*> pointers(const std::vector<std::string>& words) {
  std::vector<char*> all;
  for (const std::string& word : words) all.push_back(const_cast<char*>(word.c_str()));
  all.push_back(nullptr);
  return all;
}

Result<Child> spawn(const std::vector<std::string>& program) {
  std::array<int, 2> ends{};
  if (pipe2(ends.data(), O_CLOEXEC) != 0) return fail(Fault::unavailable, std::string("no pipe: ") + std::strerror(errno));
  posix_spawn_file_actions_t actions;
  posix_spawn_file_actions_init(&actions);
  posix_spawn_file_actions_adddup2(&actions, ends[0], STDIN_FILENO);
  posix_spawn_file_actions_addopen(&actions, STDOUT_FILENO, "/dev/null", O_WRONLY, 0);
  // Neither the page's port nor a meter's line may stay open in a program that outlives us.
  posix_spawn_file_actions_addclosefrom_np(&actions, STDERR_FILENO + 1);
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
  const std::vector<std::string> surroundings = environment();
  Child child;
  const int failed = posix_spawn(&child.id, program.front().c_str(), &actions, &attributes, pointers(program).data(), pointers(surroundings).data());
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

/// Has it ended? It stays a zombie, so that its number, which is its group's too, belongs to nobody else yet.
bool has_ended(pid_t id) {
  siginfo_t found{};
  return waitid(P_PID, static_cast<id_t>(id), &found, WEXITED | WNOHANG | WNOWAIT) == 0 && found.si_pid == id;
}

/// Ends its whole group and takes its exit status; none if it does not die.
std::optional<int> end(pid_t id) {
  kill(-id, SIGKILL);
  const auto until = Clock::now() + death_max;
  int status = 0;
  while (waitpid(id, &status, WNOHANG) != id) {
    if (Clock::now() > until) return std::nullopt;
    std::this_thread::sleep_for(look_every);
  }
  return status;
}

/// Writes what goes into the pipe now, and closes it when all is written or nobody reads. SIGPIPE is blocked on workers.
void feed(int& input, std::string& rest) {
  if (input < 0) return;
  const ssize_t written = rest.empty() ? 0 : write(input, rest.data(), rest.size());
  if (written > 0) rest.erase(0, static_cast<std::size_t>(written));
  const bool has_broken = written < 0 && errno != EAGAIN && errno != EINTR;  // it may have read enough
  if (!rest.empty() && !has_broken) return;
  close(input);
  input = -1;
}

}  // namespace

Result<void> CommandRoute::send(const Message& message) {
  const std::string& name = settings_.program.front();
  if (undying_ > 0 && waitpid(undying_, nullptr, WNOHANG) == 0) return fail(Fault::unavailable, name + ": the last one was ended and has not gone");
  undying_ = -1;
  const auto child = spawn(settings_.program);
  if (!child) return tl::unexpected(child.error());
  const auto until = Clock::now() + attempt_max;
  std::string rest = message_json(message, true) + "\n";
  int input = child->input;
  bool is_over = false;
  while (!is_over && Clock::now() < until && !is_aborted()) {
    feed(input, rest);
    is_over = has_ended(child->id);
    if (!is_over) std::this_thread::sleep_for(look_every);
  }
  if (input >= 0) close(input);
  const std::optional<int> status = end(child->id);  // and what it left behind in its group
  if (!status) undying_ = child->id;
  if (!is_over || !status) return fail(Fault::unavailable, name + " did not end in time and was ended");
  if (WIFEXITED(*status) && WEXITSTATUS(*status) == 0) return {};
  return fail(Fault::unavailable, name + (WIFEXITED(*status) ? " ended with exit code " + std::to_string(WEXITSTATUS(*status)) : " was ended by signal " + std::to_string(WTERMSIG(*status))));
}

}  // namespace steadyglow::notify
