#include "drivers/frames/frames_talk.hpp"

#include <utility>

namespace steadyglow::drivers::frames {
namespace {

void add(std::string& text, const std::string& more) { text += (text.empty() ? "" : "; ") + more; }

}  // namespace

FramesTalk::FramesTalk(Instrument instrument, std::size_t channel) : instrument_(std::move(instrument)), channel_(channel), cutter_(instrument_) {}

void FramesTalk::begin_anew() {
  lose_track();
  heard_ = {};
  damaged_.clear();
  trouble_.clear();
}

void FramesTalk::lose_track() {
  cutter_.lose_track();
  signs_.reset();
}

void FramesTalk::take(std::string_view bytes) {
  cutter_.take(bytes);
  while (const auto frame = cutter_.next()) take_frame(*frame);
  if (breaks_told_ == cutter_.breaks()) return;
  heard_.damaged += cutter_.breaks() - std::exchange(breaks_told_, cutter_.breaks());
  damaged_ = "bytes that belong to no frame";
}

void FramesTalk::take_frame(std::string_view frame) {
  Told told = read_frame(instrument_, channel_, frame);
  if (!told.damaged.empty()) {
    ++heard_.damaged;
    damaged_ = std::move(told.damaged);
    signs_.reset();
    return cutter_.doubt();
  }
  // One bit moves the point or the dial: unless a CRC guards them, only what two frames in a row show is believed.
  const bool is_guarded = instrument_.check && instrument_.check->kind == lines::Checksum::crc16_modbus;
  const bool is_confirmed = is_guarded || signs_ == told.signs;
  signs_ = told.signs;
  if (!is_confirmed) return;
  trouble_.clear();
  if (told.is_other_mode) {
    const std::string stands_at = told.signs.mode == 0 ? "" : " (`" + instrument_.channels[told.signs.mode - 1].name + "`)";
    add(trouble_, "its dial stands at another mode" + stands_at + " than `" + instrument_.channels[channel_].name + "`");
  }
  if (told.is_held) add(trouble_, "its figure is held");
  if (told.is_low_battery) add(trouble_, "its battery is low: it may read wrong");
  heard_.last = lines::Word::fresh;
  heard_.newest = {told.value};
}

lines::Heard FramesTalk::heard() {
  if (heard_.last != lines::Word::none && !trouble_.empty()) add(heard_.trouble, trouble_);
  if (heard_.damaged > 0) add(heard_.trouble, std::to_string(heard_.damaged) + (heard_.damaged == 1 ? " damaged frame: " : " damaged frames: ") + damaged_);
  return std::exchange(heard_, {});
}

}  // namespace steadyglow::drivers::frames
