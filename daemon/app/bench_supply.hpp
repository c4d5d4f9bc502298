#pragma once
/// What feeds one bench: the contactor that breaks all of its units, the hardware watchdog that opens them when this
/// program hangs, the mains before the outlets, the smoke contact, and the order in which units come on.
#include <functional>
#include <optional>
#include <string>
#include <vector>

#include "acquire/bus_thread.hpp"
#include "app/bench_clock.hpp"
#include "app/facts.hpp"
#include "app/settings.hpp"
#include "core/timestamp.hpp"
#include "outlet/keeper.hpp"
#include "outlet/stagger.hpp"
#include "outlet/watchdog.hpp"

namespace steadyglow::app {

/// Called on the loop.
struct SupplyLinks {
  std::function<void(const OutletBinding&, bool on, std::function<void(Result<void>)> done)> write;
  /// How a contact stands, as its device says.
  std::function<void(const OutletBinding&, std::function<void(Result<bool>)> done)> ask;
  /// Why nobody may close the contactor now: a relay behind it that does not open. Empty when nothing is against it.
  std::function<std::string()> holds_open;
  /// For the journal: the contactor was marked defective, or repaired.
  std::function<void(const std::string& kind, const std::string& json)> remember;
  /// Who set the policy under which this unit waits for its turn.
  std::function<std::string(const std::string& unit)> policy_of_next;
  /// A unit's turn to be switched on has come.
  std::function<void(const std::string& unit)> your_turn;
  /// The units of this bench have lost their supply, and why.
  std::function<void(const std::string& why)> supply_fell;
  /// The watchdog was not fed for so long that the device has opened every contact by itself.
  std::function<void()> watchdog_dropped;
  /// The smoke contact opened or closed, or cannot be read (nothing).
  std::function<void(std::optional<bool> is_smoke)> smoke_changed;
};

/// Thread: loop only. Bench time is boottime times the clock's rate: what the demo accelerates.
class BenchSupply {
 public:
  BenchSupply(const BenchSettings& settings, double clock_rate, SupplyLinks links);

  void take(const acquire::MeterBatch& batch);
  void tick(Boottime now);

  /// Opens the contactor: always allowed.
  void open(std::string reason, bool locks);
  Result<void> close(const std::string& who, bool is_at_the_bench);
  Result<void> repaired(const std::string& who);
  void mark_contactor_defective(const std::string& why);
  void restore(const ContactFact& contactor);
  /// The journal says that only a person at the bench may close it; it is ordered open once more.
  void restore_lock(const std::string& why);
  /// A rehearsal has proven the contactor.
  void contactor_proven();
  outlet::Stagger& stagger() { return stagger_; }
  outlet::Watchdog* watchdog() { return watchdog_ ? &*watchdog_ : nullptr; }
  const outlet::Watchdog* watchdog() const { return watchdog_ ? &*watchdog_ : nullptr; }
  const outlet::Keeper& contactor() const { return contactor_; }
  bool has_contactor() const { return settings_->contactor.has_value(); }
  bool is_contactor_closed() const;
  /// Closed, or ordered to close a moment ago.
  bool is_contactor_wanted_closed() const { return is_contactor_closed() || contactor_.wanted() == outlet::Wanted::on; }
  /// The watchdog has opened it, or its supply went: the units are told, and a policy may close it again.
  void fell(const std::string& why);
  /// Its device was silent and answers again: it is asked how the contactor stands.
  void doubt_contactor() { is_doubted_ = true; }
  std::optional<bool> is_smoke() const { return is_smoke_; }
  /// For how long the mains have stood within 10 % of nominal; nothing while they do not, or are not measured here.
  std::optional<Duration> mains_steady_for(Boottime now) const;
  bool are_mains_steady(Boottime now) const;
  std::optional<double> mains_volts() const { return mains_volts_; }
  const BenchSettings& settings() const { return *settings_; }

 private:
  void take_mains(double volts, Boottime at);
  void lose_mains();
  void ask_contactor(outlet::Instant now);
  void remember_lock();
  void write_if_due();
  void feed_watchdog(outlet::Instant now);

  const BenchSettings* settings_;
  double clock_rate_;
  SupplyLinks links_;
  outlet::Keeper contactor_;
  std::optional<bool> found_closed_;  ///< after a start of the daemon
  std::optional<outlet::Instant> asked_at_;
  bool is_asking_ = false;
  bool is_doubted_ = false;
  bool is_lock_remembered_ = false;
  std::optional<outlet::Watchdog> watchdog_;
  bool is_drop_told_ = false;
  outlet::Stagger stagger_;
  std::optional<bool> is_smoke_;
  std::optional<bool> is_smoke_told_;
  bool has_fallen_ = false;           ///< the contactor opened with the mains or by the watchdog, and a policy may close it again
  int mains_unread_ = 0;              ///< polls in succession
  int smoke_unread_ = 0;
  std::optional<double> mains_volts_;
  std::optional<Boottime> mains_steady_since_;
  std::optional<Boottime> mains_seen_at_;
};

}  // namespace steadyglow::app
