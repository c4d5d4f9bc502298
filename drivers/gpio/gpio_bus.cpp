#include "drivers/gpio/gpio_bus.hpp"

#include <dirent.h>

#include <algorithm>
#include <cerrno>
#include <string_view>
#include <system_error>
#include <utility>

#include <gpiod.h>

namespace steadyglow::drivers::gpio {
namespace {

constexpr const char* consumer = "steadyglow";
constexpr std::string_view device_folder = "/dev";
constexpr std::size_t chips_max = 256;

std::string reason(int failure) { return std::generic_category().message(failure); }

/// gpiochip0, gpiochip1, ...
std::vector<std::string> chip_files() {
  std::vector<std::string> found;
  DIR* folder = ::opendir(device_folder.data());
  if (folder == nullptr) return found;
  while (found.size() < chips_max) {
    const dirent* entry = ::readdir(folder);
    if (entry == nullptr) break;
    if (std::string_view(entry->d_name).starts_with("gpiochip")) found.push_back(std::string(device_folder) + "/" + entry->d_name);
  }
  ::closedir(folder);
  std::sort(found.begin(), found.end());
  return found;
}

/// The chip itself is no more there; any other failure is that of one line and one moment.
bool means_gone(int failure) { return failure == ENODEV || failure == ENXIO || failure == EBADF; }

int flags_of(const Line& line, bool is_output) {
  int flags = line.is_active_low ? GPIOD_LINE_REQUEST_FLAG_ACTIVE_LOW : 0;
  if (is_output) return flags;
  switch (line.bias) {
    case Bias::pull_up: return flags | GPIOD_LINE_REQUEST_FLAG_BIAS_PULL_UP;
    case Bias::pull_down: return flags | GPIOD_LINE_REQUEST_FLAG_BIAS_PULL_DOWN;
    case Bias::none: break;
  }
  return flags | GPIOD_LINE_REQUEST_FLAG_BIAS_DISABLE;
}

}  // namespace

void GpioBus::CloseChip::operator()(gpiod_chip* chip) const { gpiod_chip_close(chip); }

GpioBus::GpioBus(std::string label, std::vector<MeterSetup> meters) : label_(std::move(label)) {
  for (const MeterSetup& setup : meters) {
    Meter meter;
    meter.name = setup.name;
    for (const Line& line : setup.instrument.inputs) meter.inputs.push_back({line, false, nullptr});
    for (const Line& line : setup.instrument.outputs) meter.outputs.push_back({line, true, nullptr});
    meters_.push_back(std::move(meter));
  }
}

GpioBus::~GpioBus() { close_down(); }

template <class Do>
void GpioBus::each_wire(Do&& todo) {
  for (Meter& meter : meters_) {
    for (Wire& wire : meter.outputs) todo(wire);
    for (Wire& wire : meter.inputs) todo(wire);
  }
}

void GpioBus::close_down() {
  each_wire([](Wire& wire) {
    if (wire.held != nullptr && wire.is_output) (void)gpiod_line_set_value(wire.held, 0);
  });
  lose();
}

/// Without a last word to it.
void GpioBus::lose() {
  each_wire([](Wire& wire) { wire.held = nullptr; });
  chip_.reset();
}

GpioBus::Chip GpioBus::find() {
  std::vector<Chip> found;
  std::string others, refused, names;
  for (const std::string& file : chip_files()) {
    Chip chip(gpiod_chip_open(file.c_str()));
    if (!chip) {
      refused += "; " + file + ": " + reason(errno);
      continue;
    }
    const std::string label = gpiod_chip_label(chip.get());
    if (label != label_) {
      others += (others.empty() ? "" : ", ") + label;
      continue;
    }
    names += (names.empty() ? "" : " and ") + file;
    found.push_back(std::move(chip));
  }
  if (found.size() == 1) return std::move(found.front());
  if (found.empty()) trouble_ = "no chip is labelled `" + label_ + "`" + (others.empty() ? "" : "; there is " + others) + refused;
  else trouble_ = "`" + label_ + "` is the label of " + names + ": neither is touched";
  return nullptr;
}

bool GpioBus::hold(Wire& wire) {
  if (wire.held != nullptr) return true;
  gpiod_line* line = gpiod_chip_get_line(chip_.get(), wire.line.number);
  const gpiod_line_request_config config{consumer, wire.is_output ? GPIOD_LINE_REQUEST_DIRECTION_OUTPUT : GPIOD_LINE_REQUEST_DIRECTION_INPUT, flags_of(wire.line, wire.is_output)};
  if (line != nullptr && gpiod_line_request(line, &config, 0) == 0) {
    wire.held = line;
    return true;
  }
  const int failure = errno;
  const char* holder = line != nullptr && failure == EBUSY ? gpiod_line_consumer(line) : nullptr;
  trouble_ = "line " + std::to_string(wire.line.number) + " (`" + wire.line.name + "`): " + (line == nullptr && failure == EINVAL ? "the chip has no such line" : reason(failure)) +
             (holder == nullptr ? "" : ", held by `" + std::string(holder) + "`");
  return false;
}

bool GpioBus::bring_up() {
  trouble_.clear();
  if (chip_) return true;
  chip_ = find();
  if (!chip_) return false;
  if (std::exchange(was_up_, true)) ++counters_.reconnects;
  // All at once, so that no relay waits for its first order in whatever state it was left.
  each_wire([this](Wire& wire) { (void)hold(wire); });
  return true;
}

/// 0 or 1 in the sense of the line, or -1.
int GpioBus::level(Wire& wire) {
  ++counters_.requests;
  if (!chip_ || !hold(wire)) return -1;
  const int value = gpiod_line_get_value(wire.held);
  if (value >= 0) return value;
  const int failure = errno;
  ++counters_.timeouts;
  trouble_ = "line " + std::to_string(wire.line.number) + " (`" + wire.line.name + "`): " + reason(failure);
  if (means_gone(failure)) lose();
  return -1;
}

MeterReply GpioBus::read(std::size_t index) {
  Meter& meter = meters_[index];
  MeterReply reply;
  reply.channels.resize(meter.inputs.size());
  if (bring_up()) {
    for (std::size_t i = 0; i < meter.inputs.size(); ++i) {
      const int value = level(meter.inputs[i]);
      if (value < 0) continue;
      reply.channels[i] = {static_cast<double>(value), Quality::good};
      reply.is_answered = true;
    }
    if (meter.inputs.empty()) reply.is_answered = level(meter.outputs.front()) >= 0;
    // A line that was taken by another is asked for again, so that its relay is off as soon as it can be.
    if (chip_)
      for (Wire& wire : meter.outputs) (void)hold(wire);
  }
  reply.trouble = trouble_;
  return reply;
}

Result<void> GpioBus::write_output(std::size_t index, std::size_t output, bool on) {
  Meter& meter = meters_[index];
  Wire& wire = meter.outputs[output];
  const auto failed = [&](const std::string& why) {
    return fail(Fault::unavailable, "output `" + wire.line.name + "` not switched " + (on ? "on" : "off") + ": " + why, "open the circuit by hand if it must be off", meter.name);
  };
  if (!bring_up() || !hold(wire)) return failed(trouble_);
  ++counters_.requests;
  if (gpiod_line_set_value(wire.held, on ? 1 : 0) != 0) {
    const int failure = errno;
    if (means_gone(failure)) lose();
    return failed(reason(failure));
  }
  const int value = level(wire);
  if (value < 0) return failed(trouble_);
  if ((value == 1) != on) return failed("the line does not follow: something else drives it");
  return {};
}

Result<bool> GpioBus::read_output(std::size_t index, std::size_t output) {
  Meter& meter = meters_[index];
  Wire& wire = meter.outputs[output];
  const int value = bring_up() ? level(wire) : -1;
  if (value < 0) return fail(Fault::unavailable, "output `" + wire.line.name + "` not read: " + trouble_, {}, meter.name);
  return value == 1;
}

}  // namespace steadyglow::drivers::gpio
