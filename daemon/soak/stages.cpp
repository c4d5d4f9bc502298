#include "soak/stages.hpp"

#include <algorithm>

#include "soak/event.hpp"

namespace steadyglow::soak {
namespace {
using profile::StageKind;
constexpr Duration baseline_default = std::chrono::minutes{30};
}  // namespace

std::string_view to_word(VerdictWord word) {
  switch (word) {
    case VerdictWord::pass: return "pass";
    case VerdictWord::pass_with_remarks: return "pass_with_remarks";
    case VerdictWord::incomplete: return "incomplete";
    case VerdictWord::fail: break;
  }
  return "fail";
}

Stages::Stages(profile::Plan plan) : plan_(std::move(plan)) {
  for (const profile::Stage& stage : plan_.stages) {
    if (stage.kind == StageKind::warm_up || stage.kind == StageKind::bring_up) warm_up_ += stage.planned;
    if (stage.kind == StageKind::baseline) baseline_ += stage.planned;
  }
  if (baseline_ == Duration{}) baseline_ = baseline_default;
}

void Stages::pass(Duration passed) {
  in_stage_ += passed;
  in_phase_ += passed;
}

void Stages::count(Duration passed) {
  counted_ += passed;
  counted_in_stage_ += passed;
}

void Stages::uncount(Duration unseen) {
  // Stages that are over stay over.
  const Duration back = std::min(unseen, counted_in_stage_);
  counted_ -= back;
  counted_in_stage_ -= back;
}

bool Stages::is_stage_over() const {
  const profile::Stage* stage = current();
  if (stage == nullptr) return false;
  return (stage->is_counted ? counted_in_stage_ : in_stage_) >= stage->planned;
}

void Stages::next_stage() {
  ++index_;
  in_stage_ = {};
  counted_in_stage_ = {};
}

void Stages::enter(Phase phase) {
  phase_ = phase;
  in_phase_ = {};
}

void Stages::restart() {
  index_ = 0;
  in_stage_ = {};
  counted_ = {};
  counted_in_stage_ = {};
}

void Stages::begin_segment(std::optional<Duration> warm_up, std::optional<Duration> baseline) {
  ++segment_;
  needed_warm_up_ = warm_up;
  needed_baseline_ = baseline;
  enter(Phase::warming);
}

}  // namespace steadyglow::soak
