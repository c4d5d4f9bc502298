#pragma once
/// One transfer by libcurl with every bound set. Names are resolved on the thread that calls.
#include <atomic>
#include <chrono>
#include <cstddef>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include <curl/curl.h>

#include "core/result.hpp"

namespace steadyglow::notify {

/// Of an answer nothing is kept beyond this, and the transfer ends there: the status is known by then.
inline constexpr std::size_t answer_bytes_max = 64 * 1024;
/// A mail server that has taken the message gets so long to say goodbye.
inline constexpr std::chrono::seconds goodbye_max{2};

/// Thread: one. Owns: the handle and its header list. Follows no redirect, uses no proxy, checks certificates and their names.
class Transfer {
 public:
  Transfer(const std::string& url, const std::atomic<bool>& is_aborted);
  Transfer(const Transfer&) = delete;
  Transfer& operator=(const Transfer&) = delete;

  CURL* handle() { return handle_.get(); }
  void add_header(const std::string& line);
  void set_body(const std::string& body);
  /// Whose certificates are believed; empty: the system's.
  void set_ca_file(const std::string& file);
  void set_user(const std::string& user, const std::string& password);
  /// Returns the status that the other side gave (HTTP, SMTP) within attempt_max; Fault::unavailable if it was never reached
  /// or broke off.
  Result<long> run();
  const std::string& answer() const { return answer_; }

 private:
  struct FreeHandle {
    void operator()(CURL* handle) const { curl_easy_cleanup(handle); }
  };
  struct FreeList {
    void operator()(curl_slist* list) const { curl_slist_free_all(list); }
  };
  static std::size_t take_answer(char* bytes, std::size_t size, std::size_t count, void* self);
  static int look_up(void* self, curl_off_t, curl_off_t, curl_off_t, curl_off_t);

  std::unique_ptr<CURL, FreeHandle> handle_;
  std::unique_ptr<curl_slist, FreeList> headers_;
  const std::atomic<bool>& is_aborted_;
  std::string url_;
  std::string answer_;
  bool is_answer_cut_ = false;
  bool was_mail_begun_ = false;                                            // 354 was heard
  std::optional<std::chrono::steady_clock::time_point> mail_taken_at_;     // and then 250
  char reason_[CURL_ERROR_SIZE] = "";
};

/// `text` without what could begin another header line.
std::string one_line(std::string text);

struct Post {
  std::string url;
  std::string ca_file;               ///< empty: the system's
  std::string body;                  ///< JSON
  std::vector<std::string> headers;  ///< further lines
};
/// A JSON POST; good for any 2xx.
Result<void> post_json(const Post& post, const std::atomic<bool>& is_aborted);

}  // namespace steadyglow::notify
