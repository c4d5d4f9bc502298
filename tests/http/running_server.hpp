#pragma once
/// A server on a free loopback port, with a loop of its own and a backend that remembers what it was asked.
#include <boost/asio/executor_work_guard.hpp>
#include <boost/asio/io_context.hpp>
#include <boost/asio/post.hpp>
#include <gtest/gtest.h>

#include <atomic>
#include <functional>
#include <future>
#include <memory>
#include <nlohmann/json.hpp>
#include <string>
#include <thread>
#include <utility>

#include "http/raw_client.hpp"
#include "http/sample_bench.hpp"
#include "http/json.hpp"
#include "http/server.hpp"

namespace steadyglow::http {

struct SampleAsset {
  std::string_view path, content_type, body, etag;
};
inline constexpr SampleAsset sample_page{"/", "text/html; charset=utf-8", "<!doctype html><title>bench</title>", "\"one\""};

class RunningServer {
 public:
  explicit RunningServer(ServerOptions options = {}) : work_(loop_.get_executor()) {
    auto server = Server::open(loop_, std::move(options), backend());
    EXPECT_TRUE(server.has_value()) << server.error().text();
    server_ = std::move(*server);
    port_ = server_->port();
    thread_ = std::thread([this] { loop_.run(); });
  }
  /// Runs on the loop and waits for it.
  template <class Work>
  auto on_loop(Work work) {
    std::packaged_task<decltype(work())()> task(std::move(work));
    auto done = task.get_future();
    boost::asio::post(loop_, [&task] { task(); });
    return done.get();
  }
  ~RunningServer() {
    on_loop([this] { server_.reset(); });
    work_.reset();
    thread_.join();
    if (history_thread_.joinable()) history_thread_.join();
  }

  std::uint16_t port() const { return port_; }
  std::string host() const { return "127.0.0.1:" + std::to_string(port_); }

  Server& server() { return *server_; }  // on the loop only
  ServerFigures figures() {
    return on_loop([this] { return server_->figures(); });
  }
  void publish(const std::string& event, const nlohmann::ordered_json& json) {
    on_loop([&] { server_->publish(event, json); });
  }
  /// Waits, at most 5 s, until the loop sees it so.
  bool comes_true(const std::function<bool(const ServerFigures&)>& claim) {
    for (int i = 0; i < 500; ++i) {
      if (claim(figures())) return true;
      std::this_thread::sleep_for(std::chrono::milliseconds{10});
    }
    return false;
  }

  std::string get(const std::string& target, const std::string& fields = {}) const {
    return "GET " + target + " HTTP/1.1\r\nHost: " + host() + "\r\n" + fields + "\r\n";
  }
  std::string post(const std::string& target, const std::string& body, const std::string& fields = "Content-Type: application/json\r\n") const {
    return "POST " + target + " HTTP/1.1\r\nHost: " + host() + "\r\n" + fields + "Content-Length: " + std::to_string(body.size()) + "\r\n\r\n" + body;
  }
  RawAnswer ask(const std::string& request) const { return ask_raw(port_, request); }

  // What the backend answers, and what it was asked; touch the former before a request, read the latter after it.
  BenchView bench_view = sample_bench();
  Health health;
  bool answers_history = true;
  HistoryRequest asked_history;
  DocumentRequest asked_document;
  Photo asked_photo;
  bool answers_photos = true;
  std::string ordered;  ///< the last order that reached the backend
  std::atomic<int> changes{0};

 private:
  Backend backend() {
    Backend backend;
    backend.bench = [this] { return bench_view; };
    backend.findings = [](const std::string& unit) -> Result<nlohmann::json> {
      if (unit != "brindlecombe35") return fail(Fault::bad_data, "there is no unit `" + unit + "`");
      return nlohmann::json{{"run", 3}, {"findings", nlohmann::json::array()}};
    };
    backend.history = [this](HistoryRequest request, std::function<void(Result<nlohmann::json>)> reply) {
      asked_history = request;
      if (!answers_history) return;
      if (history_thread_.joinable()) history_thread_.join();
      history_thread_ = std::thread([reply = std::move(reply)] { reply(nlohmann::json{{"run", 3}, {"series", nlohmann::json::array()}}); });
    };
    backend.document = [this](DocumentRequest request, std::function<void(Result<Document>)> reply) {
      asked_document = request;
      if (history_thread_.joinable()) history_thread_.join();
      history_thread_ = std::thread([request, reply = std::move(reply)] {
        if (request.what == "memory" && request.query.contains("hours")) return reply(fail(Fault::usage, "`hours` is no number"));
        if (request.run == 0) return reply(Document{"application/json", "", R"({"runs":[]})"});
        if (request.run != 3) return reply(fail(Fault::bad_data, "there is no such run"));
        if (request.name == "page.html") return reply(Document{"text/html; charset=utf-8", "B35-0117.html", "<p>", false});
        reply(Document{"application/zip", "B35-0117.zip", std::string("PK\0\1", 4), true});
      });
    };
    backend.photo = [this](Photo photo, std::function<void(Result<nlohmann::ordered_json>)> reply) {
      asked_photo = std::move(photo);
      if (!answers_photos) return;
      if (asked_photo.who.empty()) return reply(fail(Fault::usage, "`who` is empty", "say who sends it"));
      reply(nlohmann::ordered_json{{"card", {{"name", asked_photo.card}}}});
    };
    backend.order = [this](const Order& order) -> Result<nlohmann::ordered_json> {
      const std::string who = order.who();
      if (order.what == "cards" && order.text("kind") == "horoscope") return fail(Fault::usage, "`horoscope` is no kind of entry", "unit, repair");
      if (order.verb == "acknowledge") {
        if (order.name != "7") return fail(Fault::bad_data, "there is no alarm " + order.name);
        note_order("acknowledge " + order.name + " " + who + " " + order.text("note"));
        return nlohmann::ordered_json{{"alarm", to_json(sample_alarm())}};
      }
      if (order.verb == "start" && !order.flag("at_the_bench")) return fail(Fault::permission, "the interlock holds", "power returns only by a person at the bench");
      if (order.what == "answer" && order.text("token") != "right") return fail(Fault::permission, "this link is not ours");
      note_order(order.verb + (order.name.empty() ? "" : " ") + order.name + " " + who + (order.verb == "stop" ? " " + order.text("why") : ""));
      return nlohmann::ordered_json{{"unit", to_json(sample_unit())}};
    };
    backend.ask = [](const std::string& what, const std::string& name, const std::function<std::string(const char*)>& value) -> Result<nlohmann::ordered_json> {
      return nlohmann::ordered_json{{"what", what}, {"name", name}, {"who", value("who")}};
    };
    backend.health = [this] { return health; };
    backend.find_asset = [](std::string_view path) { return path == sample_page.path ? &sample_page : nullptr; };
    return backend;
  }
  void note_order(std::string order) {
    ordered = std::move(order);
    ++changes;
  }

  boost::asio::io_context loop_;
  boost::asio::executor_work_guard<boost::asio::io_context::executor_type> work_;
  std::unique_ptr<Server> server_;
  std::uint16_t port_ = 0;
  std::thread thread_;
  std::thread history_thread_;
};

}  // namespace steadyglow::http
