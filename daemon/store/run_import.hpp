#pragma once
/// A run from elsewhere, put into a store that no daemon has open: all of it or nothing.
#include <cstdint>
#include <functional>
#include <span>
#include <string>
#include <string_view>

#include "core/reading.hpp"
#include "core/result.hpp"
#include "store/file_lock.hpp"
#include "store/rows.hpp"
#include "store/writer.hpp"

namespace steadyglow::store {

/// Thread: one. Owns: the lock of the store, so that no daemon starts on it meanwhile.
class RunImport {
 public:
  /// Fails: Fault::unavailable while a daemon has the store; config when there is no store and none may be begun, or for another
  /// program's file; bad_data for a damaged one, which is left as it is.
  static Result<RunImport> open(const std::string& file, bool may_begin_store);

  /// The number that the run will have.
  std::int64_t run() const { return run_; }

  /// Rows of the run, in the order in which an engine is to be fed.
  class Rows {
   public:
    Result<void> readings(Timestamp at, std::span<const Reading> readings);
    Result<void> input(Timestamp at, std::string_view kind, std::string json) { return text(false, at, kind, std::move(json)); }
    Result<void> event(Timestamp at, std::string_view kind, std::string json) { return text(true, at, kind, std::move(json)); }

   private:
    friend class RunImport;
    Rows(const Writer::Put& put, std::int64_t run, std::int64_t seq) : put_(put), run_(run), seq_(seq) {}
    Result<void> text(bool is_event, Timestamp at, std::string_view kind, std::string json);
    const Writer::Put& put_;
    std::int64_t run_;
    std::int64_t seq_;
  };
  struct Header {
    RunRow run;  ///< its id, boot and state are set here
    std::string ended_utc;
  };
  /// `give` lays down the rows and then says what run they are. Its failure, or that of the disk, leaves the store as it was.
  Result<void> commit(const std::function<Result<Header>(Rows& rows)>& give);

 private:
  RunImport(FileLock lock, Writer writer) : lock_(std::move(lock)), writer_(std::move(writer)), run_(writer_.numbers().run + 1) {}
  FileLock lock_;
  Writer writer_;
  std::int64_t run_;
};

}  // namespace steadyglow::store
