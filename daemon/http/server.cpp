#include "http/server.hpp"

#include <boost/asio/ip/tcp.hpp>
#include <boost/asio/steady_timer.hpp>
#include <nlohmann/json.hpp>
#include <spdlog/spdlog.h>

#include <map>
#include <utility>

#include "http/connection.hpp"
#include "http/guard.hpp"
#include "http/json.hpp"
#include "http/password.hpp"
#include "http/routes.hpp"
#include "http/stream.hpp"

namespace steadyglow::http {
namespace {

/// What needs no password: whether all is well, and the page of a message's link, whose token is its own key.
bool is_open_to_all(const std::string& target) {
  const std::string path = target.substr(0, target.find('?'));
  return target == "/healthz" || path == "/answer" || path == "/assets/answer.js" || path == "/assets/answer.css";
}

namespace asio = boost::asio;
using Tcp = asio::ip::tcp;
using Code = boost::system::error_code;

/// Connections beyond connections_max that are told 503; beyond these too, they are cut without a word.
constexpr std::size_t refusals_max = 16;
/// After a failure to take a connection (no descriptor left, for example).
constexpr std::chrono::milliseconds accept_again_after{200};

Result<Tcp::endpoint> read_endpoint(const ServerOptions& options) {
  Code error;
  const auto address = asio::ip::make_address(options.host == "localhost" ? "127.0.0.1" : options.host, error);
  if (error) return fail(Fault::config, "`" + options.host + "` is no address to listen at", "write 127.0.0.1");
  if (!address.is_loopback() && !options.password_hash)
    return fail(Fault::config, options.host + " can be reached by others, and no password is set", "set a password first (steadyglow password FILE), or listen at 127.0.0.1");
  return Tcp::endpoint(address, options.port);
}

Result<void> listen_at(Tcp::acceptor& acceptor, const Tcp::endpoint& endpoint) {
  Code error;
  acceptor.open(endpoint.protocol(), error);
  if (!error) acceptor.set_option(Tcp::acceptor::reuse_address(true), error);
  if (!error) acceptor.bind(endpoint, error);
  if (!error) acceptor.listen(static_cast<int>(connections_max), error);
  if (!error) return {};
  const std::string where = host_text(endpoint);
  if (error == asio::error::address_in_use) return fail(Fault::unavailable, "another program listens there", "is steadyglowd running already?", where);
  if (error == asio::error::access_denied) return fail(Fault::permission, "this port needs more rights", "choose a port above 1023", where);
  return fail(Fault::config, "cannot listen there: " + error.message(), "is this an address of this machine?", where);
}

}  // namespace

/// Shared: a connection that is still closing counts itself out here.
struct Server::Running : std::enable_shared_from_this<Running> {
  Running(asio::io_context& io, ServerOptions given, Backend backend)
      : options(std::move(given)),
        acceptor(io),
        accept_timer(io),
        stream(io, options.deadlines.bench_events, [make = backend.bench] { return to_line(to_json(make())); }),
        routes(io, std::move(backend), [this] { return count(); }) {}

  void begin() {
    links = std::make_shared<ConnectionLinks>(ConnectionLinks{
        [weak = weak_from_this()](Request request, Reply reply) {
          const auto self = weak.lock();
          if (self && !self->is_stopped) self->answer(std::move(request), std::move(reply));
        },
        stream, figures, options.deadlines});
    accept();
  }

  // ---- connections ----

  void accept() {
    acceptor.async_accept([self = shared_from_this()](const Code& error, Tcp::socket socket) {
      if (self->is_stopped) return;
      if (error && error != asio::error::connection_aborted) return self->rest(error);
      if (std::exchange(self->is_resting, false)) spdlog::info("the web server takes connections again");
      if (!error) self->take(std::move(socket));
      self->accept();
    });
  }

  void rest(const Code& why) {
    ++figures.accept_failures;
    if (!std::exchange(is_resting, true)) spdlog::error("the web server cannot take connections: {}; it tries again every {} ms", why.message(), accept_again_after.count());
    accept_timer.expires_after(accept_again_after);
    accept_timer.async_wait([self = shared_from_this()](const Code& error) {
      if (!error && !self->is_stopped) self->accept();
    });
  }

  void take(Tcp::socket socket) {
    const bool is_refused = connections.size() >= connections_max;
    if (is_refused) ++figures.refused_connections;
    if (connections.size() >= connections_max + refusals_max) return;  // closes it
    const auto forget = [weak = weak_from_this()](Connection* connection) {
      if (const auto self = weak.lock()) self->connections.erase(connection);
    };
    const auto connection = make_connection(std::move(socket), links, is_refused, forget);
    connections.emplace(connection.get(), connection);
    connection->begin();
  }

  ServerFigures count() const {
    ServerFigures now = figures;
    now.connections = connections.size();
    now.stream_clients = stream.listeners();
    return now;
  }

  // ---- one request ----

  void answer(Request request, Reply reply) {
    if (auto refused = guard->refuse(request)) return reply(std::move(*refused));
    // Whoever watches over the daemon need not know the password: it learns only whether all moves.
    if (!door || is_open_to_all(request.target)) return route(request, reply);
    if (request.authorization.empty()) return reply(ask_for_password());
    const std::string authorization = request.authorization;
    door->ask(authorization, [self = shared_from_this(), request = std::move(request), reply = std::move(reply)](Door::Answer answer) {
      if (self->is_stopped) return;
      if (answer == Door::Answer::may_pass) return self->route(request, reply);
      if (answer == Door::Answer::busy) return reply(refusal(503, "too many passwords are being checked", "try again in a moment"));
      ++self->figures.wrong_passwords;
      Response wrong = self->ask_for_password();
      wrong.hold = self->options.deadlines.wrong_password;
      reply(std::move(wrong));
    });
  }

  void route(const Request& request, const Reply& reply) {
    routes.handle(request, [self = shared_from_this(), reply](Response response) {
      if (response.is_stream && self->stream.listeners() >= streams_max)
        response = refusal(503, "too many pages follow the bench", "close another page");
      reply(std::move(response));
    });
  }

  static Response ask_for_password() {
    Response response = refusal(401, "a password is needed");
    response.fields.emplace_back("WWW-Authenticate", "Basic realm=\"Steadyglow\", charset=\"UTF-8\"");
    return response;
  }

  void stop() {
    if (is_stopped) return;
    is_stopped = true;
    Code ignored;
    acceptor.close(ignored);
    accept_timer.cancel();
    stream.stop();
    const auto open = connections;  // each takes itself out of the map as it closes
    for (const auto& [key, connection] : open) connection->close();
  }

  ServerOptions options;
  Tcp::acceptor acceptor;
  asio::steady_timer accept_timer;
  ServerFigures figures;
  Stream stream;
  Routes routes;
  std::optional<Guard> guard;    ///< made when the port is known
  std::unique_ptr<Door> door;    ///< empty without a password
  std::shared_ptr<ConnectionLinks> links;
  std::map<Connection*, std::shared_ptr<Connection>> connections;
  bool is_resting = false;  ///< taking connections failed the last time
  bool is_stopped = false;
};

Result<std::unique_ptr<Server>> Server::open(asio::io_context& loop, ServerOptions options, Backend backend) {
  const auto endpoint = read_endpoint(options);
  if (!endpoint) return tl::unexpected(endpoint.error());
  auto running = std::make_shared<Running>(loop, std::move(options), std::move(backend));
  if (running->options.password_hash) {
    auto door = Door::make(loop, *running->options.password_hash);
    if (!door) return tl::unexpected(door.error());
    running->door = std::move(*door);
  }
  if (auto listening = listen_at(running->acceptor, *endpoint); !listening) return tl::unexpected(listening.error());
  std::unique_ptr<Server> server(new Server(std::move(running)));
  server->running_->guard.emplace(server->port(), server->running_->options.allowed_hosts);
  server->running_->begin();
  return server;
}

Server::Server(std::shared_ptr<Running> running) : running_(std::move(running)) {}
Server::~Server() { stop(); }

std::uint16_t Server::port() const {
  Code error;
  return running_->acceptor.local_endpoint(error).port();
}

void Server::publish(std::string_view event, const nlohmann::ordered_json& json) { running_->stream.publish(event, to_line(json)); }
void Server::mark_changed() { running_->stream.mark_changed(); }
ServerFigures Server::figures() const { return running_->count(); }
void Server::stop() { running_->stop(); }

}  // namespace steadyglow::http
