#include "store/read_rows.hpp"

#include <nlohmann/json.hpp>

#include "store/row_crc.hpp"

namespace steadyglow::store {
namespace {

std::optional<RunBegins> decode(const Statement& row) {
  RunBegins begins;
  RunRow& run = begins.run;
  int column = 0;
  const auto number = [&] { return row.number(column++); };
  const auto text = [&] { return std::string(row.bytes(column++)); };
  run.id = number();
  begins.first_seq = number();
  for (std::string* field : {&run.unit, &run.title, &run.serial, &run.profile_name, &run.profile_text, &run.plan_name, &run.plan_text, &run.started_utc, &run.boot_id})
    *field = text();
  run.started_boottime_ms = number();
  run.started_by = text();
  const std::string points = text();
  const std::uint32_t crc = row_crc("run", run.id, begins.first_seq, run.unit, run.title, run.serial, run.profile_name, run.profile_text, run.plan_name,
                                    run.plan_text, run.started_utc, run.boot_id, run.started_boottime_ms, run.started_by, points);
  if (number() != std::int64_t{crc}) return std::nullopt;
  const nlohmann::json names = nlohmann::json::parse(points, nullptr, false);
  if (!names.is_array()) return std::nullopt;
  for (const auto& name : names) {
    if (!name.is_string()) return std::nullopt;
    run.points.push_back(name.get<std::string>());
  }
  return begins;
}

Result<void> read_ends(Connection& connection, std::vector<RunBegins>& runs, Damage& damage) {
  auto ends = connection.prepare("SELECT run, last_seq, ended_utc, crc32 FROM run_end ORDER BY run");
  if (!ends) return tl::unexpected(ends.error());
  auto run = runs.begin();
  while (true) {
    const auto row = ends->step();
    if (!row) return tl::unexpected(row.error());
    if (!*row) return {};
    const std::int64_t id = ends->number(0);
    const std::string ended_utc(ends->bytes(2));
    if (ends->number(3) != std::int64_t{row_crc("run_end", id, ends->number(1), ended_utc)}) {
      tell(damage, "the end of run " + std::to_string(id) + " is damaged: it counts as still running");
      continue;
    }
    while (run != runs.end() && run->run.id < id) ++run;
    if (run == runs.end() || run->run.id != id) continue;
    run->run.state = "ended";
    run->run.ended_utc = ended_utc;
  }
}

}  // namespace

void tell(Damage& damage, std::string sentence) {
  ++damage.rows;
  if (damage.told.size() < Damage::told_max) damage.told.push_back(std::move(sentence));
}

Result<std::vector<RunBegins>> read_runs(Connection& connection, Damage& damage) {
  auto select = connection.prepare(
      "SELECT id, first_seq, unit, title, serial, profile_name, profile_text, plan_name, plan_text, started_utc, boot_id, started_boottime_ms,"
      " started_by, points, crc32 FROM run ORDER BY id");
  if (!select) return tl::unexpected(select.error());
  std::vector<RunBegins> runs;
  while (true) {
    const auto row = select->step();
    if (!row) return tl::unexpected(row.error());
    if (!*row) break;
    if (auto run = decode(*select)) runs.push_back(std::move(*run));
    else tell(damage, "run " + std::to_string(select->number(0)) + " is damaged and was left out");
  }
  if (auto ends = read_ends(connection, runs, damage); !ends) return tl::unexpected(ends.error());
  return runs;
}

}  // namespace steadyglow::store
