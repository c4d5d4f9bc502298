#pragma once
/// The picture that goes with a message: the last two hours from the store.
#include <string>

#include "app/session.hpp"
#include "notify/picture.hpp"

namespace steadyglow::app {

inline constexpr Duration picture_span = std::chrono::hours{2};

/// What is to be drawn, without its values: the guilty point, a neighbour, the watts, a temperature.
struct PictureRequest {
  std::int64_t run = 0;
  std::vector<PointId> points;
  Timestamp from{};
  Timestamp to{};
  notify::Picture picture;
};
PictureRequest picture_request(const UnitSession& session, const std::string& guilty);
/// Reads and draws; empty when it cannot. Any thread.
std::string draw_from(const std::string& store_file, PictureRequest request);

}  // namespace steadyglow::app
