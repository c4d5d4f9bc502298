#pragma once
/// A device that speaks in lines, as a Talk: its counter, its header line, and who it says it is.
#include <map>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "drivers/lines/line.hpp"
#include "drivers/lines/talk_bus.hpp"

namespace steadyglow::drivers::lines {

class LinesTalk final : public Talk {
 public:
  /// `identity`: what the device must call itself; empty: whoever speaks is taken.
  LinesTalk(Instrument instrument, std::string identity);

  void begin_anew() override;
  void lose_track() override { cutter_.lose_track(); }
  void expect_answer() override { cutter_.begin_line(); }
  void take(std::string_view bytes) override;
  bool has_word() const override { return heard_.last != Word::none; }
  Heard heard() override;
  std::size_t channel_count() const override { return instrument_.channels.size(); }

 private:
  void take_line(std::string_view line);
  void take_reading(Line line);
  bool is_bound_one(const Line& line);
  void damaged(std::string why);

  Instrument instrument_;
  std::string identity_;
  LineCutter cutter_;
  std::uint64_t too_long_told_ = 0;
  std::vector<std::string> columns_;
  std::optional<std::uint64_t> counter_;
  std::string other_id_;  ///< of the last line, when it was not the bound one's
  Heard heard_;
  std::string why_damaged_;
  std::string trouble_;
  std::uint64_t lost_ = 0;  ///< lines that the counter says were said and that were not heard
};


}  // namespace steadyglow::drivers::lines
