#pragma once
/// Hears a run being told, and keeps of it what its figures are made of.
#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "analysis/series.hpp"
#include "record/run_figures.hpp"
#include "soak/engine.hpp"

namespace steadyglow::record {

/// A run longer than this is told, but its minutes beyond are left out: forty days.
inline constexpr std::size_t run_minutes_max = 40 * 24 * 60;

/// Good readings of one minute, added up; and why there were others.
struct MinuteSum {
  double min = 0.0;
  double max = 0.0;
  double sum = 0.0;
  std::uint32_t count = 0;
  std::uint8_t trouble = 0;  ///< 0: none; else a Quality, or trouble_contact
};
inline constexpr std::uint8_t trouble_contact = 255;  ///< good readings that the engine takes for a fallen clip

class Listener {
 public:
  Listener(const profile::Profile& profile, RunFigures& figures);
  void hear(const store::InputRow& input, std::span<const soak::Event> events, const soak::Engine& engine);
  void end(const soak::Engine& engine, Timestamp last);

  /// A baseline as the engine took it, with the stretch that it was taken over.
  struct Taken {
    Timestamp at{};
    Duration window{};
  };

  // Per point.
  const std::vector<std::vector<MinuteSum>>& minutes() const { return minutes_; }
  const std::vector<std::vector<analysis::SeriesMinute>>& series() const { return series_; }
  const std::vector<std::vector<Taken>>& baselines() const { return baselines_; }
  bool is_cut_short() const { return is_cut_short_; }

 private:
  struct Power {
    Timestamp at{};
    bool is_on = false;
  };
  void take(const Reading& reading, const soak::Engine& engine);
  void take_start(const Reading& reading);
  void begin_start(Timestamp at);
  void note_act(const store::InputRow& input, Duration counted);
  void note_counted(Timestamp at, Duration counted);
  void note_minute(const soak::Engine& engine);
  void note_stage(const soak::StageChange& change, Duration counted);
  void say(Happening happening);

  const profile::Profile* profile_;
  RunFigures* figures_;
  std::vector<std::vector<MinuteSum>> minutes_;
  std::vector<std::vector<analysis::SeriesMinute>> series_;
  std::vector<std::vector<Taken>> baselines_;
  std::vector<Power> powers_;
  std::vector<std::size_t> start_lines_;   ///< point index of each line of a start
  std::optional<StartTrace> start_;        ///< being recorded
  std::optional<Timestamp> off_since_;
  Duration counted_{};
  Duration counted_at_stage_{};
  std::size_t stage_ = 0;
  std::int64_t minute_ = 0;
  bool is_cut_short_ = false;
};

}  // namespace steadyglow::record
