#include "http/password.hpp"

#include <boost/asio/post.hpp>
#include <sodium.h>

#include <algorithm>

namespace steadyglow::http {
namespace {

bool is_right(const std::string& hash, const std::string& password) {
  std::array<char, crypto_pwhash_STRBYTES> text{};
  std::copy(hash.begin(), hash.end(), text.begin());
  return crypto_pwhash_str_verify(text.data(), password.data(), password.size()) == 0;
}

}  // namespace

std::optional<std::string> basic_password(const std::string& authorization) {
  constexpr std::string_view scheme = "basic ";
  if (authorization.size() < scheme.size()) return std::nullopt;
  const auto is_same = [](char ours, char sent) { return ours == ' ' ? sent == ' ' : ours == (sent | 0x20); };
  const bool is_basic = std::equal(scheme.begin(), scheme.end(), authorization.begin(), is_same);
  if (!is_basic) return std::nullopt;
  std::string decoded(authorization.size(), '\0');
  std::size_t length = 0;
  const char* end = nullptr;
  const char* const begin = authorization.data() + scheme.size();
  const std::size_t size = authorization.size() - scheme.size();
  auto* const bytes = reinterpret_cast<unsigned char*>(decoded.data());
  const int status = sodium_base642bin(bytes, decoded.size(), begin, size, nullptr, &length, &end, sodium_base64_VARIANT_ORIGINAL);
  if (status != 0 || end != begin + size) return std::nullopt;
  decoded.resize(length);
  const std::size_t colon = decoded.find(':');
  if (colon == std::string::npos) return std::nullopt;
  std::string password = decoded.substr(colon + 1);
  sodium_memzero(decoded.data(), decoded.size());
  return password;
}

Result<std::unique_ptr<Door>> Door::make(boost::asio::io_context& loop, const std::string& hash) {
  if (sodium_init() < 0) return fail(Fault::io, "the cryptography library does not start");
  const bool is_argon2id = hash.starts_with(crypto_pwhash_argon2id_STRPREFIX) && hash.size() < crypto_pwhash_STRBYTES;
  if (!is_argon2id || crypto_pwhash_str_needs_rehash(hash.c_str(), crypto_pwhash_OPSLIMIT_INTERACTIVE, crypto_pwhash_MEMLIMIT_INTERACTIVE) < 0)
    return fail(Fault::config, "the password file holds no argon2id hash", "make it with: steadyglow password FILE");
  return std::unique_ptr<Door>(new Door(loop, hash));
}

Door::Door(boost::asio::io_context& loop, std::string hash) : loop_(loop), hash_(std::move(hash)) { randombytes_buf(key_.data(), key_.size()); }

Door::~Door() { worker_.join(); }

Door::Tag Door::tag_of(const std::string& authorization) const {
  Tag tag{};
  crypto_generichash(tag.data(), tag.size(), reinterpret_cast<const unsigned char*>(authorization.data()), authorization.size(), key_.data(), key_.size());
  return tag;
}

void Door::ask(const std::string& authorization, std::function<void(Answer)> done) {
  const Tag tag = tag_of(authorization);
  if (known_.contains(tag)) return done(Answer::may_pass);
  auto password = basic_password(authorization);
  if (!password) return done(Answer::wrong);
  if (waiting_ >= password_checks_waiting_max) return done(Answer::busy);
  ++waiting_;
  const auto same = std::find_if(checks_.begin(), checks_.end(), [&](const Check& check) { return check.tag == tag; });
  if (same != checks_.end()) return same->waiting.push_back(std::move(done));
  checks_.push_back(Check{tag, std::move(*password), {}});
  checks_.back().waiting.push_back(std::move(done));
  if (checks_.size() == 1) check_next();
}

void Door::check_next() {
  auto work = [this, &loop = loop_, alive = std::weak_ptr<const int>(alive_), hash = hash_, password = checks_.front().password]() mutable {
    const bool right = is_right(hash, password);
    sodium_memzero(password.data(), password.size());
    boost::asio::post(loop, [this, alive, right] {
      if (!alive.expired()) finish(right);
    });
  };
  boost::asio::post(worker_, std::move(work));
}

void Door::finish(bool is_right) {
  Check check = std::move(checks_.front());
  checks_.pop_front();
  waiting_ -= check.waiting.size();
  sodium_memzero(check.password.data(), check.password.size());
  if (is_right) {
    if (known_.size() >= passwords_remembered_max) known_.clear();
    known_.insert(check.tag);
  }
  if (!checks_.empty()) check_next();
  for (auto& done : check.waiting) done(is_right ? Answer::may_pass : Answer::wrong);
}

}  // namespace steadyglow::http
