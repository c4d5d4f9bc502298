#pragma once
/// A whole store copied while its daemon writes, and a copy looked at before anybody relies on it.
#include <cstdint>
#include <functional>
#include <string>

#include "core/result.hpp"
#include "store/rows.hpp"

namespace steadyglow::store {

/// What is being done, and the share of it that is done, 0 to 1.
using Progress = std::function<void(const char* what, double share)>;

struct StoreCheck {
  std::uint64_t runs = 0;
  std::uint64_t running = 0;   ///< of them: not ended
  std::uint64_t batches = 0;   ///< of readings
  std::uint64_t inputs = 0;    ///< others
  std::uint64_t events = 0;
  std::uint64_t journal = 0;
  Damage damage;               ///< rows that do not fit their checksum
};

/// Reads every page (PRAGMA integrity_check) and every row against its checksum.
/// Fails: Fault::bad_data when the pages are damaged; as StoreReader otherwise.
Result<StoreCheck> check_store(const std::string& file, const Progress& progress = {});

/// Copies the store of one moment into one file that stands alone, synced to the disk. Reads only, and never checkpoints: the
/// daemon's log cannot be written back while it lasts, so it grows by what is written meanwhile.
/// Fails: Fault::cannot_create when `copy` is there already; otherwise as StoreReader.
Result<void> copy_store(const std::string& file, const std::string& copy, const Progress& progress = {});

}  // namespace steadyglow::store
