#include "app/bench_supply.hpp"

#include <fmt/format.h>
#include <spdlog/spdlog.h>

#include <cmath>
#include <nlohmann/json.hpp>

namespace steadyglow::app {
namespace {

using Json = nlohmann::ordered_json;

/// Mains within this of nominal are steady; common practice, as for counted hours.
constexpr double mains_band = 0.10;
/// Mains that were not read for this long (bench time) are not known to be steady.
constexpr Duration mains_fresh = std::chrono::minutes{2};
constexpr double mains_nominal_default = 230.0;
/// One poll that is not answered is no power cut, and no smoke.
constexpr int unread_polls_most = 2;
/// After a start of the daemon a device that does not answer is asked again after this long, real time.
constexpr std::chrono::milliseconds ask_again_after{500};

std::chrono::milliseconds real_ms(double seconds) { return std::chrono::milliseconds{std::llround(seconds * 1000.0)}; }

outlet::WatchdogTiming timing_of(const BenchSettings& settings) {
  outlet::WatchdogTiming timing;
  timing.every = real_ms(settings.watchdog_every);
  timing.drops_after = real_ms(settings.watchdog_drops_after);
  timing.stuck_after = timing.drops_after / 2;
  return timing;
}

}  // namespace

BenchSupply::BenchSupply(const BenchSettings& settings, double clock_rate, SupplyLinks links)
    : settings_(&settings), clock_rate_(clock_rate), links_(std::move(links)), stagger_(real_ms(settings.stagger_seconds / clock_rate)) {
  if (settings.watchdog) watchdog_.emplace(timing_of(settings));
}

// ---- readings --------------------------------------------------------------------------------------------------

void BenchSupply::take(const acquire::MeterBatch& batch) {
  const auto channel_of = [&](const std::optional<ChannelBinding>& binding) -> const drivers::ChannelValue* {
    if (!binding || binding->bus != batch.bus || binding->meter != batch.meter || binding->channel >= batch.reply.channels.size()) return nullptr;
    return &batch.reply.channels[binding->channel];
  };
  if (const auto* smoke = channel_of(settings_->smoke)) {
    const auto loop = sensor::convert(settings_->smoke->chain, smoke->value, smoke->quality);
    const bool is_read = loop.quality == Quality::good;
    smoke_unread_ = is_read ? 0 : smoke_unread_ + 1;
    if (is_read || smoke_unread_ > unread_polls_most) is_smoke_ = is_read ? std::optional(loop.value != 0.0) : std::nullopt;
    // When the mains are gone so is its module: nothing is told of it, and nothing is on that could burn.
    const bool is_dark = !is_smoke_ && mains_unread_ > unread_polls_most;
    if (!is_dark && (is_smoke_ != is_smoke_told_ || !is_smoke_)) {
      is_smoke_told_ = is_smoke_;
      links_.smoke_changed(is_smoke_);
    }
  }
  if (const auto* mains = channel_of(settings_->mains)) {
    const auto volts = sensor::convert(settings_->mains->chain, mains->value, mains->quality);
    mains_unread_ = volts.quality == Quality::good ? 0 : mains_unread_ + 1;
    if (mains_unread_ == 0) take_mains(volts.value, batch.taken_at);
    else mains_steady_since_.reset();                          // no view of them is no proof that they stand
  }
}

void BenchSupply::take_mains(double volts, Boottime at) {
  mains_volts_ = volts;
  mains_seen_at_ = at;
  const double nominal = settings_->mains_nominal_volts.value_or(mains_nominal_default);
  const bool is_inside = std::fabs(volts - nominal) <= mains_band * nominal;
  constexpr double gone_share = 0.5;
  if (volts < gone_share * nominal) lose_mains();
  if (!is_inside) mains_steady_since_.reset();
  else if (!mains_steady_since_) mains_steady_since_ = at;
}

/// A module that lost its supply comes back with its contacts open, or with what it had: the contactor is ordered open, so
/// that it is the first, and whoever may switch on again closes it. A meter that is silent is no power cut.
void BenchSupply::lose_mains() {
  mains_steady_since_.reset();
  if (has_contactor() && !has_fallen_ && is_contactor_closed()) fell("the mains of the bench were gone");
}

std::optional<Duration> BenchSupply::mains_steady_for(Boottime now) const {
  if (!mains_steady_since_ || !mains_seen_at_) return std::nullopt;
  const auto bench_ms = [&](Boottime real) { return Duration{std::llround(std::chrono::duration<double, std::milli>(real).count() * clock_rate_)}; };
  if (bench_ms(now - *mains_seen_at_) > mains_fresh) return std::nullopt;
  return bench_ms(*mains_seen_at_ - *mains_steady_since_);
}

bool BenchSupply::are_mains_steady(Boottime now) const {
  const auto steady = mains_steady_for(now);
  return steady && minutes_of(*steady) >= settings_->mains_steady_minutes;
}

// ---- contactor -------------------------------------------------------------------------------------------------

void BenchSupply::open(std::string reason, bool locks) {
  if (!has_contactor()) return;
  spdlog::warn("{}: contactor ordered open: {}", settings_->name, reason);
  contactor_.open(std::move(reason), locks);
  write_if_due();
}

Result<void> BenchSupply::close(const std::string& who, bool is_at_the_bench) {
  if (!has_contactor()) return fail(Fault::usage, settings_->name + " has no contactor");
  if (const std::string why = links_.holds_open(); !why.empty())
    return fail(Fault::permission, "the contactor stays open: " + why, "have that relay replaced by a qualified person, say so with `steadyglow repaired`, then close");
  if (auto closed = contactor_.close(who, is_at_the_bench); !closed) return closed;
  has_fallen_ = false;
  spdlog::info("{}: contactor closed by {}", settings_->name, who);
  write_if_due();
  return {};
}

void BenchSupply::mark_contactor_defective(const std::string& why) {
  if (contactor_.is_defective()) return;
  contactor_.mark_defective(why);
  links_.remember("contact", Json{{"output", settings_->name + ".contactor"}, {"is_defective", true}, {"is_unproven", true}, {"why", why}}.dump());
}

Result<void> BenchSupply::repaired(const std::string& who) {
  if (auto done = contactor_.repaired(who); !done) return done;
  links_.remember("contact", Json{{"output", settings_->name + ".contactor"}, {"is_defective", false}, {"is_unproven", true}, {"why", "repaired, says " + who}}.dump());
  return {};
}

void BenchSupply::contactor_proven() {
  if (!contactor_.is_unproven()) return;
  contactor_.proven();
  links_.remember("contact", Json{{"output", settings_->name + ".contactor"}, {"is_defective", false}, {"is_unproven", false}, {"why", "rehearsed"}}.dump());
}

void BenchSupply::restore(const ContactFact& fact) {
  if (!fact.is_defective && !fact.is_unproven) return;
  contactor_.mark_defective(fact.why);
  if (!fact.is_defective) (void)contactor_.repaired("journal");
}

void BenchSupply::restore_lock(const std::string& why) {
  if (!has_contactor()) return;
  contactor_.open(why, true);
  is_lock_remembered_ = true;
}

void BenchSupply::remember_lock() {
  if (!has_contactor() || contactor_.is_locked() == is_lock_remembered_) return;
  is_lock_remembered_ = contactor_.is_locked();
  links_.remember("interlock", Json{{"output", settings_->name + ".contactor"}, {"is_locked", is_lock_remembered_}, {"why", contactor_.reason()}}.dump());
}

void BenchSupply::fell(const std::string& why) {
  if (has_contactor() && contactor_.wanted() != outlet::Wanted::off) {
    has_fallen_ = true;
    open(why, false);
  }
  links_.supply_fell(why);
}

/// After a start of the program the contactor stands as it stood, and so it does when its device was silent for a while.
/// Nobody ordered it open, or the journal would say so: found open, it fell with its supply.
void BenchSupply::ask_contactor(outlet::Instant now) {
  if (!has_contactor() || is_asking_ || (asked_at_ && now - *asked_at_ < ask_again_after)) return;
  const bool is_unknown = contactor_.wanted() == outlet::Wanted::unknown;
  const bool is_held_closed = contactor_.wanted() == outlet::Wanted::on && contactor_.is_accepted();
  if (!(is_unknown && !found_closed_) && !(is_doubted_ && (is_unknown || is_held_closed))) return;
  is_asking_ = true;
  asked_at_ = now;
  links_.ask(*settings_->contactor, [this](Result<bool> is_closed) {
    is_asking_ = false;
    const bool is_ordered = contactor_.wanted() == outlet::Wanted::off || !contactor_.is_accepted();
    if (!is_closed || is_ordered) return;
    is_doubted_ = false;
    found_closed_ = *is_closed;
    if (!*is_closed) fell("the contactor was found open: it had lost its supply");
  });
}

bool BenchSupply::is_contactor_closed() const {
  if (contactor_.wanted() == outlet::Wanted::unknown) return found_closed_.value_or(false);
  return contactor_.wanted() == outlet::Wanted::on && contactor_.is_accepted();
}

void BenchSupply::write_if_due() {
  if (!has_contactor()) return;
  const auto write = contactor_.next_write(std::chrono::steady_clock::now());
  if (!write) return;
  links_.write(*settings_->contactor, *write, [this, on = *write](Result<void> result) {
    contactor_.answered(on, result.has_value());
    if (!result) spdlog::error("{}: the contactor did not take the order and is asked again: {}", settings_->name, result.error().text());
    write_if_due();
  });
}

// ---- time ------------------------------------------------------------------------------------------------------

void BenchSupply::feed_watchdog(outlet::Instant now) {
  if (!watchdog_ || !watchdog_->next_write(now)) return;
  links_.write(*settings_->watchdog, true, [this](Result<void> result) {
    watchdog_->answered(result.has_value(), std::chrono::steady_clock::now());
  });
}

void BenchSupply::tick(Boottime) {
  const auto now = std::chrono::steady_clock::now();
  if (watchdog_ && watchdog_->has_dropped(now) != is_drop_told_) {
    is_drop_told_ = !is_drop_told_;
    if (is_drop_told_) links_.watchdog_dropped();
  }
  ask_contactor(now);
  feed_watchdog(now);
  write_if_due();
  remember_lock();
  if (has_contactor() && !is_contactor_closed()) {
    // Nothing is switched on behind an open contactor. One that went with the mains is closed for the first whose turn it is.
    if (has_fallen_ && stagger_.is_asked() && contactor_.wanted() != outlet::Wanted::on && links_.holds_open().empty()) {
      if (auto closed = contactor_.close_by_policy(links_.policy_of_next(stagger_.first())); !closed) spdlog::error("{}: {}", settings_->name, closed.error().text());
      else has_fallen_ = false;
      write_if_due();
    }
    return;
  }
  if (const auto unit = stagger_.next(now)) links_.your_turn(*unit);
}

}  // namespace steadyglow::app
