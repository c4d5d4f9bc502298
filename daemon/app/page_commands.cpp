#include <fmt/format.h>

#include <CLI/App.hpp>
#include <CLI/Option.hpp>
#include <filesystem>
#include <fstream>
#include <memory>

#include "app/commands.hpp"
#include "app/exit_code.hpp"
#include "app/more_commands.hpp"
#include "app/replay.hpp"
#include "app/run_pages.hpp"
#include "app/text_file.hpp"
#include "profile/profile_toml.hpp"
#include "record/dates.hpp"
#include "record/run_figures.hpp"

namespace steadyglow::app {
namespace {

Result<void> write_file(const std::string& file, const std::string& bytes) {
  std::ofstream out(file, std::ios::binary | std::ios::trunc);
  if (!out) return fail(Fault::cannot_create, "cannot be written", "check the folder and its permissions", file);
  out.write(bytes.data(), static_cast<std::streamsize>(bytes.size()));
  out.close();
  if (!out) return fail(Fault::io, "could not be written whole", "is the disk full?", file);
  return {};
}

Result<void> write_page(const record::PageInput& input, std::string_view name, const std::string& paper, const std::string& file) {
  const auto bytes = page_file(input, name, paper);
  if (!bytes) return tl::unexpected(bytes.error());
  return write_file(file, *bytes);
}

struct ReportWords {
  std::string store, pdf, html, png, paper = "a4";
  std::int64_t run = 0;
  PageWishes wishes;
};

int report(const ReportWords& words) {
  if (words.pdf.empty() && words.html.empty() && words.png.empty()) return say({Fault::usage, "nothing is to be written", "name a file with --pdf or --html, or a folder with --png", {}});
  const auto pages = pages_of_run(words.store, words.run, words.wishes);
  if (!pages) return say(pages.error());
  const record::PageInput& input = (*pages)->input;
  std::vector<std::pair<std::string, std::string>> wanted;
  if (!words.pdf.empty()) wanted.emplace_back("page.pdf", words.pdf);
  if (!words.html.empty()) wanted.emplace_back("page.html", words.html);
  if (!words.png.empty()) {
    std::error_code code;
    std::filesystem::create_directories(words.png, code);
    if (code) return say({Fault::cannot_create, code.message(), "name a folder that can be made", words.png});
    for (const char* name : {"page.png", "graph.png"}) wanted.emplace_back(name, (std::filesystem::path(words.png) / name).string());
  }
  for (const auto& [name, file] : wanted) {
    if (auto written = write_page(input, name, words.paper, file); !written) return say(written.error());
    fmt::print("{}\n", file);
  }
  return exit_good;
}

/// A recording tells no name and no serial number: the profile's title stands for them.
Result<record::RunFigures> figures_of_recording(const std::string& profile_file, const std::string& plan_file, const std::string& csv_file) {
  store::RunRow row;
  auto profile_text = read_text_file(profile_file);
  if (!profile_text) return tl::unexpected(profile_text.error());
  Errors errors;
  const auto profile = profile::parse_profile(*profile_text, profile_file, errors);
  if (!profile) return tl::unexpected(errors.front());
  if (!plan_file.empty()) {
    auto plan_text = read_text_file(plan_file);
    if (!plan_text) return tl::unexpected(plan_text.error());
    row.plan_text = std::move(*plan_text);
  }
  row.title = profile->title.empty() ? profile->kind : profile->title;
  row.unit = std::filesystem::path(csv_file).stem().string();
  row.profile_name = std::filesystem::path(profile_file).stem().string();
  row.profile_text = std::move(*profile_text);
  row.plan_name = plan_file.empty() ? "none" : std::filesystem::path(plan_file).stem().string();
  for (const profile::Point& point : profile->points) row.points.push_back(point.name);
  std::ifstream csv(csv_file, std::ios::binary);
  if (!csv) return fail(Fault::bad_data, "cannot be read", "check the path", csv_file);
  RecordingReader recording(csv, csv_file, *profile);
  std::vector<std::string> missing;
  if (const auto header = recording.read_header(missing); !header) return tl::unexpected(header.error());
  const auto inputs = [&](const std::function<void(const store::InputRow&)>& visit) -> Result<void> {
    Timestamp at{}, last{};
    std::int64_t seq = 0;
    while (true) {
      store::InputRow input;
      const auto next = recording.next(at, input.readings);
      if (!next) return tl::unexpected(next.error());
      if (!*next) return {};
      if (input.readings.empty()) continue;
      last = std::max(last, at);
      input.seq = ++seq;
      input.at = last;
      input.kind = store::input_kind_readings;
      visit(input);
    }
  };
  auto figures = record::figures_of(row, inputs, {});
  if (!figures) return figures;
  for (const std::string& name : missing) figures->doubts.push_back(fmt::format("The recording has no column for {}.", name));
  figures->doubts.emplace_back("Made from a recording, which does not say when it was made, by whom, or what anybody did meanwhile.");
  return figures;
}

int report_recording(const std::string& profile, const std::string& plan, const std::string& csv, const std::string& pdf) {
  const auto figures = figures_of_recording(profile, plan, csv);
  if (!figures) return say(figures.error());
  record::PageInput input;
  input.figures = &*figures;
  if (auto written = write_page(input, "page.pdf", {}, pdf); !written) return say(written.error());
  return exit_good;
}

}  // namespace

void add_page_commands(CLI::App& app, int& result) {
  auto words = std::make_shared<ReportWords>();
  auto* command = app.add_subcommand("report", "the pages of a run, for whoever buys the unit and for the next technician");
  command->add_option("store", words->store, "the daemon's store file")->required();
  command->add_option("run", words->run, "number of the run")->required();
  command->add_option("--pdf", words->pdf, "write all sides to this file");
  command->add_option("--paper", words->paper, "of the PDF: a4 or letter")->capture_default_str();
  command->add_option("--html", words->html, "write the same as one HTML file that needs nothing else");
  command->add_option("--png", words->png, "write pictures for a sales listing into this folder: page.png and graph.png");
  command->add_option("--pair", words->wishes.sisters, "number of the run of the pair's other half; may be said again");
  command->add_option("--shop", words->wishes.shop, "who makes the pages");
  command->callback([words, &result] { result = report(*words); });

  // The recording is judged first, as ever; its report comes after.
  auto* replay = app.get_subcommand("replay");
  auto pdf = std::make_shared<std::string>();
  replay->add_option("--report", *pdf, "write the pages of this recording as a PDF to this file");
  app.callback([replay, pdf, &result] {
    if (!replay->parsed() || pdf->empty() || (result != exit_good && result != exit_not_good)) return;
    const auto text = [&](const char* name) { return replay->get_option(name)->count() > 0 ? replay->get_option(name)->as<std::string>() : std::string{}; };
    if (const int written = report_recording(text("--profile"), text("--plan"), text("--csv"), *pdf); written != exit_good) result = written;
  });
}

}  // namespace steadyglow::app
