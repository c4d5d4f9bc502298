#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <set>

#include "demo/bench/night.hpp"
#include "document/table.hpp"

namespace steadyglow::demo {
namespace {

using document::Range;
using document::Table;

constexpr std::array<std::string_view, model_count> model_words{"brindlecombe35", "fennimark120", "hollin_p4"};
constexpr std::array<std::string_view, 3> fault_words{"gassy_tube", "bias_creep", "welded_relay"};
constexpr int tubes = 4;

/// "HH:MM" or "HH:MM:SS" as seconds of the day.
std::optional<double> seconds_of_day(std::string_view text) {
  const auto two = [&](std::size_t from, int below) -> std::optional<int> {
    if (text.size() < from + 2 || text[from] < '0' || text[from] > '9' || text[from + 1] < '0' || text[from + 1] > '9') return std::nullopt;
    const int value = 10 * (text[from] - '0') + (text[from + 1] - '0');
    return value < below ? std::optional(value) : std::nullopt;
  };
  if (text.size() != 5 && text.size() != 8) return std::nullopt;
  const bool has_seconds = text.size() == 8;
  const auto hours = two(0, 24);
  const auto minutes = two(3, 60);
  const auto seconds = has_seconds ? two(6, 60) : std::optional(0);
  if (!hours || !minutes || !seconds || text[2] != ':' || (has_seconds && text[5] != ':')) return std::nullopt;
  return 3600.0 * *hours + 60.0 * *minutes + *seconds;
}

/// The value of a key that holds a time of day; 0 after a mistake.
double clock_time(Table& table, std::string_view key, bool* is_good = nullptr) {
  const std::string text = table.text(key);
  const auto seconds = seconds_of_day(text);
  if (!seconds && !text.empty()) table.mistake(key, fmt::format("`{}` is no time of day", text), "write \"HH:MM\" or \"HH:MM:SS\", as in \"02:40\"");
  if (is_good != nullptr) *is_good = seconds.has_value();
  return seconds.value_or(0.0);
}

class Reader {
 public:
  Reader(Table& top, Night& night) : top_(top), night_(night) {}

  void read() {
    read_head();
    read_units();
    if (auto table = need_table("mains")) read_mains(*table);
    if (auto table = need_table("room")) read_room(*table);
    if (auto table = top_.maybe_table("link")) read_link(*table);
    if (auto table = top_.maybe_table("wiring")) read_wiring(*table);
    auto faults = top_.tables("fault");
    check_count(top_, "fault", faults.size());
    for (Table& table : faults) read_fault(table);
    top_.done();
  }

 private:
  std::optional<Table> need_table(std::string_view key) {
    auto table = top_.maybe_table(key);
    if (!table && !top_.has(key)) top_.mistake("", fmt::format("there is no [{}] table", key), "see night.toml beside it for what belongs there");
    return table;
  }

  void check_count(Table& table, std::string_view key, std::size_t count) {
    if (count > events_max) table.mistake(key, fmt::format("{} of them are more than {}", count, events_max));
  }

  /// Seconds of bench time: the first such time of day after the start.
  double moment(Table& table, std::string_view key) {
    const double after = clock_time(table, key) - night_.starts_seconds;
    return after < 0.0 ? after + day_seconds : after;
  }

  void read_head() {
    auto head = need_table("night");
    if (!head) return;
    night_.title = head->text("title");
    night_.starts_seconds = clock_time(*head, "starts", &has_start_);
    night_.seed = static_cast<std::uint64_t>(head->whole("seed", {0.0, 2147483647.0}));
    head->done();
  }

  void read_units() {
    const auto names = top_.texts("units");
    if (names.empty() && !top_.has("units")) top_.mistake("", "the key `units` is missing", "as in units = [\"brindlecombe35\"], above the first [table]");
    const std::vector<std::string_view> words(model_words.begin(), model_words.end());
    std::set<std::string> seen;
    for (const std::string& name : names) {
      const auto place = std::find(model_words.begin(), model_words.end(), name);
      if (place == model_words.end()) {
        const std::string near = document::nearest(name, words);
        top_.mistake("units", fmt::format("there is no unit `{}`", name), near.empty() ? fmt::format("one of: {}", fmt::join(words, ", ")) : fmt::format("did you mean `{}`?", near));
      } else if (!seen.insert(name).second) {
        top_.mistake("units", fmt::format("`{}` stands here twice", name), "the bench has one of each");
      } else {
        night_.units.push_back(static_cast<Model>(place - model_words.begin()));
      }
    }
  }

  void read_mains(Table& table) {
    MainsScript& mains = night_.mains;
    mains.nominal_volts = table.number("nominal_volts", {80.0, 260.0});
    mains.low_volts = table.number("low_volts", {0.0, 300.0});
    mains.high_volts = table.number("high_volts", {0.0, 300.0});
    mains.wander_volts = table.number("wander_volts", {0.0, 20.0});
    if (table.has("low_volts") && table.has("high_volts") && mains.low_volts >= mains.high_volts)
      table.mistake("low_volts", fmt::format("low_volts {} is not below high_volts {}", mains.low_volts, mains.high_volts), "swap them?");
    auto steps = table.tables("step");
    check_count(table, "step", steps.size());
    for (Table& step : steps) {
      mains.steps.push_back({moment(step, "at"), step.number("volts", {-60.0, 60.0})});
      step.done();
    }
    auto failures = table.tables("failure");
    check_count(table, "failure", failures.size());
    for (Table& failure : failures) {
      mains.failures.push_back({moment(failure, "at"), failure.number("minutes", {0.1, 1440.0})});
      failure.done();
    }
    auto sags = table.tables("sag");
    check_count(table, "sag", sags.size());
    for (Table& sag : sags) {
      mains.sags.push_back({moment(sag, "at"), sag.number("seconds", {0.02, 60.0}), sag.number("percent", {1.0, 90.0})});
      sag.done();
    }
    table.done();
  }

  void read_wiring(Table& table) {
    night_.wiring.has_contactor = table.maybe_flag("contactor").value_or(false);
    night_.wiring.watchdog_seconds = table.maybe_number("watchdog_seconds", {0.2, 600.0}).value_or(night_.wiring.watchdog_seconds);
    if (table.has("smoke_at")) night_.wiring.smoke_at = moment(table, "smoke_at");
    table.done();
  }

  void read_room(Table& table) {
    RoomScript& room = night_.room;
    constexpr Range celsius{-10.0, 45.0};
    room.evening_celsius = table.number("evening_celsius", celsius);
    room.night_celsius = table.number("night_celsius", celsius);
    room.heating_off_at = moment(table, "heating_off");
    room.heating_on_at = moment(table, "heating_on");
    if (has_start_ && table.has("heating_off") && table.has("heating_on") && room.heating_on_at <= room.heating_off_at)
      table.mistake("heating_on", "the heating comes on before it goes off", "both count from the night's start: off in the evening, on in the morning");
    auto events = table.tables("event");
    check_count(table, "event", events.size());
    for (Table& event : events) {
      room.events.push_back({moment(event, "at"), event.number("minutes", {1.0, 600.0}), event.number("kelvin", {-15.0, 15.0})});
      event.done();
    }
    table.done();
  }

  void read_link(Table& table) {
    constexpr Range thousandths{0.0, 1000.0};
    night_.link.dropped_share = table.maybe_number("dropped_per_thousand", thousandths).value_or(0.0) / 1000.0;
    night_.link.late_share = table.maybe_number("late_per_thousand", thousandths).value_or(0.0) / 1000.0;
    night_.link.late_seconds = table.maybe_number("late_seconds", {0.0, 5.0}).value_or(0.0);
    if (night_.link.late_share > 0.0 && night_.link.late_seconds == 0.0)
      table.mistake("late_per_thousand", "answers are to come late, but late_seconds is 0 or missing", "late_seconds = 0.3, in real time");
    table.done();
  }

  void read_fault(Table& table) {
    ScriptedFault fault;
    const std::string unit = table.word("unit", {model_words.begin(), model_words.end()});
    const auto place = std::find(model_words.begin(), model_words.end(), unit);
    if (place != model_words.end()) fault.unit = static_cast<Model>(place - model_words.begin());
    if (place != model_words.end() && !night_.has(fault.unit))
      table.mistake("unit", fmt::format("`{}` is not on the bench this night", unit), "add it to units, or remove the fault");
    const std::string kind = table.word("kind", {fault_words.begin(), fault_words.end()});
    for (std::size_t i = 0; i < fault_words.size(); ++i)
      if (fault_words[i] == kind) fault.kind = static_cast<FaultKind>(i);
    fault.at = moment(table, "at");
    // With no kind nobody knows the other keys: to call them unknown would hide the one real mistake.
    if (kind.empty()) return;
    read_particulars(table, fault, unit);
    table.done();
    night_.faults.push_back(fault);
  }

  void read_particulars(Table& table, ScriptedFault& fault, const std::string& unit) {
    const auto needs = [&](Model model) {
      if (!unit.empty() && fault.unit != model)
        table.mistake("kind", fmt::format("{} cannot have this fault", unit), fmt::format("it belongs to {}", to_word(model)));
    };
    switch (fault.kind) {
      case FaultKind::gassy_tube:
        needs(Model::brindlecombe35);
        fault.tube = table.whole("tube", {1.0, tubes});
        fault.doubling_minutes = table.number("doubling_minutes", {1.0, 600.0});
        return;
      case FaultKind::bias_creep:
        needs(Model::fennimark120);
        fault.is_left = table.word("channel", {"left", "right"}) != "right";
        fault.percent_per_hour = table.number("percent_per_hour", {-20.0, 20.0});
        return;
      case FaultKind::welded_relay:
        return;
    }
  }

  Table& top_;
  Night& night_;
  bool has_start_ = false;  ///< else no moment can be told, nor whether two are in order
};

}  // namespace

std::string_view to_word(Model model) { return model_words[static_cast<std::size_t>(model)]; }

bool Night::has(Model model) const { return std::find(units.begin(), units.end(), model) != units.end(); }

std::optional<Night> parse_night(std::string_view text, std::string_view file, Errors& errors) {
  const std::size_t errors_before = errors.size();
  const document::Node root = document::parse(text, file, errors);
  if (errors.size() > errors_before) return std::nullopt;
  Table top(root, file, errors);
  Night night;
  Reader(top, night).read();
  if (errors.size() > errors_before) return std::nullopt;
  return night;
}

std::string time_of_day(const Night& night, double seconds) {
  const auto all = static_cast<std::int64_t>(std::floor(night.starts_seconds + seconds));
  const std::int64_t day = all % static_cast<std::int64_t>(day_seconds);
  return fmt::format("{:02}:{:02}:{:02}", day / 3600, day / 60 % 60, day % 60);
}

}  // namespace steadyglow::demo
