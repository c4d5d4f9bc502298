#include "app/settings.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <filesystem>
#include <map>
#include <set>
#include <tuple>

#include "app/point_chain.hpp"
#include "app/text_file.hpp"
#include "core/decimal.hpp"
#include "document/table.hpp"
#include "profile/profile_toml.hpp"
#include "sensor/chain_toml.hpp"

namespace steadyglow::app {
namespace {

using document::Table;

constexpr double clock_rate_max = 5000.0;
constexpr std::size_t password_hash_bytes_max = 1024;

/// Reads the parts of a configuration; files named more than once are read, and complained of, once.
class Loader {
 public:
  Loader(std::string file, Errors& errors, bool wants_units) : file_(std::move(file)), errors_(errors), wants_units_(wants_units) {}

  std::optional<Settings> load() {
    const auto text = read_text_file(file_);
    if (!text) {
      errors_.push_back(text.error());
      return std::nullopt;
    }
    const document::Node root = document::parse(*text, file_, errors_);
    if (!errors_.empty()) return std::nullopt;
    Table top(root, file_, errors_);
    read_daemon(top);
    if (auto demo = top.maybe_table("demo")) {
      is_demo_ = true;
      settings_.clock_rate = demo->maybe_number("clock_rate", {1.0, clock_rate_max}).value_or(1.0);
      demo->done();
    }
    read_buses(top);
    if (auto notify = top.maybe_table("notify")) settings_.notify = notify::read_notify(*notify, beside(file_, "."));
    read_benches(top);
    read_units(top);
    top.done();
    if (!errors_.empty()) return std::nullopt;
    return std::move(settings_);
  }

 private:
  void read_daemon(Table& top) {
    auto table = top.maybe_table("daemon");
    if (!table) {
      if (!top.has("daemon")) top.mistake("", "there is no [daemon] table", "begin with [daemon], store = \"steadyglow.db\" and listen = \"127.0.0.1:8460\"");
      return;
    }
    settings_.store_file = beside(file_, table->text("store"));
    read_listen(*table);
    settings_.allowed_hosts = table->texts("allowed_hosts");
    if (const auto secret = table->maybe_text("password_file")) {
      const auto hash = read_text_file(beside(file_, *secret), password_hash_bytes_max);
      if (!hash) table->mistake("password_file", hash.error().message, "make it with: steadyglow password FILE");
      else settings_.password_hash = hash->substr(0, hash->find_first_of("\r\n"));
    }
    profile_folder_ = table->maybe_text("profile_folder").value_or("profiles");
    plan_folder_ = table->maybe_text("plan_folder").value_or("plans");
    instrument_folder_ = table->maybe_text("instrument_folder").value_or("instruments");
    table->done();
  }

  void read_listen(Table& table) {
    const std::string listen = table.text("listen");
    if (listen.empty()) return;
    const std::size_t colon = listen.rfind(':');
    const auto port = colon == std::string::npos ? std::nullopt : parse_decimal(listen.substr(colon + 1));
    if (!port || *port < 0.0 || *port > 65535.0 || *port != static_cast<int>(*port))
      return table.mistake("listen", fmt::format("`{}` is no address with a port", listen), "write 127.0.0.1:8460");
    settings_.listen_host = listen.substr(0, colon);
    if (settings_.listen_host.starts_with('[') && settings_.listen_host.ends_with(']'))
      settings_.listen_host = settings_.listen_host.substr(1, settings_.listen_host.size() - 2);
    settings_.listen_port = static_cast<std::uint16_t>(*port);
    const std::string& host = settings_.listen_host;
    const bool is_loopback = host == "localhost" || host == "::1" || host.starts_with("127.");
    if (!is_loopback && !table.has("password_file"))
      table.mistake("listen", fmt::format("`{}` can be reached by others, and no password is set", listen),
                    "set password_file first (steadyglow password FILE), or listen on 127.0.0.1");
  }

  /// The file of a folder that was probably meant; `key` names the folder in [daemon].
  std::string hint_for(const std::string& name, std::string_view key, const std::string& folder) const {
    std::vector<std::string> names;
    std::error_code trouble;
    for (const auto& entry : std::filesystem::directory_iterator(beside(file_, folder), trouble))
      if (entry.path().extension() == ".toml") names.push_back(entry.path().stem().string());
    if (trouble) return fmt::format("there is no folder {}; {} in [daemon] names it", beside(file_, folder), key);
    std::sort(names.begin(), names.end());
    const std::string near = document::nearest(name, {names.begin(), names.end()});
    return near.empty() ? fmt::format("check the name and {}", key) : fmt::format("did you mean \"{}\"?", near);
  }

  void read_buses(Table& top) {
    const auto find = [this](const std::string& name) -> Result<drivers::InstrumentText> {
      const std::string file = beside(file_, instrument_folder_ + "/" + name + ".toml");
      auto text = read_text_file(file);
      if (!text) return fail(Fault::config, fmt::format("instrument `{}` cannot be read from {}", name, file), hint_for(name, "instrument_folder", instrument_folder_));
      return drivers::InstrumentText{file, std::move(*text)};
    };
    auto tables = top.tables("bus");
    if (tables.size() > buses_max) top.mistake("bus", fmt::format("{} buses are more than {}", tables.size(), buses_max));
    std::set<std::string> names;
    std::map<std::string, std::string> meters;
    for (Table& table : tables) {
      auto bus = drivers::read_bus(table, find, errors_);
      if (!bus) {
        has_bad_bus_ = true;
        continue;
      }
      if (!names.insert(bus->name).second) table.mistake("name", fmt::format("bus `{}` stands here twice", bus->name));
      check_end(table, *bus);
      for (const auto& meter : bus->meters) {
        const auto [other, is_new] = meters.emplace(meter.name, bus->name);
        if (!is_new && other->second != bus->name)
          table.mistake("meter", fmt::format("meter `{}` is also on bus `{}`", meter.name, other->second), "meter names are unique over all buses");
        if (meter.at.empty()) continue;
        const auto [known, is_first] = devices_.emplace(bus->where + " " + meter.at, fmt::format("`{}` on bus `{}`", meter.name, bus->name));
        if (!is_first)
          table.mistake("meter", fmt::format("{} at {} is already {}", meter.at, bus->where, known->second), "one device is one meter: give its points to that one");
      }
      settings_.buses.push_back(std::move(*bus));
    }
  }

  /// Two buses that end at one place would talk over each other on a serial line. A TCP device may serve several; a broker serves everybody.
  void check_end(Table& table, const drivers::BusSpec& bus) {
    const bool is_device = bus.where.starts_with("/dev/");
    std::error_code unheard;
    const auto real = is_device ? std::filesystem::weakly_canonical(bus.where, unheard) : std::filesystem::path();
    const std::string end = is_device && !unheard ? real.string() : bus.where;
    if (end.empty() || (!is_device && !bus.driver.ends_with("_tcp"))) return;
    const auto [other, is_new] = ends_.emplace(end, bus.name);
    if (is_new) return;
    if (is_device)
      table.mistake("device", fmt::format("bus `{}` has this device already", other->second), "two buses on one line talk over each other: put all its meters on one [[bus]]");
    else
      settings_.notes.push_back(fmt::format("buses `{}` and `{}` both end at {}: some devices serve one connection only, and one bus polls all its meters in turn", other->second, bus.name, bus.where));
  }

  void read_benches(Table& top) {
    auto tables = top.tables("bench");
    if (tables.size() > benches_max) top.mistake("bench", fmt::format("{} benches are more than {}", tables.size(), benches_max));
    constexpr document::Range any_seconds{0.1, 3600.0};
    std::set<std::string> names;
    for (Table& table : tables) {
      BenchSettings bench;
      bench.name = table.text("name");
      if (!names.insert(bench.name).second) table.mistake("name", fmt::format("bench `{}` stands here twice", bench.name));
      bench.breaker_amperes = table.maybe_number("breaker_amperes", {0.1, 200.0});
      bench.breaker_share = table.maybe_number("breaker_share", {0.1, 1.0}).value_or(breaker_share_default);
      bench.mains_nominal_volts = table.maybe_number("mains_nominal_volts", {50.0, 500.0});
      bench.mains_steady_minutes = table.maybe_number("mains_steady_minutes", {0.1, 1440.0}).value_or(mains_steady_minutes_default);
      bench.stagger_seconds = table.maybe_number("stagger_seconds", any_seconds).value_or(stagger_seconds_default);
      bench.person_on_call = table.maybe_text("person_on_call").value_or("");
      if (auto contactor = table.maybe_table("contactor")) {
        bench.contactor = read_output(*contactor);
        contactor->done();
      }
      if (auto watchdog = table.maybe_table("watchdog")) {
        bench.watchdog = read_output(*watchdog);
        bench.watchdog_every = watchdog->maybe_number("every_seconds", any_seconds).value_or(bench.watchdog_every);
        bench.watchdog_drops_after = watchdog->maybe_number("drops_after_seconds", any_seconds).value_or(bench.watchdog_drops_after);
        if (bench.watchdog_drops_after < 2.0 * bench.watchdog_every)
          watchdog->mistake("drops_after_seconds", "the device would drop after a single late write", "let it wait for at least twice every_seconds");
        watchdog->done();
      }
      for (const auto& [key, output] : {std::pair("contactor", bench.contactor), std::pair("watchdog", bench.watchdog)})
        if (output && !used_outputs_.emplace(output->bus, output->meter, output->output).second)
          table.mistake(key, "this output is used twice", "contactor, watchdog and every outlet need an output of their own");
      bench.smoke = read_bench_channel(table, "smoke", Quantity::state);
      bench.mains = read_bench_channel(table, "mains", Quantity::voltage);
      table.done();
      settings_.benches.push_back(std::move(bench));
    }
  }

  std::optional<ChannelBinding> read_bench_channel(Table& bench, std::string_view key, Quantity wanted) {
    auto table = bench.maybe_table(key);
    if (!table) return std::nullopt;
    const std::string channel = table->text("channel");
    sensor::Chain chain = sensor::read_chain(*table);
    table->done();
    const auto place = channel.empty() ? std::nullopt : find_channel(*table, "channel", channel);
    if (!place) return std::nullopt;
    const auto& info = settings_.buses[place->bus].meters[place->meter].channels[place->channel];
    const auto from = find_uom(info.quantity, info.uom);
    const auto to = find_uom(wanted, wanted == Quantity::voltage ? "V" : "1");
    if (!from || !to || !sensor::fit_chain(*table, chain, {*from, *to, channel, key})) return std::nullopt;
    ChannelBinding binding = *place;
    binding.chain = chain;
    return binding;
  }

  void read_units(Table& top) {
    auto tables = top.tables("unit");
    if (tables.empty() && wants_units_) top.mistake("unit", "there is no [[unit]]", "name at least one unit under test");
    if (tables.size() > units_max) top.mistake("unit", fmt::format("{} units are more than {}", tables.size(), units_max));
    std::set<std::string> names;
    for (Table& table : tables) {
      UnitSettings unit;
      unit.name = table.text("name");
      const bool is_name = !unit.name.empty() && std::all_of(unit.name.begin(), unit.name.end(), [](unsigned char c) { return std::islower(c) || std::isdigit(c) || c == '-' || c == '_'; });
      if (!unit.name.empty() && !is_name) table.mistake("name", fmt::format("`{}` is not a unit name", unit.name), "use a-z, 0-9, - and _ only; the plated name goes into title");
      if (!names.insert(unit.name).second) table.mistake("name", fmt::format("unit `{}` stands here twice", unit.name));
      unit.title = table.maybe_text("title").value_or(unit.name);
      unit.serial = table.maybe_text("serial").value_or("");
      unit.bench = table.maybe_text("bench").value_or("");
      find_bench(table, unit);
      const std::string start = table.maybe_word("start", {"by_person", "at_once"}).value_or("by_person");
      unit.starts_at_once = start == "at_once";
      if (unit.starts_at_once && !is_demo_) table.mistake("start", "a unit never starts by itself", "at_once is for the demo; start it with: steadyglow start " + unit.name);
      const bool has_profile = read_profile(table, unit);
      read_plan(table, unit);
      auto outlet = table.maybe_table("outlet");
      auto points = table.tables("point");
      if (outlet) read_outlet(*outlet, unit);
      if (has_profile) read_points(table, points, unit);
      unit.wiring = wiring_of(unit);
      table.done();
      settings_.units.push_back(std::move(unit));
    }
    check_outlets(tables);
  }

  record::Wiring wiring_of(const UnitSettings& unit) const {
    record::Wiring wiring;
    wiring.clock_rate = settings_.clock_rate;
    for (const PointBinding& binding : unit.points) {
      const auto& bus = settings_.buses[binding.bus];
      const auto& info = bus.meters[binding.meter];
      const auto& papers = info.papers;
      const auto known = std::find_if(wiring.meters.begin(), wiring.meters.end(), [&](const record::Meter& meter) { return meter.name == info.name; });
      const auto index = static_cast<std::size_t>(known - wiring.meters.begin());
      if (known == wiring.meters.end())
        wiring.meters.push_back({info.name, info.instrument, fmt::format("{} ({})", bus.name, bus.where), papers.serial, papers.identification, papers.calibrated, papers.calibration_due});
      wiring.wires.push_back(wire_of(settings_, unit, binding, index));
    }
    return wiring;
  }

  bool read_profile(Table& table, UnitSettings& unit) {
    unit.profile_name = table.text("profile");
    if (unit.profile_name.empty()) return false;
    const std::string file = beside(file_, profile_folder_ + "/" + unit.profile_name + ".toml");
    const auto text = read_text_file(file);
    if (!text) {
      table.mistake("profile", fmt::format("profile `{}` cannot be read from {}", unit.profile_name, file), hint_for(unit.profile_name, "profile_folder", profile_folder_));
      return false;
    }
    Errors found;
    auto profile = profile::parse_profile(*text, file, found);
    if (complained_.insert(file).second) errors_.insert(errors_.end(), found.begin(), found.end());
    if (!profile) return false;
    unit.profile_text = *text;
    unit.profile = std::move(*profile);
    return true;
  }

  void read_plan(Table& table, UnitSettings& unit) {
    unit.plan_name = table.text("plan");
    if (unit.plan_name.empty()) return;
    const std::string file = beside(file_, plan_folder_ + "/" + unit.plan_name + ".toml");
    const auto text = read_text_file(file);
    if (!text) return table.mistake("plan", fmt::format("plan `{}` cannot be read from {}", unit.plan_name, file), hint_for(unit.plan_name, "plan_folder", plan_folder_));
    Errors found;
    auto plan = profile::parse_plan(*text, file, found);
    if (complained_.insert(file).second) errors_.insert(errors_.end(), found.begin(), found.end());
    if (!plan) return;
    unit.plan_text = *text;
    unit.plan = std::move(*plan);
  }

  struct MeterPlace {
    std::size_t bus;
    std::size_t meter;
  };
  std::optional<MeterPlace> find_meter(Table& table, std::string_view key, const std::string& name) {
    std::vector<std::string_view> known;
    for (std::size_t b = 0; b < settings_.buses.size(); ++b) {
      const auto& meters = settings_.buses[b].meters;
      for (std::size_t m = 0; m < meters.size(); ++m) {
        if (meters[m].name == name) return MeterPlace{b, m};
        known.push_back(meters[m].name);
      }
    }
    // A bus that could not be read took its meters with it: one mistake is enough.
    if (has_bad_bus_) return std::nullopt;
    const std::string near = document::nearest(name, known);
    table.mistake(key, fmt::format("there is no meter `{}`", name), near.empty() ? fmt::format("known: {}", fmt::join(known, ", ")) : fmt::format("did you mean `{}`?", near));
    return std::nullopt;
  }

  void find_bench(Table& table, UnitSettings& unit) {
    if (settings_.benches.empty()) return;
    std::vector<std::string_view> known;
    for (std::size_t i = 0; i < settings_.benches.size(); ++i) {
      known.push_back(settings_.benches[i].name);
      if (settings_.benches[i].name == unit.bench) unit.bench_index = i;
    }
    if (!unit.bench_index) table.mistake("bench", fmt::format("there is no bench `{}`", unit.bench), fmt::format("known: {}", fmt::join(known, ", ")));
  }

  void read_outlet(Table& table, UnitSettings& unit) {
    unit.outlet = read_output(table);
    table.done();
  }

  std::optional<OutletBinding> read_output(Table& table) {
    const std::string meter = table.text("meter");
    const std::string output = table.text("output");
    if (meter.empty() || output.empty()) return std::nullopt;
    const auto place = find_meter(table, "meter", meter);
    if (!place) return std::nullopt;
    const auto& outputs = settings_.buses[place->bus].meters[place->meter].outputs;
    const auto found = std::find(outputs.begin(), outputs.end(), output);
    if (found == outputs.end()) {
      table.mistake("output", fmt::format("`{}` has no output `{}`", meter, output), fmt::format("it has: {}", fmt::join(outputs, ", ")));
      return std::nullopt;
    }
    return OutletBinding{place->bus, place->meter, static_cast<std::size_t>(found - outputs.begin())};
  }

  void read_points(Table& unit_table, std::vector<Table>& tables, UnitSettings& unit) {
    std::vector<std::string_view> names;
    for (const auto& point : unit.profile.points) names.push_back(point.name);
    std::set<std::string> seen;
    for (Table& table : tables) {
      const std::string name = table.text("name");
      const std::string channel = table.text("channel");
      const std::size_t errors_before = errors_.size();
      sensor::Chain chain = sensor::read_chain(table);
      const bool is_shared = table.maybe_flag("shared").value_or(false);
      table.done();
      const bool is_chain_good = errors_.size() == errors_before;
      const auto point = unit.profile.find(name);
      if (!point && !name.empty()) {
        const std::string near = document::nearest(name, names);
        table.mistake("name", fmt::format("profile `{}` has no point `{}`", unit.profile_name, name), near.empty() ? "" : fmt::format("did you mean `{}`?", near));
      }
      if (!seen.insert(name).second) table.mistake("name", fmt::format("point `{}` stands here twice", name));
      if (point && !channel.empty()) bind(table, unit, *point, channel, {std::move(chain), is_chain_good, is_shared});
    }
    for (const auto& point : unit.profile.points)
      if (!seen.contains(point.name)) unit_table.mistake("", fmt::format("point `{}` of the profile is not connected", point.name), "add a [[unit.point]] with its channel");
  }

  /// "meter.channel", as it stands at `key`; the chain is left to the caller.
  std::optional<ChannelBinding> find_channel(Table& table, std::string_view key, const std::string& channel) {
    const std::size_t dot = channel.find('.');
    if (dot == std::string::npos) {
      table.mistake(key, fmt::format("`{}` names no channel", channel), "write meter.channel");
      return std::nullopt;
    }
    const std::string meter_name = channel.substr(0, dot);
    const std::string channel_name = channel.substr(dot + 1);
    const auto place = find_meter(table, key, meter_name);
    if (!place) return std::nullopt;
    const auto& channels = settings_.buses[place->bus].meters[place->meter].channels;
    const auto found = std::find_if(channels.begin(), channels.end(), [&](const auto& c) { return c.name == channel_name; });
    if (found == channels.end()) {
      std::vector<std::string_view> known;
      for (const auto& c : channels) known.push_back(c.name);
      const std::string near = document::nearest(channel_name, known);
      table.mistake(key, fmt::format("`{}` has no channel `{}`", meter_name, channel_name),
                    near.empty() ? fmt::format("it has: {}", fmt::join(known, ", ")) : fmt::format("did you mean `{}`?", near));
      return std::nullopt;
    }
    return ChannelBinding{place->bus, place->meter, static_cast<std::size_t>(found - channels.begin()), {}};
  }

  struct ReadChain {
    sensor::Chain chain;
    bool is_good;
    bool is_shared;
  };
  void bind(Table& table, UnitSettings& unit, PointId id, const std::string& channel, ReadChain read) {
    const auto place = find_channel(table, "channel", channel);
    if (!place) return;
    const auto& info = settings_.buses[place->bus].meters[place->meter].channels[place->channel];
    const profile::Point& point = unit.profile.point(id);
    const auto uom = find_uom(info.quantity, info.uom);
    if (!uom) return;
    check_shared(table, unit, point, *place, channel, read.is_shared);
    if (!sensor::fit_chain(table, read.chain, {*uom, point.uom, channel, point.name})) return;
    PointBinding binding{id, place->bus, place->meter, place->channel, read.chain.factor(), std::move(read.chain), std::nullopt, {info.plausible_low, info.plausible_high}};
    if (const auto* step = binding.chain.wants_junction()) {
      binding.junction = find_junction(table, step->junction_channel);
      if (!binding.junction) return;
    }
    if (!read.is_good) return;
    if (auto why = why_out_of_reach(point, binding)) return table.mistake(table.has("scale") ? "scale" : "channel", std::move(why->message), std::move(why->hint));
    unit.points.push_back(std::move(binding));
  }

  std::optional<JunctionBinding> find_junction(Table& point, const std::string& channel) {
    const auto place = find_channel(point, "thermocouple", channel);
    if (!place) return std::nullopt;
    const auto& meter = settings_.buses[place->bus].meters[place->meter];
    const auto& info = meter.channels[place->channel];
    const auto uom = find_uom(info.quantity, info.uom);
    if (info.quantity == Quantity::temperature && uom) return JunctionBinding{place->bus, place->meter, place->channel, uom->to_base, junction_polls_most * meter.poll_period};
    point.mistake("thermocouple", fmt::format("`{}` measures {}, and the terminals' temperature is wanted", channel, to_word(info.quantity)), "name a channel that gives a temperature, measured at the terminals");
    return std::nullopt;
  }

  /// One clip is at one point. The mains and the room are one thing for all units.
  void check_shared(Table& table, const UnitSettings& unit, const profile::Point& point, const ChannelBinding& place, const std::string& channel, bool is_shared) {
    const bool is_common = point.is_mains() || point.role == profile::Role::ambient;
    const ChannelUse use{fmt::format("`{}` of unit `{}`", point.name, unit.name), is_common || is_shared};
    const auto [first, is_new] = used_channels_.emplace(std::tuple(place.bus, place.meter, place.channel), use);
    if (is_new || (first->second.may_share && use.may_share)) return;
    table.mistake("channel", fmt::format("`{}` is already {}", channel, first->second.by), "one clip is at one point: is it the neighbouring channel? Where it truly is one measurement for both, write shared = true at both");
  }

  /// Every output has one owner: cutting one unit must not cut another, and nothing but the watchdog writes its coil.
  void check_outlets(std::vector<Table>& tables) {
    for (std::size_t i = 0; i < settings_.units.size(); ++i) {
      const auto& outlet = settings_.units[i].outlet;
      if (outlet && !used_outputs_.emplace(outlet->bus, outlet->meter, outlet->output).second)
        tables[i].mistake("outlet", "another unit or a bench has this outlet already", "cutting one must not cut the other");
      if (outlet && !settings_.buses[outlet->bus].cut_doubt.empty() && !has_second_cut(settings_.units[i]))
        tables[i].mistake("outlet", fmt::format("an outlet on `{}` is not enough to cut a unit", settings_.buses[outlet->bus].name),
                          settings_.buses[outlet->bus].cut_doubt + ": give the bench a [bench.contactor] on a relay module");
    }
  }

  /// A contactor of its bench that is wired to this machine.
  bool has_second_cut(const UnitSettings& unit) const {
    if (!unit.bench_index) return false;
    const auto& contactor = settings_.benches[*unit.bench_index].contactor;
    return contactor && settings_.buses[contactor->bus].cut_doubt.empty();
  }

  std::string file_;
  Errors& errors_;
  const bool wants_units_;
  Settings settings_;
  struct ChannelUse {
    std::string by;
    bool may_share;
  };
  std::map<std::string, std::string> ends_;     ///< where a bus ends, and its name
  std::map<std::string, std::string> devices_;  ///< where a device is, and its meter
  std::map<std::tuple<std::size_t, std::size_t, std::size_t>, ChannelUse> used_channels_;
  bool is_demo_ = false;
  bool has_bad_bus_ = false;
  std::set<std::tuple<std::size_t, std::size_t, std::size_t>> used_outputs_;
  std::string profile_folder_ = "profiles";
  std::string plan_folder_ = "plans";
  std::string instrument_folder_ = "instruments";
  std::set<std::string> complained_;
};

}  // namespace

std::optional<Settings> load_settings(const std::string& file, Errors& errors, bool wants_units) { return Loader(file, errors, wants_units).load(); }

}  // namespace steadyglow::app
