#include "store/salvage.hpp"

#include <algorithm>
#include <vector>

#include "store/batch.hpp"
#include "store/read_rows.hpp"
#include "store/reader.hpp"

namespace steadyglow::store {
namespace {

constexpr std::size_t rows_at_once = 1000;

Row as_row(std::int64_t run, const InputRow& input) {
  if (input.kind == input_kind_readings) return BatchRow{input.seq, run, input.at, encode_batch(input.at, input.readings)};
  return TextRow{false, input.seq, run, input.at, input.kind, input.json};
}

Result<void> salvage_run(StoreReader& reader, const RunBegins& begins, const std::function<Result<void>(std::span<const Row>)>& take) {
  const std::int64_t run = begins.run.id;
  std::vector<Row> rows{begins};
  Result<void> taken;
  const auto add = [&](Row row) {
    rows.push_back(std::move(row));
    if (rows.size() < rows_at_once || !taken) return;
    taken = take(rows);
    rows.clear();
  };
  const auto read = reader.for_each_input(run, [&](const InputRow& input) { add(as_row(run, input)); });
  if (!read) return read;
  const auto events = reader.events(run);
  if (!events) return tl::unexpected(events.error());
  for (const EventRow& event : *events) add(TextRow{true, event.seq, run, event.at, event.kind, event.json});
  return taken ? take(rows) : taken;
}

}  // namespace

Result<Salvaged> salvage_running_runs(const std::string& file, const std::function<Result<void>(std::span<const Row>)>& take) {
  auto connection = Connection::open(file, Access::read_only);
  if (!connection) return tl::unexpected(connection.error());
  Salvaged salvaged;
  const auto runs = read_runs(*connection, salvaged.damage);
  if (!runs) return tl::unexpected(runs.error());
  auto reader = StoreReader::open(file);
  if (!reader) return tl::unexpected(reader.error());
  for (const RunBegins& begins : *runs) {
    salvaged.newest_run = std::max(salvaged.newest_run, begins.run.id);
    if (begins.run.state != "running") continue;
    if (auto done = salvage_run(**reader, begins, take); !done) return tl::unexpected(done.error());
  }
  // What is true of the bench holds on: a relay that was marked defective stays so.
  const auto journal = (*reader)->journal();
  if (!journal) return tl::unexpected(journal.error());
  std::vector<Row> rows(journal->begin(), journal->end());
  for (std::size_t first = 0; first < rows.size(); first += rows_at_once)
    if (auto taken = take(std::span(rows).subspan(first, std::min(rows_at_once, rows.size() - first))); !taken) return tl::unexpected(taken.error());
  salvaged.damage = (*reader)->damage();
  return salvaged;
}

}  // namespace steadyglow::store
