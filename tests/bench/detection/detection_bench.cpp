/// How well trouble is seen, and only trouble: simulated nights, three watchers, one table.
///   detection_bench --seed N --healthy N --faulty N     a set of nights; the same seed gives the same set
///   --only UNIT or UNIT/FAULT                           nights of this kind only (words joined by - or blanks)
///   --night SEED                                        the one night of --only that a list names by this seed
///   --write DIR                                         the nights as files that `steadyglow replay` reads
///   --verbose                                           by unit, by fault, and every night with all that was said
///   --check                                             fails unless the short form's floor is kept
#include <fmt/format.h>

#include <CLI/CLI.hpp>
#include <atomic>
#include <map>
#include <optional>
#include <thread>

#include "bench/detection/score.hpp"
#include "bench/detection/write_night.hpp"

namespace steadyglow::detection {
namespace {

constexpr double meter_fault_share = 0.2;
/// The floor of --check.
constexpr std::size_t check_false_incidents_max = 2;
constexpr double check_found_min = 0.75;

struct Wish {
  std::uint64_t seed = 1;
  int healthy = 40;
  int faulty = 120;
  std::string only;
  std::optional<std::uint64_t> night;
  std::string write;
  bool is_verbose = false;
  bool is_check = false;
  bool has_turns = false;
  unsigned threads = std::max(1U, std::min(4U, std::thread::hardware_concurrency()));
};

std::string joined(std::string words) {
  std::replace(words.begin(), words.end(), ' ', '-');
  return words;
}

std::vector<std::string> wanted_units(const Wish& wish) {
  const std::string unit = wish.only.substr(0, wish.only.find('/'));
  std::vector<std::string> units;
  for (const auto& [name, factory] : unit_kinds())
    if (unit.empty() || name == unit) units.push_back(name);
  if (units.empty()) throw std::runtime_error("there is no unit " + unit);
  return units;
}

/// Units in turn, faults that came least so far first: forty kinds want to be seen evenly.
std::vector<Order> orders_of(const Wish& wish) {
  Dice dice(wish.seed);
  const auto units = wanted_units(wish);
  const std::size_t slash = wish.only.find('/');
  const std::string only_fault = slash == std::string::npos ? "" : joined(wish.only.substr(slash + 1));
  std::vector<Order> orders;
  if (wish.night) {
    Order order{units.front(), "", *wish.night};
    for (const std::string& name : faults_of(order.unit, order.seed))
      if (joined(name) == only_fault) order.fault = name;
    if (order.fault.empty() && !only_fault.empty()) throw std::runtime_error("this " + order.unit + " knows no fault " + only_fault);
    return {order};
  }
  std::vector<std::string> turn;
  const auto next_unit = [&] {
    if (turn.empty()) {
      turn = units;
      dice.shuffle(turn);
    }
    const std::string unit = turn.back();
    turn.pop_back();
    return unit;
  };
  const auto next_seed = [&] { return wish.seed * 100000 + static_cast<std::uint64_t>(orders.size()); };
  for (int i = 0; i < wish.healthy; ++i) orders.push_back({next_unit(), "", next_seed()});
  std::map<std::string, int> times;
  turn.clear();
  for (int i = 0, tries = 0; i < wish.faulty && tries < 100 * wish.faulty; ++tries) {
    const std::string unit = next_unit();
    const std::uint64_t seed = next_seed() + static_cast<std::uint64_t>(only_fault.empty() ? 0 : 1000 * tries);
    auto names = faults_of(unit, seed);
    const bool wants_meter = dice.chance(meter_fault_share);
    std::sort(names.begin(), names.end());
    names.erase(std::unique(names.begin(), names.end()), names.end());
    std::erase_if(names, [&](const std::string& name) { return only_fault.empty() ? name.starts_with("meter: ") != wants_meter : joined(name) != only_fault; });
    if (names.empty()) continue;
    dice.shuffle(names);
    const auto least = std::min_element(names.begin(), names.end(), [&](const auto& a, const auto& b) { return times[a] < times[b]; });
    ++times[*least];
    orders.push_back({unit, *least, seed});
    ++i;
  }
  return orders;
}

Outcome run(const Order& order) {
  Night night(order);
  Outcome outcome;
  for (const profile::Point& point : night.profile().points) outcome.point_names.push_back(point.name);
  std::array<std::unique_ptr<Judge>, judge_count> judges{engine_judge(night.profile()), limits_judge(night.profile(), night.warm_up_seconds()), cusum_judge(night.profile(), night.warm_up_seconds())};
  Timestamp at{};
  std::vector<Reading> readings;
  while (night.next(at, readings))
    for (auto& judge : judges) judge->take(at, readings);
  outcome.truth = night.truth();
  for (std::size_t i = 0; i < judge_count; ++i) outcome.cries[i] = std::move(judges[i]->cries);
  return outcome;
}

/// Work in parallel, results in order: the table does not depend on who was faster.
std::vector<Outcome> run_all(const std::vector<Order>& orders, const Wish& wish) {
  std::vector<Outcome> outcomes(orders.size());
  std::vector<std::string> troubles(orders.size());
  std::atomic<std::size_t> next{0};
  const auto work = [&] {
    for (std::size_t i = next++; i < orders.size(); i = next++) {
      try {
        if (!wish.write.empty()) write_night(orders[i], wish.write);
        outcomes[i] = run(orders[i]);
      } catch (const std::exception& trouble) {
        troubles[i] = trouble.what();
      }
    }
  };
  std::vector<std::thread> threads;
  for (unsigned i = 0; i < wish.threads; ++i) threads.emplace_back(work);
  for (std::thread& thread : threads) thread.join();
  for (std::size_t i = 0; i < troubles.size(); ++i)
    if (!troubles[i].empty()) throw std::runtime_error(orders[i].unit + " / " + orders[i].fault + " seed " + std::to_string(orders[i].seed) + ": " + troubles[i]);
  return outcomes;
}

int check(const std::vector<Outcome>& outcomes) {
  const Tally ours = tally_of(outcomes, 0);
  const std::size_t faults = ours.large + ours.small + ours.meter;
  bool is_good = true;
  const auto demand = [&](bool holds, const std::string& text) {
    if (!holds) fmt::print("FAILED: {}\n", text);
    is_good &= holds;
  };
  demand(ours.trips_on_healthy == 0, "a unit was cut without a fault");
  demand(ours.false_incidents <= check_false_incidents_max, fmt::format("{} false incidents, at most {} allowed", ours.false_incidents, check_false_incidents_max));
  demand(faults > 0, "there was no fault to find");
  demand(static_cast<double>(ours.found) >= check_found_min * static_cast<double>(faults), fmt::format("{} of {} faults found", ours.found, faults));
  return is_good ? 0 : 1;
}

int main_with(const Wish& wish) {
  auto orders = orders_of(wish);
  for (Order& order : orders) order.has_turns = wish.has_turns;
  const auto outcomes = run_all(orders, wish);
  print_table(outcomes);
  print_lists(outcomes, wish.is_verbose);
  return wish.is_check ? check(outcomes) : 0;
}

}  // namespace
}  // namespace steadyglow::detection

int main(int argc, char** argv) {
  steadyglow::detection::Wish wish;
  CLI::App app{"Detection benchmark: simulated soak nights, three watchers, one score table"};
  app.add_option("--seed", wish.seed, "of the set of nights");
  app.add_option("--healthy", wish.healthy, "number of healthy nights")->check(CLI::Range(0, 10000));
  app.add_option("--faulty", wish.faulty, "number of faulty nights")->check(CLI::Range(0, 10000));
  app.add_option("--only", wish.only, "UNIT or UNIT/FAULT");
  app.add_option("--night", wish.night, "the one night of --only with this seed");
  app.add_option("--write", wish.write, "folder for CSV, profile and truth of each night");
  app.add_option("--threads", wish.threads, "at work at a time")->check(CLI::Range(1, 64));
  app.add_flag("--verbose", wish.is_verbose, "by unit, by fault, and all that was said");
  app.add_flag("--turns", wish.has_turns, "each point is read at its own moment, as meters on a bus are");
  app.add_flag("--check", wish.is_check, "fail below the floor");
  CLI11_PARSE(app, argc, argv);
  try {
    return steadyglow::detection::main_with(wish);
  } catch (const std::exception& trouble) {
    fmt::print(stderr, "detection_bench: {}\n", trouble.what());
    return 2;
  }
}
