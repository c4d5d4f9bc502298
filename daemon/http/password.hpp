#pragma once
/// The one password, checked without holding up the loop (HTTP Basic, RFC 7617; argon2id, RFC 9106).
#include <array>
#include <cstdint>
#include <deque>
#include <functional>
#include <memory>
#include <optional>
#include <set>
#include <string>
#include <vector>

#include <boost/asio/io_context.hpp>
#include <boost/asio/thread_pool.hpp>

#include "core/result.hpp"

namespace steadyglow::http {

/// Requests that may wait for a verification. One takes about 0.1 s and 64 MiB, so only one runs at a time.
inline constexpr std::size_t password_checks_waiting_max = 16;
/// Authorization headers remembered as good, by keyed hash: one per user name that somebody types.
inline constexpr std::size_t passwords_remembered_max = 64;

/// Thread: loop only; one worker thread of its own. Destroying it waits for a verification that is going on.
class Door {
 public:
  enum class Answer { may_pass, wrong, busy };

  /// `hash`: an argon2id string of libsodium. Error config when it is none.
  static Result<std::unique_ptr<Door>> make(boost::asio::io_context& loop, const std::string& hash);
  ~Door();

  /// Takes the whole Authorization field. Answers at once when it knows, else on the loop.
  void ask(const std::string& authorization, std::function<void(Answer)> done);

 private:
  using Tag = std::array<unsigned char, 32>;
  struct Check {
    Tag tag{};
    std::string password;
    std::vector<std::function<void(Answer)>> waiting;  ///< all that came with the same header
  };
  Door(boost::asio::io_context& loop, std::string hash);
  Tag tag_of(const std::string& authorization) const;
  void check_next();
  void finish(bool is_right);

  boost::asio::io_context& loop_;
  const std::string hash_;
  std::array<unsigned char, 32> key_{};
  std::set<Tag> known_;
  std::deque<Check> checks_;  ///< the first is the one that runs
  std::size_t waiting_ = 0;
  std::shared_ptr<const int> alive_ = std::make_shared<const int>(0);
  boost::asio::thread_pool worker_{1};
};

/// The password of a Basic Authorization field; nothing for any other. Any user name will do.
std::optional<std::string> basic_password(const std::string& authorization);

}  // namespace steadyglow::http
