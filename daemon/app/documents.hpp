#pragma once
/// What is made of stored runs for a browser: the list, the pages, the sealed record, two runs side by side.
#include <string>

#include "core/result.hpp"
#include "http/server.hpp"

namespace steadyglow::app {

inline constexpr std::size_t runs_listed_max = 500;

/// Thread: any; seconds for a long run, so never the loop. Fails: bad_data when there is no such run or document, usage when a
/// run goes on that must be over, otherwise as the store's reader does.
Result<http::Document> make_document(const std::string& store_file, const http::DocumentRequest& request);

}  // namespace steadyglow::app
