#pragma once
/// The sealed record: what goes into it when it is made, and whether one that somebody brings is what was sealed.
#include <cstdint>
#include <functional>
#include <string>
#include <string_view>
#include <vector>

#include "core/result.hpp"
#include "seal/container.hpp"
#include "seal/key.hpp"
#include "seal/manifest.hpp"
#include "store/reader.hpp"

namespace steadyglow::seal {

/// The part of a record that follows from the store, before there are pages: the pages can show its code.
struct RunData {
  Manifest manifest;  ///< without files and key
  std::string events;
  std::string readings;
  std::string run_file;
};

/// Thread: any, with a reader of its own; seconds for a long run, so not on the loop.
/// Fails: Fault::bad_data when there is no such run or it cannot be read; usage while it is going on.
Result<RunData> gather(store::StoreReader& reader, std::int64_t run);

/// What a sealed record was, for whoever asked for it.
struct Sealed {
  std::string code;
  std::string key_fingerprint;
  std::uint64_t damaged_rows = 0;
};
/// All files of a record, signed. Pages (and the unit's card) are opaque, with plain names of their own. They are no part of the data: what is
/// written on the card later leaves the code of the data as it was printed. Fails: Fault::usage for such a name.
Result<std::vector<NamedFile>> sealed_files(RunData data, std::vector<NamedFile> pages, const SigningKey& key);
/// gather(), sealed_files() and write_container() in one; `out` ending in ".zip" makes a zip, anything else a folder.
struct SealOptions {
  std::string store;
  std::int64_t run = 0;
  std::string out;
  std::vector<NamedFile> pages;
};
Result<Sealed> make(const SealOptions& options);

struct CheckOptions {
  /// Spelled as fingerprint(); empty: whoever signed it.
  std::string fingerprint;
  /// What is being done, and how much of it: 0 to 1.
  std::function<void(std::string_view step, double share)> progress;
};

struct Report {
  Manifest manifest;                     ///< empty when it could not be read
  std::string signed_by;                 ///< fingerprint of the key inside; empty without a valid signature
  std::vector<std::string> differences;  ///< sentences: file, line, event, bytes
  std::vector<std::string> remarks;      ///< what a reader should know, and no difference
  bool was_retold = false;               ///< the engine went over the readings
  bool is_another_engine = false;        ///< than the one that judged the run
  std::uint64_t readings = 0;
  std::uint64_t events = 0;
  bool is_good() const { return differences.empty(); }
};

/// Thread: any; seconds for a long run. Fails: Fault::bad_data for what is no record, or would do harm; config for a newer format.
Result<Report> check(const std::string& path, const CheckOptions& options = {});

}  // namespace steadyglow::seal
