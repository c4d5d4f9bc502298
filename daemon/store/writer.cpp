#include "store/writer.hpp"

#include <sqlite3.h>
#include <sys/stat.h>

#include <algorithm>
#include <chrono>
#include <cstdio>
#include <ctime>
#include <filesystem>
#include <fstream>
#include <nlohmann/json.hpp>
#include <utility>

#include "store/read_rows.hpp"
#include "store/row_crc.hpp"
#include "store/salvage.hpp"
#include "store/schema.hpp"

namespace steadyglow::store {
namespace {

/// A large file is not read whole at every start: the check looks as far as it gets in this time.
constexpr std::chrono::milliseconds check_time_max{2000};
constexpr int progress_every_instructions = 1000;
/// Each commit writes whole pages, mostly one that is nearly the same as before: small ones write a third less to flash
/// (tests/store/flash_writes.cpp measures it).
constexpr int page_bytes = 1024;
/// The log is written back into the file from this size on, and then cut to it.
constexpr int wal_bytes_kept = 4 * 1024 * 1024;
constexpr int checkpoint_pages = wal_bytes_kept / page_bytes;

using Clock = std::chrono::steady_clock;

int is_past(void* deadline) { return Clock::now() > *static_cast<Clock::time_point*>(deadline) ? 1 : 0; }

std::string utc_for_name() {
  const std::time_t now = std::time(nullptr);
  std::tm utc{};
  gmtime_r(&now, &utc);
  char text[32];
  return {text, std::strftime(text, sizeof text, "%Y%m%dT%H%M%SZ", &utc)};
}

/// Somebody pointed the store at a configuration file, say: that is no damaged database.
bool looks_like_text(const std::string& file) {
  std::ifstream in(file, std::ios::binary);
  char head[512];
  in.read(head, sizeof head);
  const auto size = in.gcount();
  std::streamsize ascii = 0;
  for (std::streamsize i = 0; i < size; ++i) {
    const auto c = static_cast<unsigned char>(head[i]);
    if (c < ' ' && c != '\n' && c != '\r' && c != '\t') return false;
    ascii += c < 0x80 ? 1 : 0;
  }
  return size > 0 && ascii >= size / 2;
}

}  // namespace

Result<Writer> Writer::open(std::string file) {
  Writer writer(std::move(file));
  if (auto opened = writer.open_sound(); !opened) return tl::unexpected(opened.error());
  return writer;
}

Result<void> Writer::open_sound() {
  auto opened = open_once();
  if (!opened && opened.error().fault == Fault::bad_data) {
    if (looks_like_text(file_)) return fail(Fault::config, "this is a text file, not a store", "check the name of the store", file_);
    if (auto aside = set_aside(opened.error().message); !aside) return aside;
    opened = open_once();
  }
  if (!opened) {
    statements_.reset();
    connection_.reset();
    return opened;
  }
  if (!aside_.empty()) carry_over();
  return opened;
}

void Writer::carry_over() {
  const std::string aside = std::exchange(aside_, {});
  std::uint64_t rows = 0;
  const auto carried = salvage_running_runs(aside, [&](std::span<const Row> some) -> Result<void> {
    auto inserted = insert_all(some);
    if (!inserted && connection_->is_in_transaction()) (void)connection_->run("ROLLBACK");
    if (!inserted) return inserted;
    rows += some.size();
    for (const Row& row : some) {
      note_numbers(row);
      if (const auto* begins = std::get_if<RunBegins>(&row)) running_.insert_or_assign(begins->run.id, *begins);
    }
    return {};
  });
  if (carried) numbers_.run = std::max(numbers_.run, carried->newest_run);
  notice_ += "; " + std::to_string(rows) + " rows of the runs that were going on were carried over";
  if (!carried) notice_ += ", then it could not be read further: " + carried.error().message;
  else if (carried->damage.rows > 0) notice_ += ", some were lost: " + carried->damage.told.front();
}

Result<void> Writer::open_once() {
  statements_.reset();
  connection_.reset();
  auto connection = Connection::open(file_, Access::write);
  if (!connection) return tl::unexpected(connection.error());
  const auto now = standing(*connection, schema_version());
  if (!now) return tl::unexpected(now.error());
  if (*now != Standing::fresh)
    if (auto checked = check(*connection); !checked) return checked;
  if (*now == Standing::fresh)
    if (auto set = connection->run("PRAGMA page_size = " + std::to_string(page_bytes)); !set) return set;
  const auto mode = connection->text("PRAGMA journal_mode = WAL");
  if (!mode) return tl::unexpected(mode.error());
  if (*mode != "wal") return fail(Fault::config, "this file system cannot keep a write-ahead log", "use a local disk, not a network share", file_);
  const std::string settings = "PRAGMA synchronous = FULL; PRAGMA wal_autocheckpoint = " + std::to_string(checkpoint_pages) +
                               "; PRAGMA journal_size_limit = " + std::to_string(wal_bytes_kept) + "; PRAGMA cell_size_check = ON";
  if (auto set = connection->run(settings); !set) return set;
  if (auto migrated = migrate(*connection, file_, migrations()); !migrated) return migrated;
  connection_ = std::move(*connection);
  opened_ = file_id();
  if (auto prepared = prepare(); !prepared) return prepared;
  if (auto read = read_numbers(); !read) return read;
  return put_back_running_runs();
}

Result<void> Writer::check(Connection& connection) {
  auto deadline = Clock::now() + check_time_max;
  sqlite3_progress_handler(connection.handle(), progress_every_instructions, is_past, &deadline);
  const auto found = connection.text("PRAGMA quick_check(1)");
  sqlite3_progress_handler(connection.handle(), 0, nullptr, nullptr);
  if (!found && found.error().fault == Fault::unavailable) return {};  // as far as it got
  if (!found) return tl::unexpected(found.error());
  if (*found != "ok") return fail(Fault::bad_data, *found, "", file_);
  return {};
}

Result<void> Writer::prepare() {
  // Only a number that is there already may be passed over; every other trouble must be heard.
  const auto prepared = [this](const char* sql, Statement& into) -> Result<void> {
    auto statement = connection_->prepare(sql);
    if (!statement) return tl::unexpected(statement.error());
    into = std::move(*statement);
    return {};
  };
  Statements all;
  auto done = prepared("INSERT INTO run VALUES (?,?,?,?,?,?,?,?,?,?,?,?,?,?,?) ON CONFLICT (id) DO NOTHING", all.run);
  if (done) done = prepared("INSERT INTO run_end VALUES (?,?,?,?) ON CONFLICT (run) DO NOTHING", all.run_end);
  if (done) done = prepared("INSERT INTO reading_batch VALUES (?,?,?,?,?) ON CONFLICT (seq) DO NOTHING", all.batch);
  if (done) done = prepared("INSERT INTO input VALUES (?,?,?,?,?,?) ON CONFLICT (seq) DO NOTHING", all.input);
  if (done) done = prepared("INSERT INTO event VALUES (?,?,?,?,?,?) ON CONFLICT (seq) DO NOTHING", all.event);
  if (done) done = prepared("INSERT INTO journal VALUES (?,?,?,?,?) ON CONFLICT (seq) DO NOTHING", all.journal);
  if (done) statements_ = std::move(all);
  return done;
}

Result<void> Writer::read_numbers() {
  const auto seq = connection_->number(
      "SELECT max(coalesce((SELECT max(seq) FROM reading_batch), 0), coalesce((SELECT max(seq) FROM input), 0),"
      " coalesce((SELECT max(seq) FROM event), 0), coalesce((SELECT max(seq) FROM journal), 0), coalesce((SELECT max(first_seq) FROM run), 0), coalesce((SELECT max(last_seq) FROM run_end), 0))");
  if (!seq) return tl::unexpected(seq.error());
  const auto run = connection_->number("SELECT max(coalesce((SELECT max(id) FROM run), 0), coalesce((SELECT max(run) FROM run_end), 0))");
  if (!run) return tl::unexpected(run.error());
  const bool is_first_open = numbers_.seq == 0 && numbers_.run == 0;
  if (!is_first_open && (*seq > numbers_.seq || *run > numbers_.run))
    return fail(Fault::config, "the file was replaced by another store while the daemon ran", "stop the daemon before a store is put in place", file_);
  numbers_.seq = std::max(numbers_.seq, *seq);
  numbers_.run = std::max(numbers_.run, *run);
  if (!is_first_open) return {};
  Damage damage;
  auto runs = read_runs(*connection_, damage);
  if (!runs) return tl::unexpected(runs.error());
  for (RunBegins& begins : *runs)
    if (begins.run.state == "running") running_.insert_or_assign(begins.run.id, std::move(begins));
  return {};
}

Result<void> Writer::set_aside(const std::string& why) {
  statements_.reset();
  connection_.reset();
  std::string aside = file_ + ".damaged-" + utc_for_name();
  for (int again = 2; std::filesystem::exists(aside); ++again) aside = file_ + ".damaged-" + utc_for_name() + "-" + std::to_string(again);
  if (std::rename(file_.c_str(), aside.c_str()) != 0)
    return fail(Fault::permission, "the store is damaged (" + why + ") and could not be set aside", "may this account write in the folder?", file_);
  // The log belongs to it and holds its newest rows; the shared memory is made anew by whoever opens it.
  std::rename((file_ + "-wal").c_str(), (aside + "-wal").c_str());
  std::remove((file_ + "-shm").c_str());
  aside_ = aside;
  notice_ = "the store was damaged (" + why + "); it was kept as " + aside + " and a new one was begun";
  return {};
}

Result<void> Writer::put_back_running_runs() {
  for (const auto& [id, begins] : running_)
    if (auto put = insert(begins); !put) return put;
  return {};
}

std::optional<Writer::FileId> Writer::file_id() const {
  struct stat found {};
  if (::stat(file_.c_str(), &found) != 0) return std::nullopt;
  return FileId{static_cast<std::uint64_t>(found.st_dev), static_cast<std::uint64_t>(found.st_ino)};
}

std::uint64_t Writer::wal_bytes() const {
  struct stat found {};
  return ::stat((file_ + "-wal").c_str(), &found) == 0 ? static_cast<std::uint64_t>(found.st_size) : 0;
}

Result<void> Writer::insert(const Row& row) {
  struct Inserter {
    Statements& to;
    Result<void> done(Statement& statement) const {
      const auto stepped = statement.step();
      Result<void> result;
      if (!stepped) result = tl::unexpected(stepped.error());
      statement.reset();
      return result;
    }
    Result<void> operator()(const RunBegins& begins) const {
      const RunRow& r = begins.run;
      const std::string points = nlohmann::json(r.points).dump();
      const std::uint32_t crc = row_crc("run", r.id, begins.first_seq, r.unit, r.title, r.serial, r.profile_name, r.profile_text, r.plan_name,
                                        r.plan_text, r.started_utc, r.boot_id, r.started_boottime_ms, r.started_by, points);
      to.run.bind(r.id).bind(begins.first_seq).bind(r.unit).bind(r.title).bind(r.serial).bind(r.profile_name).bind(r.profile_text);
      to.run.bind(r.plan_name).bind(r.plan_text).bind(r.started_utc).bind(r.boot_id).bind(r.started_boottime_ms).bind(r.started_by);
      to.run.bind(points).bind(std::int64_t{crc});
      return done(to.run);
    }
    Result<void> operator()(const RunEnds& r) const {
      to.run_end.bind(r.run).bind(r.last_seq).bind(r.ended_utc).bind(std::int64_t{row_crc("run_end", r.run, r.last_seq, r.ended_utc)});
      return done(to.run_end);
    }
    Result<void> operator()(const BatchRow& r) const {
      to.batch.bind(r.seq).bind(r.run).bind(ms_of(r.at)).bind_blob(r.readings);
      to.batch.bind(std::int64_t{row_crc("reading_batch", r.seq, r.run, ms_of(r.at), r.readings)});
      return done(to.batch);
    }
    Result<void> operator()(const TextRow& r) const {
      Statement& into = r.is_event ? to.event : to.input;
      into.bind(r.seq).bind(r.run).bind(ms_of(r.at)).bind(r.kind).bind(r.json);
      into.bind(std::int64_t{row_crc(r.is_event ? "event" : "input", r.seq, r.run, ms_of(r.at), r.kind, r.json)});
      return done(into);
    }
    Result<void> operator()(const JournalRow& r) const {
      to.journal.bind(r.seq).bind(r.utc_ms).bind(r.kind).bind(r.json);
      to.journal.bind(std::int64_t{row_crc("journal", r.seq, r.utc_ms, r.kind, r.json)});
      return done(to.journal);
    }
  };
  return std::visit(Inserter{*statements_}, row);
}

Result<void> Writer::insert_all(std::span<const Row> rows) {
  if (auto begun = connection_->run("BEGIN IMMEDIATE"); !begun) return begun;
  for (const Row& row : rows)
    if (auto inserted = insert(row); !inserted) return inserted;
  return connection_->run("COMMIT");
}

void Writer::note_numbers(const Row& row) {
  if (const auto* begins = std::get_if<RunBegins>(&row)) {
    numbers_.seq = std::max(numbers_.seq, begins->first_seq);
    numbers_.run = std::max(numbers_.run, begins->run.id);
  }
  if (const auto* batch = std::get_if<BatchRow>(&row)) numbers_.seq = std::max(numbers_.seq, batch->seq);
  if (const auto* text = std::get_if<TextRow>(&row)) numbers_.seq = std::max(numbers_.seq, text->seq);
  if (const auto* journal = std::get_if<JournalRow>(&row)) numbers_.seq = std::max(numbers_.seq, journal->seq);
}

Result<void> Writer::commit(std::span<const Row> rows) {
  for (const Row& row : rows) {
    if (const auto* begins = std::get_if<RunBegins>(&row)) running_.insert_or_assign(begins->run.id, *begins);
    note_numbers(row);
  }
  if (connection_ && file_id() != opened_) {
    notice_ = "the store file was removed or replaced while the daemon ran; a new one was begun, earlier readings are not in it";
    connection_.reset();
  }
  if (!connection_)
    if (auto opened = open_sound(); !opened) return opened;
  auto done = insert_all(rows);
  if (!done) {
    const bool is_sound = connection_->is_sound();
    if (connection_->is_in_transaction()) (void)connection_->run("ROLLBACK");
    if (done.error().fault == Fault::bad_data) (void)set_aside(done.error().message);
    if (!is_sound) {
      statements_.reset();
      connection_.reset();
    }
    return done;
  }
  for (const Row& row : rows)
    if (const auto* ends = std::get_if<RunEnds>(&row)) running_.erase(ends->run);
  return {};
}

Result<void> Writer::commit_given(const std::function<Result<void>(const Put& put)>& give) {
  auto done = connection_->run("BEGIN IMMEDIATE");
  if (!done) return done;
  done = give([this](const Row& row) {
    note_numbers(row);
    return insert(row);
  });
  if (done) done = connection_->run("COMMIT");
  if (!done && connection_->is_in_transaction()) (void)connection_->run("ROLLBACK");
  return done;
}

void Writer::close() {
  statements_.reset();
  if (connection_) connection_->checkpoint_on_close();
  connection_.reset();
}

}  // namespace steadyglow::store
