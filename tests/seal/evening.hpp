#pragma once
/// A sealed evening: made once for a test program, then copied and spoiled.
#include <algorithm>
#include <string>
#include <vector>

#include "seal/container.hpp"
#include "seal/digest.hpp"
#include "seal/event_lines.hpp"
#include "seal/engine_words.hpp"
#include "seal/key.hpp"
#include "seal/readings_csv.hpp"
#include "seal/run_file.hpp"
#include "seal/seal.hpp"
#include "seal/scratch_file.hpp"
#include "seal/stored_runs.hpp"
#include "store/reader.hpp"

namespace steadyglow::seal {

template <class T>
T must(Result<T> result) {
  if (!result) throw std::runtime_error(result.error().text());
  return std::move(*result);
}
inline void must(Result<void> result) {
  if (!result) throw std::runtime_error(result.error().text());
}

struct Evening {
  Folder folder{"evening"};
  std::string store_file = folder.file("s.db");
  std::int64_t run = 0;
  RunData data;
  std::vector<NamedFile> pages{{"page.html", "<!doctype html><title>Brindlecombe 35</title>"}, {"page.pdf", "%PDF-1.7 not really"}};

  Evening() {
    auto store = opened(store_file);
    run = store_an_evening(*store);
    store.reset();
    auto reader = must(store::StoreReader::open(store_file));
    data = must(gather(*reader, run));
  }
  SigningKey shop_key() const { return must(SigningKey::of_store(store_file)); }
  std::vector<NamedFile> files() const { return must(sealed_files(data, pages, shop_key())); }
};

inline const Evening& evening() {
  static const Evening one;
  return one;
}

inline Report checked(const std::string& path, const std::string& fingerprint = {}) { return must(check(path, {.fingerprint = fingerprint, .progress = {}})); }

inline Report checked(const Folder& folder, const std::vector<NamedFile>& files, const std::string& fingerprint = {}) {
  const std::string path = folder.file("record.zip");
  std::filesystem::remove(path);
  must(write_container(path, files));
  return checked(path, fingerprint);
}

inline std::string all_of(const std::vector<std::string>& sentences) {
  std::string text;
  for (const std::string& one : sentences) text += one + "\n";
  return text;
}

/// The record with other events, everything repaired that can be without the shop's key: chain, digests, manifest, and a
/// signature of the forger's own.
inline std::vector<NamedFile> forged(const Folder& folder, std::vector<EventLine> events, RunData data = evening().data) {
  const auto chained = must(chain(events));
  data.events = chained.text;
  data.manifest.chain_head = chained.head;
  data.manifest.events = events.size();
  data.manifest.code = code_of(sha256_hex(data.events), sha256_hex(data.readings), sha256_hex(data.run_file));
  return must(sealed_files(std::move(data), evening().pages, must(SigningKey::at(folder.file("forger.key")))));
}

inline std::vector<EventLine> sealed_events() { return must(read_chain(evening().data.events)).events; }

}  // namespace steadyglow::seal
