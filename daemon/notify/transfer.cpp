#include "notify/transfer.hpp"

#include <algorithm>
#include <mutex>

#include "notify/route.hpp"

namespace steadyglow::notify {
namespace {

void begin_library() {
  static std::once_flag once;
  std::call_once(once, [] { curl_global_init(CURL_GLOBAL_DEFAULT); });
}

constexpr long answer_good_from = 200;
constexpr long answer_good_below = 300;
constexpr long mail_begins = 354;
constexpr long mail_taken = 250;
constexpr std::size_t told_of_answer_max = 200;

}  // namespace

std::string one_line(std::string text) {
  std::replace_if(text.begin(), text.end(), [](unsigned char c) { return c < 0x20 || c == 0x7f; }, ' ');
  return text;
}

Transfer::Transfer(const std::string& url, const std::atomic<bool>& is_aborted) : is_aborted_(is_aborted), url_(url) {
  begin_library();
  handle_.reset(curl_easy_init());
  if (!handle_) return;
  CURL* curl = handle_.get();
  curl_easy_setopt(curl, CURLOPT_URL, url.c_str());
  curl_easy_setopt(curl, CURLOPT_NOSIGNAL, 1L);
  curl_easy_setopt(curl, CURLOPT_TIMEOUT_MS, static_cast<long>(std::chrono::milliseconds(attempt_max).count()));
  curl_easy_setopt(curl, CURLOPT_CONNECTTIMEOUT_MS, static_cast<long>(std::chrono::milliseconds(connect_max).count()));
  // A connection that is kept says goodbye when the handle goes, and waits two minutes for the answer of a server that hangs.
  curl_easy_setopt(curl, CURLOPT_FORBID_REUSE, 1L);
  curl_easy_setopt(curl, CURLOPT_SERVER_RESPONSE_TIMEOUT, static_cast<long>(std::chrono::seconds(attempt_max).count()));
  // Else a name that nobody answers for would be waited for once more when the handle goes.
  curl_easy_setopt(curl, CURLOPT_QUICK_EXIT, 1L);
  curl_easy_setopt(curl, CURLOPT_FOLLOWLOCATION, 0L);
  curl_easy_setopt(curl, CURLOPT_PROXY, "");
  curl_easy_setopt(curl, CURLOPT_SSL_VERIFYPEER, 1L);
  curl_easy_setopt(curl, CURLOPT_SSL_VERIFYHOST, 2L);
  curl_easy_setopt(curl, CURLOPT_SSLVERSION, static_cast<long>(CURL_SSLVERSION_TLSv1_2));
  curl_easy_setopt(curl, CURLOPT_ERRORBUFFER, reason_);
  curl_easy_setopt(curl, CURLOPT_WRITEFUNCTION, &Transfer::take_answer);
  curl_easy_setopt(curl, CURLOPT_WRITEDATA, this);
  curl_easy_setopt(curl, CURLOPT_NOPROGRESS, 0L);
  curl_easy_setopt(curl, CURLOPT_XFERINFOFUNCTION, &Transfer::look_up);
  curl_easy_setopt(curl, CURLOPT_XFERINFODATA, this);
}

std::size_t Transfer::take_answer(char* bytes, std::size_t size, std::size_t count, void* self) {
  auto& transfer = *static_cast<Transfer*>(self);
  if (transfer.answer_.size() + size * count > answer_bytes_max) {
    transfer.is_answer_cut_ = true;
    return 0;  // ends the transfer
  }
  transfer.answer_.append(bytes, size * count);
  return size * count;
}

/// libcurl asks at least once a second whether it is to go on, whatever the other side does.
int Transfer::look_up(void* self, curl_off_t, curl_off_t, curl_off_t, curl_off_t) {
  auto& transfer = *static_cast<Transfer*>(self);
  if (transfer.is_aborted_) return 1;
  // RFC 5321 4.2.3: 354 begins the mail, the 250 after it means that the server has it. What follows is the goodbye.
  long status = 0;
  curl_easy_getinfo(transfer.handle(), CURLINFO_RESPONSE_CODE, &status);
  const auto now = std::chrono::steady_clock::now();
  if (status == mail_begins) transfer.was_mail_begun_ = true;
  else if (status == mail_taken && transfer.was_mail_begun_ && !transfer.mail_taken_at_) transfer.mail_taken_at_ = now;
  return transfer.mail_taken_at_ && now - *transfer.mail_taken_at_ > goodbye_max ? 1 : 0;
}

void Transfer::add_header(const std::string& line) {
  curl_slist* longer = curl_slist_append(headers_.get(), one_line(line).c_str());
  if (longer == nullptr) return;
  (void)headers_.release();
  headers_.reset(longer);
}

void Transfer::set_body(const std::string& body) {
  curl_easy_setopt(handle(), CURLOPT_POSTFIELDSIZE_LARGE, static_cast<curl_off_t>(body.size()));
  curl_easy_setopt(handle(), CURLOPT_COPYPOSTFIELDS, body.c_str());
}

void Transfer::set_ca_file(const std::string& file) {
  if (!file.empty()) curl_easy_setopt(handle(), CURLOPT_CAINFO, file.c_str());
}

void Transfer::set_user(const std::string& user, const std::string& password) {
  curl_easy_setopt(handle(), CURLOPT_USERNAME, user.c_str());
  curl_easy_setopt(handle(), CURLOPT_PASSWORD, password.c_str());
}

Result<long> Transfer::run() {
  if (!handle_) return fail(Fault::unavailable, "no memory for a transfer");
  curl_easy_setopt(handle(), CURLOPT_HTTPHEADER, headers_.get());
  const CURLcode done = curl_easy_perform(handle());
  long status = 0;
  curl_easy_getinfo(handle(), CURLINFO_RESPONSE_CODE, &status);
  if (mail_taken_at_) return mail_taken;  // whatever became of the goodbye
  if (is_answer_cut_ && status > 0) return status;
  if (done == CURLE_ABORTED_BY_CALLBACK) return fail(Fault::unavailable, "broken off because the program ends");
  if (done != CURLE_OK) {
    std::string why = *reason_ != '\0' ? reason_ : curl_easy_strerror(done);
    if (status > 0) why += " (status " + std::to_string(status) + ")";
    return fail(Fault::unavailable, one_line(why), {}, {});
  }
  return status;
}

Result<void> post_json(const Post& post, const std::atomic<bool>& is_aborted) {
  Transfer transfer(post.url, is_aborted);
  if (transfer.handle() == nullptr) return fail(Fault::unavailable, "no memory for a transfer");
  curl_easy_setopt(transfer.handle(), CURLOPT_PROTOCOLS_STR, "http,https");
  transfer.set_ca_file(post.ca_file);
  transfer.add_header("Content-Type: application/json");
  transfer.add_header("Expect:");
  for (const std::string& header : post.headers) transfer.add_header(header);
  transfer.set_body(post.body);
  const auto status = transfer.run();
  if (!status) return tl::unexpected(status.error());
  if (*status >= answer_good_from && *status < answer_good_below) return {};
  return fail(Fault::unavailable, "it answered with status " + std::to_string(*status) + ": " + one_line(transfer.answer().substr(0, told_of_answer_max)));
}

}  // namespace steadyglow::notify
