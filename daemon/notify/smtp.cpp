#include "notify/smtp.hpp"

#include <sodium.h>

#include <algorithm>
#include <array>
#include <ctime>
#include <string_view>

#include <fmt/format.h>

#include "notify/transfer.hpp"

namespace steadyglow::notify {
namespace {

constexpr std::size_t subject_bytes_max = 200;  // RFC 5322 2.1.1: no line has more than 998

/// RFC 5322 3.3, in UTC and in English whatever the locale.
std::string date_now() {
  static constexpr std::array days{"Sun", "Mon", "Tue", "Wed", "Thu", "Fri", "Sat"};
  static constexpr std::array months{"Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"};
  const std::time_t now = std::time(nullptr);
  std::tm utc{};
  gmtime_r(&now, &utc);
  return fmt::format("{}, {:02} {} {} {:02}:{:02}:{:02} +0000", days[static_cast<std::size_t>(utc.tm_wday)], utc.tm_mday, months[static_cast<std::size_t>(utc.tm_mon)], utc.tm_year + 1900, utc.tm_hour, utc.tm_min, utc.tm_sec);
}

std::string domain_of(const std::string& address) {
  const std::size_t at = address.rfind('@');
  return at == std::string::npos ? "localhost" : address.substr(at + 1);
}

/// What all messages of an incident refer to, so that a mail program shows them together: their ids without the last part,
/// which alone tells them apart.
std::string thread_of(const Message& message) {
  const std::size_t dash = message.id.rfind('-');
  return dash == std::string::npos ? "incident-" + std::to_string(message.incident) : message.id.substr(0, dash);
}

bool is_continued(char c) { return (static_cast<unsigned char>(c) & 0xC0u) == 0x80u; }

/// At most so many bytes from `begin`; no UTF-8 character is cut.
std::string_view piece(std::string_view text, std::size_t begin, std::size_t bytes_max) {
  std::size_t end = std::min(text.size(), begin + bytes_max);
  while (end < text.size() && end > begin + 1 && is_continued(text[end])) --end;
  return text.substr(begin, end - begin);
}

/// RFC 2047: a header that is not plain ASCII goes as base64 words, each of at most 75 characters.
std::string header_text(const std::string& as_given) {
  constexpr std::size_t bytes_per_word = 36;
  const std::string text = one_line(std::string(piece(as_given, 0, subject_bytes_max)));
  if (std::all_of(text.begin(), text.end(), [](unsigned char c) { return c < 0x80; })) return text;
  std::string out;
  for (std::size_t begin = 0; begin < text.size();) {
    const std::string_view bytes = piece(text, begin, bytes_per_word);
    std::array<char, sodium_base64_ENCODED_LEN(bytes_per_word, sodium_base64_VARIANT_ORIGINAL)> word{};
    sodium_bin2base64(word.data(), word.size(), reinterpret_cast<const unsigned char*>(bytes.data()), bytes.size(), sodium_base64_VARIANT_ORIGINAL);
    out += (out.empty() ? "=?UTF-8?B?" : " =?UTF-8?B?") + std::string(word.data()) + "?=";
    begin += bytes.size();
  }
  return out;
}

struct FreeMime {
  void operator()(curl_mime* mime) const { curl_mime_free(mime); }
};
struct FreeList {
  void operator()(curl_slist* list) const { curl_slist_free_all(list); }
};

}  // namespace

Result<void> SmtpRoute::send(const Message& message) {
  Transfer transfer(settings_.url, is_aborted());
  CURL* curl = transfer.handle();
  if (curl == nullptr) return fail(Fault::unavailable, "no memory for a transfer");
  curl_easy_setopt(curl, CURLOPT_PROTOCOLS_STR, "smtp,smtps");
  curl_easy_setopt(curl, CURLOPT_USE_SSL, settings_.is_tls_required ? static_cast<long>(CURLUSESSL_ALL) : static_cast<long>(CURLUSESSL_NONE));
  transfer.set_ca_file(settings_.ca_file);
  if (!settings_.user.empty()) transfer.set_user(settings_.user, settings_.password);
  curl_easy_setopt(curl, CURLOPT_MAIL_FROM, ("<" + settings_.from + ">").c_str());
  const std::unique_ptr<curl_slist, FreeList> to(curl_slist_append(nullptr, ("<" + settings_.to + ">").c_str()));
  curl_easy_setopt(curl, CURLOPT_MAIL_RCPT, to.get());

  const std::string domain = domain_of(settings_.from);
  transfer.add_header("Date: " + date_now());
  transfer.add_header("From: Steadyglow <" + settings_.from + ">");
  transfer.add_header("To: <" + settings_.to + ">");
  transfer.add_header("Subject: " + header_text(message.subject));
  transfer.add_header("Message-ID: <" + message.id + "@" + domain + ">");
  if (message.incident != 0) {
    transfer.add_header("In-Reply-To: <" + thread_of(message) + "@" + domain + ">");
    transfer.add_header("References: <" + thread_of(message) + "@" + domain + ">");
  }
  transfer.add_header("Auto-Submitted: auto-generated");
  if (message.priority >= alarm::Priority::high) {
    transfer.add_header("Importance: high");
    transfer.add_header("X-Priority: 1");
  }
  const std::unique_ptr<curl_mime, FreeMime> mime(curl_mime_init(curl));
  curl_mimepart* text = curl_mime_addpart(mime.get());
  curl_mime_data(text, message.text.data(), message.text.size());
  curl_mime_type(text, "text/plain; charset=utf-8");
  curl_mime_encoder(text, "quoted-printable");
  if (!message.picture.empty()) {
    curl_mimepart* picture = curl_mime_addpart(mime.get());
    curl_mime_data(picture, message.picture.data(), message.picture.size());
    curl_mime_type(picture, "image/png");
    // Shown below the text, not as something to open first (RFC 2183).
    curl_slist* disposition = curl_slist_append(nullptr, "Content-Disposition: inline; filename=last-two-hours.png");
    curl_mime_headers(picture, disposition, 1);
    curl_mime_encoder(picture, "base64");
  }
  curl_easy_setopt(curl, CURLOPT_MIMEPOST, mime.get());
  const auto status = transfer.run();
  if (!status) return tl::unexpected(status.error());
  return {};
}

}  // namespace steadyglow::notify
