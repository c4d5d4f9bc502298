#pragma once
/// A whole store with what lies beside it, copied into one folder while its daemon writes, and put in place again.
#include <cstdint>
#include <string>
#include <vector>

#include "core/result.hpp"
#include "store/backup.hpp"

namespace steadyglow::app {

inline constexpr const char* folder_store_name = "store.db";
inline constexpr const char* folder_photos_name = "photos";
inline constexpr const char* folder_key_name = "signing.key";
inline constexpr const char* folder_contents_name = "contents.json";
inline constexpr int folder_format = 1;

struct BackupOptions {
  std::string store;
  std::string out;         ///< a folder that is not there yet
  bool has_key = false;    ///< the key that signs records goes with it: whoever has the folder can sign as this shop
  store::Progress progress;
};

struct FolderReport {
  store::StoreCheck check;       ///< of the copy
  std::uint64_t store_bytes = 0;
  std::uint64_t photos = 0;
  bool has_key = false;
  std::vector<std::string> doubts;  ///< what was copied and does not fit, a sentence each
};

/// Reads the store only. The folder has its name once everything in it is on the disk and was read back and checked.
/// Fails: Fault::cannot_create when `out` is there already; as store::copy_store and check_store.
Result<FolderReport> back_up(const BackupOptions& options);

/// Checks every file against contents.json and the store row by row, then puts them in place; the store itself comes last.
/// Fails: Fault::bad_data when something differs; cannot_create when there is a store (or anything of one) already;
/// unavailable when a daemon has it open. Nothing is left behind then.
Result<FolderReport> restore(const std::string& folder, const std::string& store, const store::Progress& progress);

}  // namespace steadyglow::app
