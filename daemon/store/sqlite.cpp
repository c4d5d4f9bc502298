#include "store/sqlite.hpp"

#include <sqlite3.h>

#include <algorithm>
#include <cstdio>

namespace steadyglow::store {
namespace {

/// Only the writer's own checkpoints and a reader that recovers a log hold locks, and briefly.
constexpr int busy_timeout_ms = 2000;
/// Between two words of progress: 4 MB of our pages.
constexpr int backup_pages_per_step = 4096;

Fault fault_of(int code) {
  switch (code & 0xFF) {
    case SQLITE_CORRUPT:
    case SQLITE_NOTADB: return Fault::bad_data;
    case SQLITE_PERM:
    case SQLITE_AUTH:
    case SQLITE_READONLY: return Fault::permission;
    case SQLITE_BUSY:
    case SQLITE_LOCKED:
    case SQLITE_INTERRUPT: return Fault::unavailable;
    case SQLITE_CANTOPEN: return Fault::cannot_create;
    default: return Fault::io;
  }
}

const char* hint_of(int code) {
  switch (code & 0xFF) {
    case SQLITE_FULL: return "free space on this disk; the daemon tries again by itself";
    case SQLITE_IOERR: return "look at the disk or card (journalctl -k)";
    case SQLITE_READONLY:
    case SQLITE_PERM: return "give the daemon's account the right to write the file and its folder";
    case SQLITE_CANTOPEN: return "does the folder exist, and may this account write in it? (a reader needs that too)";
    case SQLITE_BUSY: return "another program has the file locked; close it";
    case SQLITE_CORRUPT:
    case SQLITE_NOTADB: return "keep the file for salvage; look at the disk or card";
    default: return "";
  }
}

tl::unexpected<Error> failure(sqlite3* connection) {
  const char* file = sqlite3_db_filename(connection, "main");
  const int code = sqlite3_extended_errcode(connection);
  return fail(fault_of(code), sqlite3_errmsg(connection), hint_of(code), file == nullptr ? "" : file);
}

}  // namespace

void Statement::Finalize::operator()(sqlite3_stmt* statement) const { sqlite3_finalize(statement); }
void Connection::Close::operator()(sqlite3* connection) const { sqlite3_close_v2(connection); }

Statement& Statement::bind(std::int64_t value) {
  sqlite3_bind_int64(handle_.get(), ++bound_, value);
  return *this;
}

Statement& Statement::bind(std::string_view text) {
  // An empty view may have no address, which SQLite would take for NULL.
  sqlite3_bind_text64(handle_.get(), ++bound_, text.empty() ? "" : text.data(), text.size(), SQLITE_STATIC, SQLITE_UTF8);
  return *this;
}

Statement& Statement::bind_blob(std::string_view bytes) {
  sqlite3_bind_blob64(handle_.get(), ++bound_, bytes.empty() ? "" : bytes.data(), bytes.size(), SQLITE_STATIC);
  return *this;
}

Result<bool> Statement::step() {
  const int code = sqlite3_step(handle_.get());
  if (code == SQLITE_ROW) return true;
  if (code == SQLITE_DONE) return false;
  return failure(sqlite3_db_handle(handle_.get()));
}

void Statement::reset() {
  sqlite3_reset(handle_.get());
  sqlite3_clear_bindings(handle_.get());
  bound_ = 0;
}

std::int64_t Statement::number(int column) const { return sqlite3_column_int64(handle_.get(), column); }

std::string_view Statement::bytes(int column) const {
  const void* data = sqlite3_column_blob(handle_.get(), column);
  const int size = sqlite3_column_bytes(handle_.get(), column);
  return data == nullptr ? std::string_view{} : std::string_view(static_cast<const char*>(data), static_cast<std::size_t>(size));
}

Result<Connection> Connection::open(const std::string& file, Access access) {
  sqlite3* handle = nullptr;
  const int flags = access == Access::write ? SQLITE_OPEN_READWRITE | SQLITE_OPEN_CREATE : SQLITE_OPEN_READONLY;
  const int code = sqlite3_open_v2(file.c_str(), &handle, flags | SQLITE_OPEN_NOMUTEX | SQLITE_OPEN_EXRESCODE, nullptr);
  Connection connection;
  connection.handle_.reset(handle);
  if (handle == nullptr) return fail(Fault::io, "out of memory", "", file);
  if (code != SQLITE_OK) return fail(fault_of(code), sqlite3_errmsg(handle), hint_of(code), file);
  sqlite3_busy_timeout(handle, busy_timeout_ms);
  sqlite3_db_config(handle, SQLITE_DBCONFIG_NO_CKPT_ON_CLOSE, 1, nullptr);
  // A damaged file may hold a schema made to do harm; ours has no functions, triggers or views.
  sqlite3_db_config(handle, SQLITE_DBCONFIG_DEFENSIVE, 1, nullptr);
  sqlite3_db_config(handle, SQLITE_DBCONFIG_TRUSTED_SCHEMA, 0, nullptr);
  return connection;
}

Result<void> Connection::run(const std::string& sql) {
  if (sqlite3_exec(handle_.get(), sql.c_str(), nullptr, nullptr, nullptr) != SQLITE_OK) return failure(handle_.get());
  return {};
}

Result<Statement> Connection::prepare(const char* sql) {
  sqlite3_stmt* handle = nullptr;
  if (sqlite3_prepare_v2(handle_.get(), sql, -1, &handle, nullptr) != SQLITE_OK) return failure(handle_.get());
  Statement statement;
  statement.handle_.reset(handle);
  return statement;
}

Result<std::int64_t> Connection::number(const char* sql) {
  auto statement = prepare(sql);
  if (!statement) return tl::unexpected(statement.error());
  const auto row = statement->step();
  if (!row) return tl::unexpected(row.error());
  return *row ? statement->number(0) : 0;
}

Result<std::string> Connection::text(const char* sql) {
  auto statement = prepare(sql);
  if (!statement) return tl::unexpected(statement.error());
  const auto row = statement->step();
  if (!row) return tl::unexpected(row.error());
  return *row ? std::string(statement->bytes(0)) : std::string();
}

Result<void> Connection::back_up_to(const std::string& copy, const std::function<void(double share)>& progress) {
  const std::string unfinished = copy + ".unfinished";
  std::remove(unfinished.c_str());
  // One read from beginning to end: without it the copy would begin anew with every commit of the writer.
  const bool is_inside = is_in_transaction();
  if (!is_inside)
    if (auto begun = run("BEGIN; SELECT count(*) FROM sqlite_schema"); !begun) return begun;
  auto copied = copy_pages_to(unfinished, progress);
  if (!is_inside && is_in_transaction()) (void)run("COMMIT");
  if (copied && std::rename(unfinished.c_str(), copy.c_str()) != 0)
    copied = fail(Fault::cannot_create, "the copy could not be given its name", "may this account write in the folder?", copy);
  if (!copied) std::remove(unfinished.c_str());
  return copied;
}

Result<void> Connection::copy_pages_to(const std::string& file, const std::function<void(double share)>& progress) {
  auto target = open(file, Access::write);
  if (!target) return tl::unexpected(target.error());
  sqlite3_backup* backup = sqlite3_backup_init(target->handle(), "main", handle_.get(), "main");
  if (backup == nullptr) return failure(target->handle());
  while (sqlite3_backup_step(backup, backup_pages_per_step) == SQLITE_OK)
    if (progress) progress(1.0 - static_cast<double>(sqlite3_backup_remaining(backup)) / std::max(1, sqlite3_backup_pagecount(backup)));
  if (sqlite3_backup_finish(backup) != SQLITE_OK) return failure(target->handle());
  // A copy that stands alone: one file, no log beside it.
  return target->run("PRAGMA journal_mode=DELETE");
}

std::string Connection::file() const {
  const char* file = sqlite3_db_filename(handle_.get(), "main");
  return file == nullptr ? "" : file;
}

bool Connection::is_in_transaction() const { return sqlite3_get_autocommit(handle_.get()) == 0; }

bool Connection::is_sound() const {
  const int code = sqlite3_errcode(handle_.get()) & 0xFF;
  return code == SQLITE_FULL || code == SQLITE_BUSY || code == SQLITE_LOCKED;
}

void Connection::checkpoint_on_close() { sqlite3_db_config(handle_.get(), SQLITE_DBCONFIG_NO_CKPT_ON_CLOSE, 0, nullptr); }

}  // namespace steadyglow::store
