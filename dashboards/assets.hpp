#pragma once
/// The page that the daemon serves, inside the binary: no file has to be found when somebody needs to look at the bench.
#include <span>
#include <string_view>

namespace steadyglow::dashboards {

/// One file of the page. Everything in static storage.
struct Asset {
  std::string_view path;          ///< as in the address: "/" or "/assets/NAME"
  std::string_view content_type;  ///< with its charset, ready for the header
  std::string_view body;
  std::string_view etag;          ///< with its quotation marks; changes whenever the body does
};

/// nullptr: the page has no such file.
const Asset* find_asset(std::string_view path);

/// All of them.
std::span<const Asset> assets();

}  // namespace steadyglow::dashboards
