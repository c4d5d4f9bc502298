#pragma once
/// Puts queued rows into the file, and keeps the file usable while it does.
#include <cstdint>
#include <functional>
#include <map>
#include <optional>
#include <span>
#include <string>

#include "core/result.hpp"
#include "store/queued_rows.hpp"
#include "store/sqlite.hpp"

namespace steadyglow::store {

/// Highest numbers in use.
struct Numbers {
  std::int64_t seq = 0;
  std::int64_t run = 0;
};

/// Thread: the storage thread (open: any, before it). Owns: the only writing connection.
class Writer {
 public:
  /// Opens or begins the file. A damaged one is set aside and a new one begun. A newer layout, another program's
  /// database or a text file is refused and left as it is.
  static Result<Writer> open(std::string file);

  /// All of the rows in one transaction, synced to the disk, or none. The same rows may be given again: what is there
  /// already stays. After a failure the connection is made anew where that may help.
  Result<void> commit(std::span<const Row> rows);
  /// Puts one row into the transaction that is going on.
  using Put = std::function<Result<void>(const Row& row)>;
  /// All that `give` puts in one transaction, synced to the disk, or none of it: for what no daemon watches, of any length.
  /// A failure of `give` takes everything back.
  Result<void> commit_given(const std::function<Result<void>(const Put& put)>& give);
  /// Writes the log back into the file and closes it.
  void close();

  Numbers numbers() const { return numbers_; }
  std::uint64_t wal_bytes() const;
  /// What happened to the file that a person must know; empty if nothing.
  const std::string& notice() const { return notice_; }

 private:
  struct Statements {
    Statement run, run_end, batch, input, event, journal;
  };
  struct FileId {
    std::uint64_t device = 0;
    std::uint64_t inode = 0;
    friend bool operator==(const FileId&, const FileId&) = default;
  };

  explicit Writer(std::string file) : file_(std::move(file)) {}
  Result<void> open_sound();
  Result<void> open_once();
  Result<void> check(Connection& connection);
  Result<void> prepare();
  Result<void> read_numbers();
  Result<void> set_aside(const std::string& why);
  Result<void> put_back_running_runs();
  void carry_over();
  void note_numbers(const Row& row);
  Result<void> insert(const Row& row);
  Result<void> insert_all(std::span<const Row> rows);
  std::optional<FileId> file_id() const;

  std::string file_;
  std::optional<Connection> connection_;
  std::optional<Statements> statements_;  // after the connection: finalized before it is closed
  std::optional<FileId> opened_;
  Numbers numbers_;
  std::map<std::int64_t, RunBegins> running_;  ///< so that a new file can be begun in the middle of a run
  std::string notice_;
  std::string aside_;  ///< the damaged file whose running runs are still to be carried over
};

}  // namespace steadyglow::store
