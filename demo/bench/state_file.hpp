#pragma once
#include <cstdint>
#include <nlohmann/json.hpp>
#include <string>

#include "demo/bench/virtual_bench.hpp"

namespace steadyglow::demo {

struct StateOfServer {
  std::uint16_t port = 0;
  std::string pty;
  double rate = 1.0;
  std::uint64_t requests = 0;
  std::uint64_t dropped = 0;
  std::uint64_t late = 0;
  std::uint64_t bad_frames = 0;
};

/// The truth of the bench, for whoever wants to compare it with what was measured.
nlohmann::ordered_json state_json(const VirtualBench& bench, const StateOfServer& server);

/// Replaces the file in one step: a reader sees the old one or the new one. What cannot be written is said once on stderr.
void write_state_file(const std::string& file, const nlohmann::ordered_json& state);

}  // namespace steadyglow::demo
