/// campaign CHANGES: so many one-byte changes anywhere in a record, as a zip and as a folder, from a fixed seed. Exit 0 when
/// all of them are found.
#include <gtest/gtest.h>

#include <chrono>
#include <fstream>
#include <iostream>

#include "core/decimal.hpp"
#include "seal/evening.hpp"

using namespace steadyglow;

namespace {

/// One byte of one file becomes another one, and what it was after the check.
struct Spoiled {
  std::string path;
  std::size_t at;
  char was;

  static Spoiled somewhere(const std::string& path, std::size_t at, char other) {
    std::fstream file(path, std::ios::in | std::ios::out | std::ios::binary);
    file.seekg(static_cast<std::streamoff>(at));
    const char was = static_cast<char>(file.get());
    Spoiled spoiled{path, at, was};
    spoiled.put(static_cast<char>(was ^ other));
    return spoiled;
  }
  void put(char byte) const {
    std::fstream file(path, std::ios::in | std::ios::out | std::ios::binary);
    file.seekp(static_cast<std::streamoff>(at));
    file.put(byte);
    file.close();
    if (!file) throw std::runtime_error("the record cannot be spoiled");
  }
};

bool is_found(const std::string& record) {
  const auto report = seal::check(record);
  return !report || !report->is_good();
}

}  // namespace

int main(int count, char** words) try {
  const auto changes = count == 2 ? parse_decimal(words[1]) : std::nullopt;
  if (!changes) {
    std::cerr << "campaign CHANGES\n";
    return 64;
  }
  const seal::Folder folder("campaign");
  const auto files = seal::evening().files();
  const std::string zip = folder.file("record.zip");
  const std::string unpacked = folder.file("record");
  seal::must(seal::write_container(zip, files));
  seal::must(seal::write_container(unpacked, files));
  if (is_found(zip) || is_found(unpacked)) {
    std::cout << "the untouched record does not verify\n";
    return 1;
  }
  std::size_t all = 0;
  for (const auto& file : files) all += file.bytes.size();
  const auto zip_size = std::filesystem::file_size(zip);

  std::mt19937_64 random(20260131);
  std::size_t missed = 0;
  const auto began = std::chrono::steady_clock::now();
  for (std::size_t i = 0; i < static_cast<std::size_t>(*changes); ++i) {
    const char other = static_cast<char>(1 + random() % 255);
    const bool is_zip = i % 2 == 0;
    std::string path = zip;
    std::size_t at = random() % zip_size;
    if (!is_zip) {
      // Every file as often as its share of bytes, and every tenth time any file: small ones must be hit too.
      std::size_t left = i % 20 == 1 ? 0 : random() % all;
      auto file = i % 20 == 1 ? files.begin() + static_cast<std::ptrdiff_t>(random() % files.size()) : files.begin();
      if (i % 20 == 1) left = random() % file->bytes.size();
      while (left >= file->bytes.size()) left -= (file++)->bytes.size();
      path = unpacked + "/" + file->name;
      at = left;
    }
    const Spoiled spoiled = Spoiled::somewhere(path, at, other);
    if (!is_found(is_zip ? zip : unpacked)) {
      ++missed;
      std::cout << "not found: " << path << " byte " << at << "\n";
    }
    spoiled.put(spoiled.was);
  }
  const std::chrono::duration<double> took = std::chrono::steady_clock::now() - began;
  if (is_found(zip) || is_found(unpacked)) {
    std::cout << "the record was not put back as it was\n";
    return 1;
  }
  std::cout << *changes << " one-byte changes, half in a zip of " << zip_size << " bytes, half in a folder of " << all << " bytes: " << missed << " not found; " << took.count() << " s\n";
  return missed == 0 && *changes > 0 ? 0 : 1;
} catch (const std::exception& error) {
  std::cerr << error.what() << '\n';
  return 74;
}
