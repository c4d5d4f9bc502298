#include "record/tell_run.hpp"

#include <algorithm>
#include <utility>

#include "soak/act.hpp"
#include "soak/policy.hpp"

namespace steadyglow::record {

Result<Told> tell_run(const profile::Profile& profile, const profile::Plan& plan, const Inputs& inputs, const Heard& heard) {
  Told told;
  const auto begin = [&](soak::Policy policy) { told.engine = std::make_unique<soak::Engine>(profile, plan, std::move(policy)); };
  const auto hear = [&](const store::InputRow& input, std::span<const soak::Event> events) {
    if (heard) heard(input, events, *told.engine);
  };
  const auto feed = [&](const store::InputRow& input) {
    ++told.inputs;
    told.last_fed = std::max(told.last_fed, input.at);
    if (input.kind == input_kind_policy && !told.engine) {
      const auto policy = soak::policy_from_json(input.json);
      if (!policy) told.unread.push_back("its policy cannot be read: " + policy.error().text());
      begin(policy.value_or(soak::Policy{}));
      return hear(input, {});
    }
    if (!told.engine) begin({});
    if (!input.readings.empty()) return hear(input, told.engine->take(input.readings));
    const auto act = soak::act_from_json(input.kind, input.json);
    if (act) return hear(input, told.engine->act(input.at, *act));
    told.unread.push_back("an input cannot be read: " + act.error().text());
  };
  if (auto fed = inputs(feed); !fed) return tl::unexpected(fed.error());
  if (!told.engine) begin({});
  return told;
}

}  // namespace steadyglow::record
