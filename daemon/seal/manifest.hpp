#pragma once
/// manifest.json: what is in a record, and what it says of itself. It is what the signature signs.
#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

#include "core/result.hpp"

namespace steadyglow::seal {

inline constexpr std::int64_t format_newest = 1;
inline constexpr std::size_t manifest_bytes_max = 256 * 1024;
inline constexpr std::size_t code_digits = 16;

inline constexpr std::string_view manifest_name = "manifest.json";
inline constexpr std::string_view signature_name = "manifest.sig";
inline constexpr std::string_view key_name = "key.pub";
inline constexpr std::string_view readme_name = "README.txt";
inline constexpr std::string_view events_name = "events.jsonl";
inline constexpr std::string_view readings_name = "readings.csv";
inline constexpr std::string_view run_file_name = "run.sqlite";

struct FileDigest {
  std::string name;
  std::uint64_t bytes = 0;
  std::string sha256;
};

struct Manifest {
  std::int64_t format = format_newest;
  std::string program_version;
  std::int64_t engine_version = 0;
  std::int64_t run = 0;
  std::string unit, title, serial, profile, plan, started_utc, ended_utc, started_by;
  std::string verdict;      ///< proposed by the engine; empty: none
  std::string signed_word;  ///< by a person; empty: not signed
  std::string signed_by;
  std::uint64_t inputs = 0;
  std::uint64_t readings = 0;
  std::uint64_t events = 0;
  std::string chain_head;
  std::uint64_t damaged_rows = 0;  ///< of the store, left out
  std::string code;
  std::string key_fingerprint;
  std::vector<FileDigest> files;  ///< all but the manifest and its signature, by name

  const FileDigest* find(std::string_view name) const;
};

/// The short code of a run's data, for the page: the first digits of the SHA-256 of the three lines that
/// `sha256sum events.jsonl readings.csv run.sqlite` prints.
std::string code_of(std::string_view events_sha256, std::string_view readings_sha256, std::string_view run_file_sha256);

std::string to_json_text(const Manifest& manifest);
/// Strict: the very text that to_json_text() gives. Fails: Fault::bad_data; config for a newer format.
Result<Manifest> read_manifest(std::string_view text);

}  // namespace steadyglow::seal
