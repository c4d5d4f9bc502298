#pragma once
/// Reads a JSON object field by field, strictly: a wrong kind or an unknown name is a mistake, and the first one is kept.
#include <algorithm>
#include <cmath>
#include <initializer_list>
#include <optional>
#include <set>
#include <string>
#include <vector>

#include <nlohmann/json.hpp>

#include "core/result.hpp"
#include "core/timestamp.hpp"

namespace steadyglow::soak {

inline Timestamp at_seconds(double seconds) {
  constexpr double ms_per_second = 1000.0;
  return at_ms(static_cast<std::int64_t>(std::llround(seconds * ms_per_second)));
}

class Fields {
 public:
  explicit Fields(const std::string& text) : json_(nlohmann::json::parse(text, nullptr, false)) {
    if (!json_.is_object()) mistake("this is no JSON object");
  }

  bool text(const char* name, std::string& into) {
    const auto* value = find(name);
    if (value == nullptr) return false;
    if (!value->is_string()) return mistake(std::string("`") + name + "` is no text"), false;
    into = value->get<std::string>();
    return true;
  }
  bool word(const char* name, std::string& into, std::initializer_list<const char*> words) {
    if (!text(name, into)) return false;
    if (std::any_of(words.begin(), words.end(), [&](const char* one) { return into == one; })) return true;
    std::string known;
    for (const char* one : words) known += (known.empty() ? "" : ", ") + std::string(one);
    return mistake("`" + into + "` is no word for `" + name + "`", "known: " + known), false;
  }
  void flag(const char* name, bool& into) {
    const auto* value = find(name);
    if (value == nullptr) return;
    if (!value->is_boolean()) return mistake(std::string("`") + name + "` must be true or false");
    into = value->get<bool>();
  }
  std::optional<double> number(const char* name, double low, double high) {
    const auto* value = find(name);
    if (value == nullptr) return std::nullopt;
    const double figure = value->is_number() ? value->get<double>() : NAN;
    if (!(figure >= low && figure <= high)) return mistake(std::string("`") + name + "` is no number that can be"), std::nullopt;
    return figure;
  }
  std::optional<std::int64_t> whole(const char* name) {
    const auto* value = find(name);
    if (value == nullptr) return std::nullopt;
    if (!value->is_number_integer() || *value < 0) return mistake(std::string("`") + name + "` is no whole number"), std::nullopt;
    return value->get<std::int64_t>();
  }
  void texts(const char* name, std::vector<std::string>& into) {
    const auto* value = find(name);
    if (value == nullptr) return;
    if (!value->is_array()) return mistake(std::string("`") + name + "` is no list");
    for (const auto& entry : *value) {
      if (!entry.is_string()) return mistake(std::string("`") + name + "` holds what is no text");
      into.push_back(entry.get<std::string>());
    }
  }
  /// The first mistake, an unknown field included.
  std::optional<Error> done() {
    if (json_.is_object())
      for (const auto& [name, value] : json_.items())
        if (!asked_.contains(name)) mistake("unknown field `" + name + "`");
    return wrong_;
  }

 private:
  const nlohmann::json* find(const char* name) {
    asked_.insert(name);
    if (!json_.is_object()) return nullptr;
    const auto found = json_.find(name);
    return found == json_.end() ? nullptr : &*found;
  }
  void mistake(std::string message, std::string hint = {}) {
    if (!wrong_) wrong_ = Error{Fault::usage, std::move(message), std::move(hint), {}};
  }

  nlohmann::json json_;
  std::set<std::string> asked_;
  std::optional<Error> wrong_;
};

}  // namespace steadyglow::soak
