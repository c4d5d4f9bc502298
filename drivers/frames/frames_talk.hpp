#pragma once
/// A device that sends frames, as a Talk: keeps in step with it and watches its dial, its battery and its hold key.
#include <cstdint>
#include <optional>
#include <string>

#include "drivers/frames/frame.hpp"
#include "drivers/lines/talk_bus.hpp"

namespace steadyglow::drivers::frames {

class FramesTalk final : public lines::Talk {
 public:
  /// `channel`: the position at which the dial is expected; it is the only channel of the meter.
  FramesTalk(Instrument instrument, std::size_t channel);

  void begin_anew() override;
  void lose_track() override;
  void expect_answer() override { lose_track(); }
  void take(std::string_view bytes) override;
  bool has_word() const override { return heard_.last != lines::Word::none; }
  lines::Heard heard() override;
  std::size_t channel_count() const override { return 1; }

 private:
  void take_frame(std::string_view frame);

  Instrument instrument_;
  std::size_t channel_;
  FrameCutter cutter_;
  std::uint64_t breaks_told_ = 0;
  std::optional<Signs> signs_;  ///< of the frame before
  lines::Heard heard_;
  std::string damaged_;
  std::string trouble_;  ///< of the newest frame
};

}  // namespace steadyglow::drivers::frames
