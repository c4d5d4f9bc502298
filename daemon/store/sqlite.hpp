#pragma once
/// SQLite as values: a connection that closes itself, a statement, and errors with a hint.
#include <cstdint>
#include <functional>
#include <memory>
#include <string>
#include <string_view>

#include "core/result.hpp"

struct sqlite3;
struct sqlite3_stmt;

namespace steadyglow::store {

/// Thread: the one of its connection. Parameters are bound in order, from the left; what is bound must live until reset().
class Statement {
 public:
  Statement& bind(std::int64_t value);
  Statement& bind(std::string_view text);
  Statement& bind_blob(std::string_view bytes);
  /// True: there is a row. False: done.
  Result<bool> step();
  /// Ends the read it belongs to, and forgets its parameters.
  void reset();

  std::int64_t number(int column) const;
  /// Text or blob; good until the next step or reset.
  std::string_view bytes(int column) const;

 private:
  friend class Connection;
  struct Finalize {
    void operator()(sqlite3_stmt* statement) const;
  };
  std::unique_ptr<sqlite3_stmt, Finalize> handle_;
  int bound_ = 0;
};

enum class Access { write, read_only };

/// Thread: one at a time. Fails: Fault::bad_data if and only if the file is damaged; io, permission, unavailable (locked)
/// or cannot_create otherwise; never throws.
class Connection {
 public:
  /// Opens (with Access::write: creates) the file. A connection never checkpoints by closing unless asked to.
  static Result<Connection> open(const std::string& file, Access access);

  /// Runs statements that give no rows.
  Result<void> run(const std::string& sql);
  Result<Statement> prepare(const char* sql);
  /// First column of the first row; 0 without a row.
  Result<std::int64_t> number(const char* sql);
  Result<std::string> text(const char* sql);
  /// A copy of the whole database in a file of its own, synced, complete or not there at all. All of it is of one moment,
  /// whoever writes meanwhile. `progress` hears the share that is done.
  Result<void> back_up_to(const std::string& copy, const std::function<void(double share)>& progress = {});
  std::string file() const;
  bool is_in_transaction() const;
  /// The last failure was a full disk or a lock: the connection itself is sound.
  bool is_sound() const;
  /// Checkpoints when it is closed.
  void checkpoint_on_close();
  sqlite3* handle() const { return handle_.get(); }

 private:
  Result<void> copy_pages_to(const std::string& file, const std::function<void(double share)>& progress);
  struct Close {
    void operator()(sqlite3* connection) const;
  };
  std::unique_ptr<sqlite3, Close> handle_;
};

}  // namespace steadyglow::store
