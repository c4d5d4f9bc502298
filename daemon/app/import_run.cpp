#include "app/import_run.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <filesystem>
#include <istream>
#include <memory>
#include <nlohmann/json.hpp>
#include <optional>

#include "app/bench_clock.hpp"
#include "app/hashed_file.hpp"
#include "app/replay.hpp"
#include "app/text_file.hpp"
#include "core/decimal.hpp"
#include "profile/profile_toml.hpp"
#include "record/tell_run.hpp"
#include "seal/bounded_json.hpp"
#include "seal/engine_words.hpp"
#include "soak/act.hpp"
#include "soak/engine.hpp"
#include "soak/policy.hpp"
#include "soak/verdict.hpp"
#include "store/run_import.hpp"

namespace steadyglow::app {
namespace {

using Json = nlohmann::ordered_json;

/// A line of JSON Lines: the first holds the texts of a profile and a plan.
constexpr std::size_t line_bytes_max = seal::json_bytes_max;
/// A hundred days, as in a recording.
constexpr double run_seconds_max = 100.0 * 86400.0;
constexpr std::uint64_t rows_per_progress = 1000;

/// What a log tells of its run besides the readings.
struct Origin {
  store::RunRow row;
  std::int64_t was_run = 0;  ///< its number in the store that it was exported from
  profile::Profile profile;
  profile::Plan plan;
};

struct Input {
  Timestamp at{};
  std::vector<Reading> readings;
  std::string kind;  ///< of an act; empty: readings
  std::string json;
};

/// A log, row by row. Every mistake has file:line and a hint.
class Log {
 public:
  virtual ~Log() = default;
  /// False at the end.
  virtual Result<bool> next(Input& input) = 0;
  virtual std::string where() const = 0;
};

class CsvLog : public Log {
 public:
  CsvLog(std::istream& in, const std::string& file, const profile::Profile& profile) : recording_(in, file, profile) {}
  Result<bool> next(Input& input) override { return recording_.next(input.at, input.readings); }
  std::string where() const override { return recording_.where(); }
  RecordingReader& recording() { return recording_; }

 private:
  RecordingReader recording_;
};

std::string quality_hint() { return "a value is a number, or {\"quality\":WORD}; words: over_range open_sensor stale no_answer refused implausible contact_lost other_meter"; }

class JsonLog : public Log {
 public:
  JsonLog(std::istream& in, std::string file) : in_(in), file_(std::move(file)) {}

  std::string where() const override { return file_ + ":" + std::to_string(line_); }

  /// The first line, which says what run it was.
  Result<Json> header() {
    const auto line = next_object();
    if (!line) return tl::unexpected(line.error());
    if (!*line || text_of(**line, "what") != "run") return fail(Fault::bad_data, "the first line does not say what run this is", "import what `steadyglow export --format jsonl` wrote", where());
    return std::move(**line);
  }

  void read_for(const profile::Profile& profile) { profile_ = &profile; }

  Result<bool> next(Input& input) override {
    input = {};
    while (true) {
      auto line = next_object();
      if (!line) return tl::unexpected(line.error());
      if (!*line) return false;
      const Json& json = **line;
      const std::string what = text_of(json, "what");
      if (what == "event") continue;  // said anew by the engine
      if (auto taken = what == "readings" ? take_readings(json, input) : what == "input" ? take_act(json, input) : unknown(what); !taken) return tl::unexpected(taken.error());
      return true;
    }
  }

 private:
  static std::string text_of(const Json& json, const char* field) {
    const auto found = json.find(field);
    return found != json.end() && found->is_string() ? found->get<std::string>() : std::string();
  }
  tl::unexpected<Error> mistake(std::string message, std::string hint = {}) const { return fail(Fault::bad_data, std::move(message), std::move(hint), where()); }
  Result<void> unknown(const std::string& what) const { return mistake(fmt::format("`{}` is no kind of line", what.substr(0, 40)), "kinds: run readings input event"); }

  Result<std::optional<Json>> next_object() {
    std::string text;
    std::streambuf& bytes = *in_.rdbuf();
    ++line_;
    int c = bytes.sbumpc();
    for (; c != std::char_traits<char>::eof() && c != '\n'; c = bytes.sbumpc()) {
      if (text.size() == line_bytes_max) return mistake(fmt::format("a line is longer than {} bytes", line_bytes_max), "is this a file of JSON Lines?");
      text += static_cast<char>(c);
    }
    if (text.empty() && c != '\n') return std::optional<Json>();
    auto json = seal::bounded_json(text);
    if (!json) return mistake("this line is no JSON object", json.error().message);
    if (!json->is_object()) return mistake("this line is no JSON object", "one object a line");
    return std::optional<Json>(std::move(*json));
  }

  Result<void> take_time(const Json& json, Input& input) const {
    const auto time = json.find("time_s");
    if (time == json.end() || !time->is_number()) return mistake("`time_s` is missing or no number", "seconds of run time");
    const double seconds = time->get<double>();
    if (!(seconds >= 0.0) || seconds > run_seconds_max) return mistake(fmt::format("time {} s is outside 0 to {} s", seconds, run_seconds_max), "time_s counts seconds from the start");
    input.at = at_ms(std::llround(seconds * 1000.0));
    return {};
  }

  Result<void> take_readings(const Json& json, Input& input) const {
    if (auto time = take_time(json, input); !time) return time;
    const auto values = json.find("values");
    if (values == json.end() || !values->is_object()) return mistake("`values` is missing or no object", quality_hint());
    for (const auto& [name, value] : values->items()) {
      const auto point = profile_->find(name);
      if (!point) return mistake(fmt::format("`{}` is no point of the profile", name.substr(0, 40)), "the profile stands in the first line");
      if (value.is_number()) {
        input.readings.push_back(Reading::good(*point, input.at, value.get<double>()));
        continue;
      }
      const auto quality = quality_from_word(value.is_object() ? text_of(value, "quality") : "");
      if (!quality || *quality == Quality::good) return mistake(fmt::format("`{}` has neither a value nor a quality", name.substr(0, 40)), quality_hint());
      const auto as_met = value.find("as_met");
      input.readings.push_back(Reading::bad(*point, input.at, *quality, as_met != value.end() && as_met->is_number() ? as_met->get<double>() : 0.0));
    }
    return {};
  }

  Result<void> take_act(const Json& json, Input& input) const {
    if (auto time = take_time(json, input); !time) return time;
    input.kind = text_of(json, "kind");
    const auto words = json.find("json");
    if (words == json.end() || !words->is_object()) return mistake("`json` is missing or no object", "import what `steadyglow export --format jsonl` wrote");
    input.json = words->dump(-1, ' ', false, Json::error_handler_t::replace);
    if (input.kind == record::input_kind_policy) {
      if (const auto policy = soak::policy_from_json(input.json); !policy) return mistake(policy.error().message, policy.error().hint);
    } else if (const auto act = soak::act_from_json(input.kind, input.json); !act) return mistake(act.error().message, act.error().hint);
    return {};
  }

  std::istream& in_;
  std::string file_;
  std::uint64_t line_ = 0;
  const profile::Profile* profile_ = nullptr;
};

void check_name(const char* option, const std::string& value, bool is_needed, Errors& errors) {
  if (value.empty() && is_needed) errors.push_back({Fault::usage, fmt::format("{} is missing", option), "", ""});
  if (value.size() > import_name_bytes_max) errors.push_back({Fault::usage, fmt::format("{} has more than {} bytes", option, import_name_bytes_max), "", ""});
  if (std::any_of(value.begin(), value.end(), [](unsigned char c) { return c < ' ' || c == 0x7f; })) errors.push_back({Fault::usage, fmt::format("{} holds a control character", option), "", ""});
}

bool is_unit_name(const std::string& name) {
  return !name.empty() && std::all_of(name.begin(), name.end(), [](char c) { return (c >= 'a' && c <= 'z') || (c >= '0' && c <= '9') || c == '-' || c == '_'; });
}

void check_words(const ImportOptions& options, bool is_json, Errors& errors) {
  check_name("the name of who brings it in (--who)", options.who, true, errors);
  check_name("the title (--title)", options.title, !is_json, errors);
  check_name("the serial number (--serial)", options.serial, false, errors);
  check_name("the unit (--unit)", options.unit, !is_json, errors);
  if (!options.unit.empty() && !is_unit_name(options.unit)) errors.push_back({Fault::usage, fmt::format("`{}` is not a unit name", options.unit), "use a-z, 0-9, - and _ only; the plated name goes into --title", ""});
  if (!options.began.empty() && !parse_rfc3339(options.began)) errors.push_back({Fault::usage, fmt::format("`{}` is no RFC 3339 time", options.began), "write 2026-01-31T22:00:00Z, or with an offset like +01:00", ""});
  if (!is_json && options.profile.empty()) errors.push_back({Fault::usage, "no profile is named", "--profile FILE says what the columns are and what is normal", ""});
  if (!is_json && options.plan.empty()) errors.push_back({Fault::usage, "no plan is named", "--plan FILE says which hours count", ""});
}

/// The text of a file that is named, or the one that is there already.
void read_text(const std::string& file, std::string& name, std::string& text, Errors& errors) {
  if (file.empty()) return;
  auto read = read_text_file(file);
  if (!read) return errors.push_back(read.error());
  text = std::move(*read);
  name = std::filesystem::path(file).stem().string();
}

std::string text_or(const Json& header, const char* field, const std::string& option) {
  if (!option.empty()) return option;
  const auto found = header.find(field);
  return found != header.end() && found->is_string() ? found->get<std::string>() : std::string();
}

std::optional<Origin> origin_of(const ImportOptions& options, const Json& header, const std::string& header_name, Errors& errors) {
  Origin origin;
  store::RunRow& row = origin.row;
  row.unit = text_or(header, "unit", options.unit);
  row.title = text_or(header, "title", options.title);
  row.serial = text_or(header, "serial", options.serial);
  row.profile_name = text_or(header, "profile_name", {});
  row.profile_text = text_or(header, "profile_text", {});
  row.plan_name = text_or(header, "plan_name", {});
  row.plan_text = text_or(header, "plan_text", {});
  row.started_by = options.who;
  row.started_utc = text_or(header, "started_utc", options.began);
  if (const auto run = header.find("run"); run != header.end() && run->is_number_integer()) origin.was_run = run->get<std::int64_t>();
  if (!is_unit_name(row.unit) && errors.empty()) errors.push_back({Fault::bad_data, "the unit has no usable name", "say --unit NAME", header_name});
  read_text(options.profile, row.profile_name, row.profile_text, errors);
  read_text(options.plan, row.plan_name, row.plan_text, errors);
  if (!errors.empty()) return std::nullopt;
  auto profile = profile::parse_profile(row.profile_text, options.profile.empty() ? header_name : options.profile, errors);
  auto plan = profile::parse_plan(row.plan_text, options.plan.empty() ? header_name : options.plan, errors);
  if (!profile || !plan) return std::nullopt;
  origin.profile = std::move(*profile);
  origin.plan = std::move(*plan);
  for (const profile::Point& point : origin.profile.points) row.points.push_back(point.name);
  return origin;
}

/// Feeds the log to an engine, and lays down what went in and what it said.
class Feeding {
 public:
  Feeding(const ImportOptions& options, const Origin& origin, store::RunImport::Rows& rows, Imported& imported)
      : options_(options), origin_(origin), rows_(rows), imported_(imported) {}

  Result<void> all(Log& log, const HashedFile& file) {
    Input input;
    while (true) {
      const auto more = log.next(input);
      if (!more) return tl::unexpected(more.error());
      if (!*more) break;
      if (auto in_order = check_order(log, input); !in_order) return in_order;
      if (auto fed = feed(input); !fed) return fed;
      if (++imported_.rows % rows_per_progress == 0 && options_.progress && file.size() > 0)
        options_.progress(static_cast<double>(file.bytes_read()) / static_cast<double>(file.size()));
    }
    if (imported_.readings == 0) return fail(Fault::bad_data, "there is no reading in it", "rows of readings follow the header", options_.file);
    if (!engine_->verdict())
      if (auto ended = act(last_, {.kind = soak::ActKind::stop, .who = options_.who, .why = "the recording ends here"}); !ended) return ended;
    imported_.length = last_.time_since_epoch();
    imported_.verdict = soak::to_word(engine_->verdict()->word);
    imported_.reasons = engine_->verdict()->reasons;
    return {};
  }

  /// The event that says where the run came from; its time is the end, when the sum of the whole file is known.
  Result<void> mark() {
    const Json mark = {{"file", std::filesystem::path(options_.file).filename().string()}, {"sha256", imported_.sha256}, {"who", options_.who},
                       {"imported_utc", utc_label(utc_now_ms())}, {"was_run", origin_.was_run}};
    return rows_.event(last_, store::event_kind_imported, mark.dump(-1, ' ', false, Json::error_handler_t::replace));
  }

 private:
  Result<void> check_order(const Log& log, const Input& input) const {
    if (!is_begun_) return {};
    if (input.at < last_)
      return fail(Fault::bad_data, fmt::format("the time goes back by {:.3f} s", seconds_of(last_ - input.at)), "rows stand in order of time; was a clock set, or are two logs in one file?", log.where());
    if (input.at == last_ && input.kind.empty() && were_readings_)
      return fail(Fault::bad_data, "this time stands here twice, to the millisecond", "one row for each moment: put its readings together, or remove one row", log.where());
    return {};
  }

  Result<void> feed(const Input& input) {
    if (!is_begun_) {
      is_begun_ = true;
      soak::Policy policy;
      if (input.kind == record::input_kind_policy) policy = soak::policy_from_json(input.json).value_or(policy);
      engine_ = std::make_unique<soak::Engine>(origin_.profile, origin_.plan, policy);
      if (input.kind == record::input_kind_policy) {
        last_ = input.at;
        if (auto put = rows_.input(input.at, input.kind, input.json); !put) return put;
        return say_whence();
      }
      if (auto said = say_whence(); !said) return said;
    }
    last_ = input.at;
    were_readings_ = input.kind.empty();
    if (!input.kind.empty()) {
      ++imported_.acts;
      const auto words = soak::act_from_json(input.kind, input.json);
      return words ? act(input.at, *words) : Result<void>(fail(Fault::bad_data, "an input stands where none may", words.error().message));
    }
    imported_.readings += input.readings.size();
    if (input.readings.empty()) return {};
    if (auto heard = hear(engine_->take(input.readings)); !heard) return heard;
    return rows_.readings(input.at, input.readings);
  }

  /// On the page of the run, among what was done.
  Result<void> say_whence() {
    return act(last_, {.kind = soak::ActKind::remark, .who = options_.who,
                       .why = fmt::format("brought in from {}: the readings were not taken by this program, and nobody was guarded by it", std::filesystem::path(options_.file).filename().string())});
  }

  /// In the daemon's order: what an input makes the engine say stands before it.
  Result<void> act(Timestamp at, const soak::Act& words) {
    if (auto heard = hear(engine_->act(at, words)); !heard) return heard;
    return rows_.input(at, soak::to_word(words.kind), soak::to_json_text(words));
  }

  Result<void> hear(std::span<const soak::Event> events) {
    for (const soak::Event& event : events) {
      seal::EventLine line = seal::stored_words(event, origin_.profile, {imported_.run, origin_.row.unit});
      if (auto put = rows_.event(line.at, line.kind, std::move(line.json)); !put) return put;
    }
    return {};
  }

  const ImportOptions& options_;
  const Origin& origin_;
  store::RunImport::Rows& rows_;
  Imported& imported_;
  std::unique_ptr<soak::Engine> engine_;
  Timestamp last_{};
  bool is_begun_ = false;
  bool were_readings_ = false;
};

}  // namespace

Result<Imported> import_run(const ImportOptions& options, Errors& errors) {
  const auto failed = [&]() -> tl::unexpected<Error> { return tl::unexpected<Error>(errors.front()); };
  HashedFile file;
  if (auto opened = file.open(options.file); !opened) {
    errors.push_back(opened.error());
    return failed();
  }
  std::istream in(&file);
  const bool is_json = in.peek() == '{';
  check_words(options, is_json, errors);
  if (!errors.empty()) return failed();

  JsonLog json_log(in, options.file);
  Json header = Json::object();
  if (is_json) {
    auto read = json_log.header();
    if (!read) {
      errors.push_back(read.error());
      return failed();
    }
    header = std::move(*read);
  }
  auto origin = origin_of(options, header, options.file + ":1", errors);
  if (!origin) return failed();
  json_log.read_for(origin->profile);

  Imported imported;
  CsvLog csv_log(in, options.file, origin->profile);
  const auto failed_with = [&](const Error& error) {
    errors.push_back(error);
    return failed();
  };
  if (!is_json) {
    if (const auto read = csv_log.recording().read_header(imported.missing); !read) return failed_with(read.error());
    if (!csv_log.recording().has_dates() && options.began.empty())
      return failed_with({Fault::usage, "the log counts seconds and does not say when it began", "say --began 2026-01-31T22:00:00Z", options.file});
  }
  auto store = store::RunImport::open(options.store, options.may_begin_store);
  if (!store) return failed_with(store.error());
  imported.run = store->run();
  const auto done = store->commit([&](store::RunImport::Rows& rows) -> Result<store::RunImport::Header> {
    Feeding feeding(options, *origin, rows, imported);
    Log& log = is_json ? static_cast<Log&>(json_log) : csv_log;
    if (auto fed = feeding.all(log, file); !fed) return tl::unexpected(fed.error());
    imported.sha256 = file.sha256();
    if (auto marked = feeding.mark(); !marked) return tl::unexpected(marked.error());
    store::RunImport::Header made{origin->row, {}};
    const auto first = is_json ? std::nullopt : csv_log.recording().began_utc_seconds();
    const auto began = first ? first : parse_rfc3339(made.run.started_utc);
    if (!began) return fail(Fault::usage, "it is not known when the run began", "say --began 2026-01-31T22:00:00Z", options.file);
    const auto began_ms = static_cast<std::int64_t>(std::llround(*began * 1000.0));
    made.run.started_utc = utc_label(began_ms);
    made.ended_utc = utc_label(began_ms + ms_of(at_ms(0) + imported.length));
    return made;
  });
  if (!done) return failed_with(done.error());
  return imported;
}

}  // namespace steadyglow::app
