#include "drivers/sysfs/sysfs_bus.hpp"

#include <algorithm>
#include <cerrno>
#include <cmath>
#include <optional>
#include <system_error>
#include <utility>

#include "core/decimal.hpp"
#include "drivers/sysfs/folder.hpp"
#include "drivers/text.hpp"

namespace steadyglow::drivers::sysfs {
namespace {

/// Larger than any temperature, and safely a whole number.
constexpr double millidegrees_most = 1e9;

/// A number out of one file, or why there is none.
struct Number {
  double value = 0.0;
  Quality quality = Quality::good;
  std::string trouble;
  bool is_absent = false;  ///< there is no such file; any other failure says nothing of what it would hold
};

Number no_number(Quality quality, std::string trouble) { return {0.0, quality, std::move(trouble), false}; }

std::string reason(int failure) { return std::generic_category().message(failure); }

Number read_number(const Folder& folder, const std::string& name) {
  const FileText file = folder.read(name);
  if (file.failure == ENOENT) return {0.0, Quality::no_answer, "there is no file " + name, true};
  if (file.failure != 0) return no_number(Quality::no_answer, name + ": " + reason(file.failure));
  if (file.is_endless) return no_number(Quality::implausible, name + " does not end");
  const auto value = parse_decimal(file.text);
  if (!value) return no_number(Quality::implausible, name + " holds no number");
  return {*value, Quality::good, {}, false};
}

/// Where the scale or the offset of a channel may stand, its own place first: in_voltage0_supply, in_voltage_supply, in_voltage, and so on;
/// of in_voltage0-voltage1 the shared one is in_voltage-voltage. A mean, a peak or a trough is converted as the reading itself is.
/// Source: Linux, Documentation/ABI/testing/sysfs-bus-iio (in_<type>[Y][_name]_scale, in_X_mean_raw, in_temp_peak_raw) and
/// __iio_device_attr_init in drivers/iio/industrialio-core.c for those that are shared by a direction (in) or by all.
std::vector<std::string> places_of(const std::string& stem) {
  const std::size_t direction_end = stem.find('_');
  const std::size_t end = direction_end == std::string::npos ? direction_end : stem.find('_', direction_end + 1);
  const std::string head = stem.substr(0, end);
  std::string type = head;
  std::erase_if(type, [](char c) { return c >= '0' && c <= '9'; });
  const std::string name = end == std::string::npos ? "" : stem.substr(end);
  std::string plain_name = name;
  for (const std::string_view statistic : {"_mean", "_peak", "_trough"})
    if (name.ends_with(statistic)) plain_name.resize(name.size() - statistic.size());
  return {head + name, head + plain_name, type + name, type + plain_name, type, stem.substr(0, direction_end), ""};
}

/// The first of those that is there; one that is there and cannot be read has no stand-in.
std::optional<Number> read_shared(const Folder& folder, const std::string& stem, const std::string& what) {
  for (const std::string& place : places_of(stem))
    if (Number number = read_number(folder, place.empty() ? what : place + "_" + what); !number.is_absent) return number;
  return std::nullopt;
}

/// (raw + offset) * scale, in the unit of the kernel's interface. Source: Documentation/ABI/testing/sysfs-bus-iio.
Number read_iio(const Folder& folder, const std::string& file) {
  constexpr std::string_view raw_ending = "_raw";
  Number number = read_number(folder, file);
  if (number.quality != Quality::good || !file.ends_with(raw_ending)) return number;
  const std::string stem = file.substr(0, file.size() - raw_ending.size());
  const auto scale = read_shared(folder, stem, "scale");
  if (!scale) return no_number(Quality::no_answer, "there is no file " + stem + "_scale: what a count is worth is not known");
  if (scale->quality != Quality::good) return *scale;
  if (scale->value == 0.0) return no_number(Quality::implausible, stem + "_scale is 0");
  const auto offset = read_shared(folder, stem, "offset");
  if (offset && offset->quality != Quality::good) return *offset;
  number.value = (number.value + (offset ? offset->value : 0.0)) * scale->value;
  return number;
}

/// The _input files whose _label says so.
std::vector<std::string> labelled(const Folder& folder, std::string_view prefix, const std::string& label) {
  constexpr std::string_view ending = "_label";
  std::vector<std::string> found;
  for (const std::string& name : folder.names())
    if (name.starts_with(prefix) && name.ends_with(ending) && folder.read(name).text == label)
      found.push_back(name.substr(0, name.size() - ending.size()) + "_input");
  return found;
}

/// A chip that knows of an open sensor or a fan that is not there may still give a number: temp1_fault says not to trust temp1_input.
/// Source: Documentation/hwmon/sysfs-interface, "Alarms".
Number read_hwmon(const Folder& folder, Quantity quantity, const std::string& file) {
  Number number = read_number(folder, file);
  const std::string fault_file = file.substr(0, file.find('_')) + "_fault";
  Number fault = read_number(folder, fault_file);
  if (fault.is_absent) return number;
  if (fault.quality != Quality::good) return fault;
  if (fault.value == 0.0) return number;
  return no_number(quantity == Quantity::temperature ? Quality::open_sensor : Quality::implausible, fault_file + " says that " + file + " is not to be trusted");
}

Number read_channel(const Folder& folder, Kind kind, const Channel& channel) {
  if (kind == Kind::iio) return read_iio(folder, channel.file);
  if (channel.label.empty()) return read_hwmon(folder, channel.quantity, channel.file);
  const auto files = labelled(folder, file_prefix(kind, channel.quantity), channel.label);
  if (files.empty()) return no_number(Quality::no_answer, "nothing is labelled `" + channel.label + "`");
  if (files.size() > 1) return no_number(Quality::no_answer, "`" + channel.label + "` is the label of " + files[0] + " and of " + files[1] + ": neither is read");
  return read_hwmon(folder, channel.quantity, files.front());
}

/// The end of a path, at a whole step: 1-0048 of devices/i2c-1/1-0048.
bool ends_as(const std::string& path, const std::string& end) {
  if (!path.ends_with(end)) return false;
  return path.size() == end.size() || path[path.size() - end.size() - 1] == '/';
}

void fill(MeterReply& reply, Quality quality) {
  for (ChannelValue& channel : reply.channels) channel = {0.0, quality};
}

void note(MeterReply& reply, std::string trouble) {
  if (reply.trouble.empty()) reply.trouble = std::move(trouble);
}

/// True when it is the bound one.
bool is_bound(MeterReply& reply, const std::string& bound) {
  if (bound.empty() || reply.identity == bound) return true;
  reply.is_stranger = true;
  reply.is_answered = true;
  fill(reply, Quality::other_meter);
  note(reply, stranger_words(reply.identity, bound));
  return false;
}

}  // namespace

struct SysfsBus::Found {
  Folder folder;
  std::string path;  ///< of the device behind it
};

SysfsBus::SysfsBus(std::string root, std::vector<MeterSetup> meters, std::function<Clock::time_point()> now) : root_(std::move(root)), now_(std::move(now)) {
  for (MeterSetup& setup : meters) meters_.push_back({std::move(setup), {}, false});
}

std::chrono::milliseconds SysfsBus::call_deadline() const {
  const bool has_w1 = std::any_of(meters_.begin(), meters_.end(), [](const Meter& meter) { return meter.setup.instrument.kind == Kind::w1; });
  return has_w1 ? w1_call_deadline : file_call_deadline;
}

MeterReply SysfsBus::read(std::size_t index) {
  Meter& meter = meters_[index];
  MeterReply reply;
  reply.channels.resize(meter.setup.instrument.channels.size());
  ++counters_.requests;
  if (meter.setup.instrument.kind == Kind::w1) read_w1(meter, reply);
  else read_chip(meter, reply);
  if (!reply.is_answered) ++counters_.timeouts;
  for (const ChannelValue& channel : reply.channels)
    if (channel.quality == Quality::implausible) ++counters_.garbage;
  return reply;
}

void SysfsBus::be_found(Meter& meter, bool is_found) {
  if (meter.is_missing && is_found) ++counters_.reconnects;
  meter.is_missing = !is_found;
}

/// Thermometers that are there and belong to no meter: the one that somebody put in another's place is among them.
std::string SysfsBus::strangers_on_w1() const {
  std::string list;
  for (const std::string& name : names_in(root_ + "/bus/w1/devices")) {
    const bool is_ours = std::any_of(meters_.begin(), meters_.end(), [&](const Meter& meter) { return meter.setup.rom == name; });
    if (is_w1_rom(name) && !is_ours) list += (list.empty() ? "" : ", ") + name;
  }
  return list;
}

void SysfsBus::read_w1(Meter& meter, MeterReply& reply) {
  const std::string& rom = meter.setup.rom;
  const auto folder = Folder::open(root_ + "/bus/w1/devices/" + rom);
  be_found(meter, folder.has_value());
  if (!folder) {
    const std::string others = strangers_on_w1();
    return note(reply, "no 1-Wire device `" + rom + "`" + (others.empty() ? "" : "; bound to no meter: " + others));
  }
  const FileText name = folder->read("name");
  reply.identity = name.failure == 0 && !name.text.empty() ? name.text : rom;
  if (!is_bound(reply, rom)) return;
  ChannelValue& channel = reply.channels.front();
  FileText file = folder->read("temperature");
  std::optional<long> millidegrees;
  // Kernels before 5.8 have only the two lines of the device's whole answer.
  const bool is_old = file.failure == ENOENT;
  if (is_old) file = folder->read("w1_slave");
  if (file.failure != 0) return note(reply, "`" + rom + "`: " + reason(file.failure));
  if (!file.is_endless && is_old) millidegrees = parse_w1_slave(file.text);
  if (!file.is_endless && !is_old)
    if (const auto number = parse_decimal(file.text); number && std::fabs(*number) < millidegrees_most && *number == std::trunc(*number)) millidegrees = static_cast<long>(*number);
  reply.is_answered = true;
  channel.quality = Quality::implausible;
  if (file.is_endless) return note(reply, "`" + rom + "`: its file does not end");
  if (!millidegrees) return note(reply, "`" + rom + "`: " + (is_old ? "its answer fails the check" : "its file holds no number"));
  const auto verdict = meter.guard.judge(*millidegrees, now_());
  channel = judge(meter.setup.instrument.channels.front(), static_cast<double>(*millidegrees));
  if (verdict == W1Verdict::believable) return;
  channel.quality = Quality::implausible;
  note(reply, "`" + rom + "`: " + (verdict == W1Verdict::power_on ? "85.000 out of nowhere is what it says after its supply came back" : "127.94 means that its supply is too weak to convert"));
}

std::vector<SysfsBus::Found> SysfsBus::candidates(const MeterSetup& setup) const {
  const bool is_hwmon = setup.instrument.kind == Kind::hwmon;
  const std::string place = root_ + (is_hwmon ? "/class/hwmon" : "/bus/iio/devices");
  const std::string_view begins = is_hwmon ? "hwmon" : "iio:device";
  std::vector<Found> found;
  for (const std::string& entry : names_in(place)) {
    if (!entry.starts_with(begins)) continue;
    auto folder = Folder::open(place + "/" + entry);
    if (!folder) continue;
    if (!setup.chip.empty() && folder->read("name").text != setup.chip) continue;
    std::string path = folder->device_path(root_);
    if (!setup.device.empty() && !ends_as(path, setup.device)) continue;
    found.push_back({std::move(*folder), std::move(path)});
  }
  return found;
}

void SysfsBus::read_chip(Meter& meter, MeterReply& reply) {
  const MeterSetup& setup = meter.setup;
  const Clock::time_point until = now_() + file_call_deadline;
  const auto found = candidates(setup);
  be_found(meter, found.size() == 1);
  const std::string wanted = setup.chip.empty() ? setup.device : setup.chip;
  if (found.empty()) return note(reply, "there is no `" + wanted + "`" + (setup.device.empty() || setup.chip.empty() ? "" : " at " + setup.device));
  if (found.size() > 1)
    return note(reply, "`" + wanted + "` is there more than once, at " + found[0].path + " and at " + found[1].path + ": neither is read; say which by `device`");
  reply.identity = found.front().path;
  reply.is_answered = true;
  if (!is_bound(reply, setup.identity)) return;
  for (std::size_t i = 0; i < reply.channels.size(); ++i) {
    if (now_() >= until) return note(reply, "no time left in this poll");
    const Channel& channel = setup.instrument.channels[i];
    const Number number = read_channel(found.front().folder, setup.instrument.kind, channel);
    if (number.quality != Quality::good) note(reply, channel.name + ": " + number.trouble);
    reply.channels[i] = number.quality == Quality::good ? judge(channel, number.value) : ChannelValue{0.0, number.quality};
  }
}

Result<void> SysfsBus::write_output(std::size_t meter, std::size_t, bool) {
  return fail(Fault::usage, "nothing here can be switched", {}, meters_[meter].setup.name);
}

Result<bool> SysfsBus::read_output(std::size_t meter, std::size_t) { return fail(Fault::usage, "nothing here can be switched", {}, meters_[meter].setup.name); }

}  // namespace steadyglow::drivers::sysfs
