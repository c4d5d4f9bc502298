#include "store/run_import.hpp"

#include <filesystem>
#include <utility>

#include "store/batch.hpp"
#include "store/reader.hpp"

namespace steadyglow::store {

Result<RunImport> RunImport::open(const std::string& file, bool may_begin_store) {
  std::error_code code;
  if (!std::filesystem::exists(file, code) && !may_begin_store)
    return fail(Fault::config, "there is no store of this name", "is it the file that the daemon's configuration names? a new one is begun only when that is asked for", file);
  auto lock = FileLock::take(file + ".lock");
  if (!lock) {
    if (lock.error().fault == Fault::unavailable) lock.error().hint = "a daemon writes into it: stop the daemon for as long as this takes, or use a store of its own";
    return tl::unexpected(lock.error());
  }
  // The writer sets a damaged file aside, as a daemon must; here nothing is to be moved.
  if (std::filesystem::exists(file, code))
    if (const auto readable = StoreReader::open(file); !readable) return tl::unexpected(readable.error());
  auto writer = Writer::open(file);
  if (!writer) return tl::unexpected(writer.error());
  return RunImport(std::move(*lock), std::move(*writer));
}

Result<void> RunImport::Rows::readings(Timestamp at, std::span<const Reading> readings) { return put_(BatchRow{seq_++, run_, at, encode_batch(at, readings)}); }

Result<void> RunImport::Rows::text(bool is_event, Timestamp at, std::string_view kind, std::string json) {
  return put_(TextRow{is_event, seq_++, run_, at, std::string(kind), std::move(json)});
}

Result<void> RunImport::commit(const std::function<Result<Header>(Rows& rows)>& give) {
  const std::int64_t first_seq = writer_.numbers().seq + 1;
  auto done = writer_.commit_given([&](const Writer::Put& put) -> Result<void> {
    Rows rows(put, run_, first_seq);
    auto header = give(rows);
    if (!header) return tl::unexpected(header.error());
    header->run.id = run_;
    header->run.boot_id = boot_id_imported;
    header->run.started_boottime_ms = 0;
    if (auto begun = put(RunBegins{first_seq, std::move(header->run)}); !begun) return begun;
    return put(RunEnds{run_, rows.seq_ - 1, std::move(header->ended_utc)});
  });
  if (done) writer_.close();
  return done;
}

}  // namespace steadyglow::store
