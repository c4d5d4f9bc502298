#include <fmt/format.h>

#include <CLI/App.hpp>
#include <CLI/Option.hpp>
#include <algorithm>
#include <fstream>
#include <iostream>
#include <map>
#include <memory>
#include <nlohmann/json.hpp>
#include <string>
#include <vector>

#include "app/commands.hpp"
#include "app/exit_code.hpp"
#include "app/more_commands.hpp"
#include "record/compare_json.hpp"
#include "record/compare_pages.hpp"
#include "record/page_input.hpp"
#include "record/run_figures.hpp"
#include "soak/verdict.hpp"
#include "store/reader.hpp"

namespace steadyglow::app {
namespace {

/// The newest good runs of a model that are looked at: each is told again, about a second for a night.
constexpr std::size_t model_runs_max = 40;

struct CompareWords {
  std::string store;
  std::int64_t earlier = 0;
  std::int64_t later = 0;
  bool is_model = false;
  bool is_json = false;
  std::string pdf;
};

Result<record::RunFigures> figures(store::StoreReader& reader, std::int64_t run) {
  const auto row = reader.run(run);
  if (!row) return tl::unexpected(row.error());
  if (!*row) return fail(Fault::bad_data, fmt::format("there is no run {}", run), "the runs of the store are numbered from 1");
  const auto events = reader.events(run);
  if (!events) return tl::unexpected(events.error());
  return record::figures_of(**row, [&](const auto& visit) { return reader.for_each_input(run, visit); }, *events);
}

/// A run that says how a good unit of the model is: over, not cut, and passed.
bool is_good(const record::RunFigures& run) {
  if (run.is_tripped) return false;
  const std::string word = run.signature ? run.signature->word : run.verdict ? std::string(soak::to_word(run.verdict->word)) : std::string();
  return word.starts_with("pass");
}

/// The newest good run of each other unit of the same model: same maker and model as plated, same profile.
Result<std::vector<record::RunFigures>> good_runs_like(store::StoreReader& reader, const store::RunRow& of) {
  const auto rows = reader.runs();
  if (!rows) return tl::unexpected(rows.error());
  std::map<std::string, bool> seen;
  std::vector<record::RunFigures> good;
  for (auto row = rows->rbegin(); row != rows->rend() && good.size() < model_runs_max; ++row) {
    const std::string unit = row->serial.empty() ? row->unit : row->serial;
    if (row->id == of.id || row->state != "ended" || row->title != of.title || row->profile_name != of.profile_name || seen[unit]) continue;
    auto run = figures(reader, row->id);
    if (!run) return tl::unexpected(run.error());
    if (!is_good(*run)) continue;
    seen[unit] = true;
    good.push_back(std::move(*run));
  }
  return good;
}

int write_pdf(const std::string& file, const record::Pages& pages) {
  const auto bytes = record::pages_pdf(pages, record::PaperSize::a4);
  if (!bytes) return say(bytes.error());
  std::ofstream out(file, std::ios::binary);
  out.write(bytes->data(), static_cast<std::streamsize>(bytes->size()));
  out.close();
  return out ? exit_good : say({Fault::cannot_create, "could not be written to its end", "check the folder and the room on the disk", file});
}

template <class Made>
int show(const Made& made, const CompareWords& words) {
  if (words.is_json) std::cout << record::to_json(made).dump(-1, ' ', false, nlohmann::ordered_json::error_handler_t::replace) << '\n';
  else {
    for (const std::string& sentence : made.sentences) fmt::print("{}\n", sentence);
    fmt::print("\n");
    for (const auto& point : made.points) fmt::print("{:<14} {}\n", to_word(point.standing), point.sentence);
    for (const std::string& remark : made.remarks) fmt::print("note: {}\n", remark);
  }
  if (!words.pdf.empty())
    if (const int written = write_pdf(words.pdf, record::comparison_pages(made)); written != exit_good) return written;
  const bool is_any_beyond = std::any_of(made.points.begin(), made.points.end(), [](const auto& point) { return point.standing != record::Standing::inside; });
  return is_any_beyond ? exit_not_good : exit_good;
}

int compare_runs(const CompareWords& words) {
  if (words.is_model == (words.later != 0)) return say({Fault::usage, "name a second run, or say --model", "steadyglow compare STORE EARLIER LATER, or: steadyglow compare STORE RUN --model", ""});
  auto reader = store::StoreReader::open(words.store);
  if (!reader) return say(reader.error());
  const auto first = figures(**reader, words.earlier);
  if (!first) return say(first.error());
  if (words.is_model) {
    const auto good = good_runs_like(**reader, first->run);
    if (!good) return say(good.error());
    if (good->empty()) return say({Fault::bad_data, fmt::format("there is no good run of another {} to compare with", first->run.title), "a run counts once it has passed; its title and profile must be the same", words.store});
    std::vector<const record::RunFigures*> others;
    for (const record::RunFigures& run : *good) others.push_back(&run);
    return show(record::compare_with_model(others, *first), words);
  }
  const auto second = figures(**reader, words.later);
  if (!second) return say(second.error());
  return show(record::compare(*first, *second), words);
}

}  // namespace

void add_compare_commands(CLI::App& app, int& result) {
  auto words = std::make_shared<CompareWords>();
  auto* compare = app.add_subcommand("compare", "two runs side by side at equal mains; exit 1: something is beyond its uncertainty");
  compare->add_option("store", words->store, "the daemon's store file")->required();
  compare->add_option("earlier", words->earlier, "number of the earlier run; with --model: of the run to look at")->required();
  compare->add_option("later", words->later, "number of the later run");
  compare->add_flag("--model", words->is_model, "against the earlier good runs of other units of its model");
  compare->add_flag("--json", words->is_json, "as one JSON object");
  compare->add_option("--pdf", words->pdf, "write it as pages");
  compare->callback([words, &result] { result = compare_runs(*words); });
}

}  // namespace steadyglow::app
