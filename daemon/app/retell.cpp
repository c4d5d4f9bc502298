#include "app/retell.hpp"

#include <fmt/format.h>
#include <spdlog/spdlog.h>

#include <algorithm>
#include <utility>


namespace steadyglow::app {

void Story::note(std::span<const soak::Event> events) {
  struct Noter {
    std::deque<Did>& did;
    void note(Timestamp at, std::string text) const {
      if (did.size() == did_max) did.pop_front();
      did.push_back({at, std::move(text)});
    }
    /// The first sentence is enough for the morning.
    static std::string brief(const std::string& text) { return text.substr(0, std::min(text.find(';'), text.find(" ("))); }
    void operator()(const soak::OpenOutlet& e) const { note(e.at, (e.attempt > 1 ? "ordered off again" : (e.is_trip ? "cut: " : "switched off: ") + brief(e.reason))); }
    void operator()(const soak::OpenBench& e) const { note(e.at, "opened the bench contactor: " + brief(e.reason)); }
    void operator()(const soak::CloseOutlet& e) const { note(e.at, "switched on for " + e.who + ": " + e.reason); }
    void operator()(const soak::SwitchOnDue& e) const { note(e.at, "waits for its turn: " + e.reason); }
    void operator()(const soak::BleedDown& e) const { note(e.at, e.text); }
    void operator()(const soak::SegmentChange& e) const { note(e.at, fmt::format("segment {}: {}", e.number, e.why)); }
    void operator()(const soak::StageChange&) const {}
    void operator()(const soak::StartUp& e) const { note(e.at, e.text); }
    void operator()(const soak::Finding& e) const {
      if (e.kind == soak::Kind::outlet || e.kind == soak::Kind::mains || e.kind == soak::Kind::no_data) note(e.at, brief(e.message));
    }
    void operator()(const soak::AlarmRecord&) const {}
    void operator()(const soak::Verdict& e) const { note(e.at, "verdict proposed: " + std::string(soak::to_word(e.word))); }
    void operator()(const soak::Signature& e) const { note(e.at, fmt::format("signed by {}: {}", e.who, e.word)); }
  };
  for (const soak::Event& event : events) std::visit(Noter{did_}, event);
}

void Story::mark_counted(Timestamp at, const soak::Engine& engine) {
  if (!counted_marks_.empty() && at - counted_marks_.back().first < counted_mark_every) return;
  counted_marks_.emplace_back(at, engine.stages().counted());
}

Result<Retold> retell(const UnitSettings& settings, store::StoreReader& reader, const store::RunRow& row) {
  if (row.is_imported()) return fail(Fault::config, fmt::format("run {} was brought in from a file", row.id), "it has no alarms that anybody must be told of");
  if (row.profile_text != settings.profile_text || row.plan_text != settings.plan_text)
    return fail(Fault::config, fmt::format("run {} was started with another profile or plan", row.id), "its readings stay in the store");
  Story story;
  const auto heard = [&](const store::InputRow& input, std::span<const soak::Event> events, const soak::Engine& engine) {
    story.note(events);
    if (!input.readings.empty()) story.mark_counted(input.at, engine);
  };
  const std::uint64_t damaged_before = reader.damage().rows;
  auto told = record::tell_run(settings.profile, settings.plan, [&](const auto& visit) { return reader.for_each_input(row.id, visit); }, heard);
  if (!told) return tl::unexpected(told.error());
  for (const std::string& unread : told->unread) spdlog::error("{}: run {}: {}", settings.title, row.id, unread);
  if (const auto damaged = reader.damage().rows - damaged_before; damaged > 0)
    spdlog::error("{}: {} stored rows of run {} are damaged and were left out", settings.title, damaged, row.id);
  return Retold{std::move(told->engine), std::move(story), told->last_fed, told->inputs};
}

}  // namespace steadyglow::app
