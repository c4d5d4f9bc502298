#pragma once
#include <nlohmann/json.hpp>
#include <string>
#include <vector>

#include "core/ids.hpp"
#include "core/result.hpp"
#include "http/server.hpp"

namespace steadyglow::app {

/// Answers a history query from the store file, on a connection of its own: the object of API.md, section `history`.
Result<nlohmann::json> read_history(const std::string& store_file, std::int64_t run, const std::vector<PointId>& points,
                                    const std::vector<std::string>& names, const http::HistoryRequest& request);

}  // namespace steadyglow::app
