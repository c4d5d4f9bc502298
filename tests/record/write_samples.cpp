/// Writes the pages of all sample runs into a folder, for other people's programs and for somebody's eyes.
#include <chrono>
#include <cstdio>
#include <filesystem>
#include <fstream>

#include <fmt/format.h>

#include "record/sample_pages.hpp"

int main(int count, char** words) {
  using namespace steadyglow;
  if (count != 2) {
    fmt::print(stderr, "usage: write_samples FOLDER\n");
    return 64;
  }
  std::filesystem::create_directories(words[1]);
  const auto write = [&](const std::string& name, const Result<std::string>& bytes) {
    if (!bytes) {
      fmt::print(stderr, "{}: {}\n", name, bytes.error().text());
      return false;
    }
    std::ofstream(std::filesystem::path(words[1]) / name, std::ios::binary) << *bytes;
    fmt::print("{} {}\n", name, bytes->size());
    return true;
  };
  bool is_good = true;
  for (const record_test::Sample& sample : record_test::all_samples()) {
    const auto begun = std::chrono::steady_clock::now();
    is_good &= write(sample.name + "-a4.pdf", record::page_pdf(sample.input, record::PaperSize::a4));
    is_good &= write(sample.name + "-letter.pdf", record::page_pdf(sample.input, record::PaperSize::letter));
    is_good &= write(sample.name + ".html", record::page_html(sample.input));
    is_good &= write(sample.name + "-page.png", record::page_png(sample.input));
    is_good &= write(sample.name + "-graph.png", record::graph_png(sample.input));
    fmt::print("{}: {:.2f} s\n", sample.name, std::chrono::duration<double>(std::chrono::steady_clock::now() - begun).count());
  }
  return is_good ? 0 : 1;
}
