#pragma once
/// The cards of all units, and the shop's memory, as the daemon keeps them: entries in the journal, photos beside the store.
#include <boost/asio/io_context.hpp>
#include <boost/asio/thread_pool.hpp>

#include <cstdint>
#include <functional>
#include <memory>
#include <string>
#include <vector>

#include "app/run_hours.hpp"
#include "card/cards.hpp"
#include "http/server.hpp"
#include "store/rows.hpp"

namespace steadyglow::app {

inline constexpr std::size_t cards_listed_max = 200;
inline constexpr std::size_t photos_per_card_max = 100;
/// Questions that may wait for the worker; beyond, a client is told to come again.
inline constexpr std::size_t questions_waiting_max = 16;
/// How long one question may tell runs again that nobody told yet.
inline constexpr std::chrono::milliseconds telling_patience{6000};

/// Thread: loop only, its worker excepted. Owns: the worker. What is asked is answered there, from a copy of the cards and the store file.
class BenchCards {
 public:
  /// Into the journal; returns the row's number, 0 when there was no room.
  using Remember = std::function<std::int64_t(const std::string& kind, const std::string& json)>;

  BenchCards(std::string store_file, std::vector<card::ConfiguredUnit> units, boost::asio::io_context& loop, Remember remember);

  void take(const store::JournalRow& row);
  /// Once the journal was read: tells again, beside everything else, the runs whose hours nobody knows.
  void begin();
  /// Somebody signed it, once more perhaps: it is looked at again.
  void run_was_signed(std::int64_t run);
  /// No answer comes after it.
  void stop();

  /// POST .../cards/NAME/entries
  Result<nlohmann::ordered_json> add(const http::Order& order);
  /// POST .../cards/NAME/photos; `reply` on the loop.
  void add_photo(http::Photo photo, std::function<void(Result<nlohmann::ordered_json>)> reply);
  /// GET of cards, photos and memory; `reply` on the worker.
  void make(http::DocumentRequest request, std::function<void(Result<http::Document>)> reply);

  /// As of the last look at the stored runs.
  card::Cards whole() const;

 private:
  Result<std::int64_t> write(card::Entry entry);
  void learn(const RunsPass& pass);
  nlohmann::ordered_json answer_for(const std::string& card) const;
  void work(std::function<void()> job);

  const std::string store_file_;
  const std::vector<card::ConfiguredUnit> units_;
  boost::asio::io_context& loop_;
  Remember remember_;
  /// What was written, and nothing else. Shared with the worker, so never changed: a new one takes its place.
  std::shared_ptr<const card::Cards> written_ = std::make_shared<const card::Cards>();
  std::shared_ptr<card::Cards> reading_;  ///< until begin(): the journal comes row by row
  RunsKnown known_;
  std::vector<card::RunSeen> runs_;
  std::size_t waiting_ = 0;
  bool is_stopping_ = false;
  std::unique_ptr<boost::asio::thread_pool> worker_;
};

/// Photos lie in FILE.photos/, named by their SHA-256 in hexadecimal.
std::string photo_folder(const std::string& store_file);
/// "image/jpeg" or "image/png" by the first bytes; empty: neither.
std::string picture_type(std::string_view bytes);
/// Thread: any. Writes it unless it is there already; on the disk when it returns. Fails: io.
Result<std::string> keep_photo(const std::string& store_file, std::string_view bytes);
/// Thread: any. Fails: bad_data when there is none of this digest, io when it is not what it was.
Result<http::Document> read_photo(const std::string& store_file, const std::string& digest);

}  // namespace steadyglow::app
