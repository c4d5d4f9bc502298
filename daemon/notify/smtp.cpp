#include "notify/smtp.hpp"

#include <ctime>

#include "notify/transfer.hpp"

namespace steadyglow::notify {
namespace {

/// RFC 5322 3.3, in UTC.
std::string date_now() {
  const std::time_t now = std::time(nullptr);
  std::tm utc{};
  gmtime_r(&now, &utc);
  char text[64];
  return {text, std::strftime(text, sizeof text, "%a, %d %b %Y %H:%M:%S +0000", &utc)};
}

std::string domain_of(const std::string& address) {
  const std::size_t at = address.rfind('@');
  return at == std::string::npos ? "localhost" : address.substr(at + 1);
}

/// RFC 2047: a header that is not plain ASCII goes as base64 words, each of at most 75 characters.
std::string header_text(const std::string& text) {
  constexpr std::size_t bytes_per_word = 36;
  bool is_plain = true;
  for (const unsigned char c : text) is_plain = is_plain && c < 0x80;
  if (is_plain) return one_line(text);
  static constexpr char digits[] = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
  std::string out;
  for (std::size_t begin = 0; begin < text.size();) {
    std::size_t end = std::min(text.size(), begin + bytes_per_word);
    while (end < text.size() && end > begin && (static_cast<unsigned char>(text[end]) & 0xC0u) == 0x80u) --end;  // no character is cut
    std::string word;
    for (std::size_t i = begin; i < end; i += 3) {
      const auto byte = [&](std::size_t at) { return at < end ? static_cast<unsigned char>(text[at]) : 0u; };
      const unsigned bits = byte(i) << 16 | byte(i + 1) << 8 | byte(i + 2);
      word += digits[bits >> 18 & 63u];
      word += digits[bits >> 12 & 63u];
      word += i + 1 < end ? digits[bits >> 6 & 63u] : '=';
      word += i + 2 < end ? digits[bits & 63u] : '=';
    }
    out += (out.empty() ? "=?UTF-8?B?" : " =?UTF-8?B?") + word + "?=";
    begin = end;
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
  if (!settings_.ca_file.empty()) curl_easy_setopt(curl, CURLOPT_CAINFO, settings_.ca_file.c_str());
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
  // Mail programs show what belongs to one incident together.
  if (message.incident != 0) transfer.add_header("References: <incident-" + std::to_string(message.incident) + "@" + domain + ">");
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
    curl_mime_filename(picture, "last-two-hours.png");
    curl_mime_encoder(picture, "base64");
  }
  curl_easy_setopt(curl, CURLOPT_MIMEPOST, mime.get());
  const auto status = transfer.run();
  if (!status) return tl::unexpected(status.error());
  return {};
}

}  // namespace steadyglow::notify
