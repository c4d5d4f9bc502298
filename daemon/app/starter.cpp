#include "app/starter.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <filesystem>
#include <map>
#include <set>

#include "app/text_file.hpp"
#include "core/decimal.hpp"
#include "core/uom.hpp"
#include "document/table.hpp"
#include "drivers/registry.hpp"
#include "profile/profile.hpp"

namespace steadyglow::app {
namespace {

namespace fs = std::filesystem;
using document::Table;

constexpr const char* plan_text = R"([plan]
title = "looking at a new bench"
at_end = "off"

# A plan needs a baseline and hours that count. Before a real run, take a plan that fits the unit.
[[stage]]
kind = "baseline"
minutes = 5

[[stage]]
kind = "idle_soak"
minutes = 60
counted = true
)";

constexpr const char* config_head = R"(# A new bench. Everything here may be changed; `steadyglow check {}` says what is wrong with it, with line and hint.
#
# Caution: this program is not a safety device. Fuse, RCD or GFCI, a thermal cut-out that needs no computer, and a smoke alarm must
# work without it. Nothing is switched by this file: an outlet, its limits and its plan are for a person to add, who has read SAFETY.md.

[daemon]
store = "steadyglow.db"
listen = "{}"

)";

constexpr const char* unit_head = R"(
# ---- what is looked at -------------------------------------------------------------------------------------------------
[[unit]]
name = "new-unit"
title = "New unit"
bench = "new bench"
profile = "looked-at"
plan = "look"
)";

constexpr const char* profile_head = R"(# Every channel of the meters, as a point without limits: to see that the wiring is right. Nothing is judged by it, and nothing is cut.
# For a real run give each point its role, what is normal (nominal, warn, trip), where to clip (note) and whether it is protective.
[profile]
kind = "looked-at"
title = "points that are looked at, without limits"
source = "no limit is set"
)";

constexpr const char* instrument_tail = R"(
[instrument]
title = "module whose registers were found"
protocol = "modbus"
source = "found by reading its registers beside another meter; compare with its manual"
)";

struct Channel {
  std::string point, channel, quantity, uom;
};

bool is_bus_for_us(const document::Node& root) {
  return std::any_of(root.members.begin(), root.members.end(), [](const document::Member& member) { return member.key == "bus"; });
}

std::vector<Channel> channels_of(const std::vector<drivers::BusSpec>& buses) {
  std::size_t meters = 0;
  for (const auto& bus : buses) meters += bus.meters.size();
  std::vector<Channel> channels;
  std::set<std::string> names;
  for (const auto& bus : buses) {
    for (const auto& meter : bus.meters) {
      for (const auto& channel : meter.channels) {
        std::string point = meters == 1 ? channel.name : meter.name + "_" + channel.name;
        while (!names.insert(point).second) point += "_2";
        channels.push_back({point, meter.name + "." + channel.name, std::string(to_word(channel.quantity)), channel.uom});
      }
    }
  }
  return channels;
}

}  // namespace

StarterParts parts_of(const FoundModule& module) {
  StarterParts parts;
  parts.bus_file = "the bus";
  parts.bus_text = fmt::format("[[bus]]\nname = \"found\"\n{}timeout_seconds = {}\n[[bus.meter]]\nname = \"module_1\"\ninstrument = \"{}\"\naddress = {}\npoll_seconds = 1.0\n", module.place_lines, to_decimal(module.timeout_seconds), found_instrument, module.address);
  // Behind the channels, so that a mistake in them has the line that it has in their file.
  parts.instruments.push_back({found_instrument, {module.channels_file, module.channels_text + (module.channels_text.ends_with('\n') ? "" : "\n") + instrument_tail}});
  return parts;
}

std::vector<StarterFile> starter_files(const StarterParts& parts, Errors& errors) {
  const std::size_t errors_before = errors.size();
  std::map<std::string, drivers::InstrumentText> used;
  const auto find = [&](const std::string& name) -> Result<drivers::InstrumentText> {
    for (const auto& instrument : parts.instruments)
      if (instrument.name == name) return used.insert_or_assign(name, instrument.text).first->second;
    if (parts.instrument_folder.empty()) return fail(Fault::config, fmt::format("no instrument file `{}.toml` was given", name), "name it with --instrument, or the folder that it is in with --instruments");
    const std::string file = (fs::path(parts.instrument_folder) / (name + ".toml")).string();
    auto text = read_text_file(file);
    if (!text) return tl::unexpected(text.error());
    return used.insert_or_assign(name, drivers::InstrumentText{file, std::move(*text)}).first->second;
  };
  const document::Node root = document::parse(parts.bus_text, parts.bus_file, errors);
  if (errors.size() > errors_before) return {};
  Table top(root, parts.bus_file, errors);
  if (!is_bus_for_us(root)) top.mistake("", "there is no [[bus]] in it", "`steadyglow scan` and `steadyglow probe` print one");
  std::vector<drivers::BusSpec> buses;
  for (Table& table : top.tables("bus"))
    if (auto bus = drivers::read_bus(table, find, errors)) buses.push_back(std::move(*bus));
  top.done();
  if (errors.size() > errors_before) return {};
  const auto channels = channels_of(buses);
  if (channels.empty()) top.mistake("bus", "none of its meters measures anything", "a relay module alone shows nothing: add a meter");
  if (channels.size() > profile::points_max) top.mistake("bus", fmt::format("{} channels are more than the {} points of one unit", channels.size(), profile::points_max), "begin with fewer meters");
  if (errors.size() > errors_before) return {};

  std::string config = fmt::format(fmt::runtime(config_head), starter_config, parts.listen) + parts.bus_text + (parts.bus_text.ends_with('\n') ? "" : "\n") + unit_head;
  std::string profile = profile_head;
  for (const Channel& channel : channels) {
    config += fmt::format("[[unit.point]]\nname = \"{}\"\nchannel = \"{}\"\n", channel.point, channel.channel);
    profile += fmt::format("\n[[point]]\nname = \"{}\"\nquantity = \"{}\"\nuom = \"{}\"\nrole = \"other\"\nprotective = false\n", channel.point, channel.quantity, channel.uom);
  }
  std::vector<StarterFile> files{{starter_config, std::move(config)}, {"profiles/looked-at.toml", std::move(profile)}, {"plans/look.toml", plan_text}};
  for (const auto& [name, instrument] : used) files.push_back({"instruments/" + name + ".toml", instrument.text});
  return files;
}

}  // namespace steadyglow::app
