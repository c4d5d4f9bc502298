#pragma once
/// The record that goes with a unit: what a run was, figured out of what was stored of it, and the pages that say so.
#include <cstdint>
#include <functional>
#include <memory>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "core/result.hpp"
#include "core/timestamp.hpp"
#include "profile/plan.hpp"
#include "profile/profile.hpp"
#include "soak/engine.hpp"
#include "store/rows.hpp"

namespace steadyglow::record {

/// The first input of a run: what the person decided for it.
inline constexpr std::string_view input_kind_policy = "policy";

/// Gives every stored input of a run, in the order in which they were fed.
using Inputs = std::function<Result<void>(const std::function<void(const store::InputRow&)>& visit)>;
/// One input, what the engine said to it, and the engine as it stands then.
using Heard = std::function<void(const store::InputRow& input, std::span<const soak::Event> events, const soak::Engine& engine)>;

struct Told {
  std::unique_ptr<soak::Engine> engine;
  Timestamp last_fed{};
  std::uint64_t inputs = 0;
  std::vector<std::string> unread;  ///< inputs that could not be read, a sentence each; they were not fed
};

/// Feeds a fresh engine what was stored of a run: the same inputs, so the same events and the same verdict.
/// Fails only as `inputs` does.
Result<Told> tell_run(const profile::Profile& profile, const profile::Plan& plan, const Inputs& inputs, const Heard& heard = {});

}  // namespace steadyglow::record
