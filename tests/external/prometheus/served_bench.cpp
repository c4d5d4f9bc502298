/// A web server as the daemon runs it, over a bench that stands still: what a real Prometheus reads here is known
/// beforehand. Prints its port, then takes commands on standard input, one a line, and ends with it:
///   lose POINT    the point's clip has left the unit
/// With an argument, that is the password.
#include <boost/asio/io_context.hpp>
#include <boost/asio/post.hpp>
#include <sodium.h>

#include <array>
#include <iostream>
#include <nlohmann/json.hpp>
#include <string>
#include <thread>

#include "http/sample_bench.hpp"
#include "http/server.hpp"

using namespace steadyglow;

namespace {

http::Backend backend_of(http::BenchView& bench) {
  http::Backend backend;
  backend.bench = [&bench] { return bench; };
  backend.health = [] { return http::Health{}; };
  return backend;
}

void lose(http::BenchView& bench, const std::string& name) {
  for (http::UnitView& unit : bench.units)
    for (http::PointView& point : unit.points) {
      if (point.name != name) continue;
      point.value.reset();
      point.quality = "contact_lost";
    }
}

}  // namespace

int main(int count, char** words) {
  boost::asio::io_context loop;
  http::BenchView bench = http::sample_bench();
  http::ServerOptions options;
  if (count > 1) {
    const std::string password = words[1];
    std::array<char, crypto_pwhash_STRBYTES> hash{};
    if (sodium_init() < 0 || crypto_pwhash_str(hash.data(), password.data(), password.size(), crypto_pwhash_OPSLIMIT_INTERACTIVE, crypto_pwhash_MEMLIMIT_INTERACTIVE) != 0) return 1;
    options.password_hash = hash.data();
  }
  auto server = http::Server::open(loop, options, backend_of(bench));
  if (!server) {
    std::cerr << server.error().text() << '\n';
    return 1;
  }
  std::cout << (*server)->port() << std::endl;
  std::thread commands([&] {
    for (std::string line; std::getline(std::cin, line);)
      if (line.starts_with("lose ")) boost::asio::post(loop, [&bench, name = line.substr(5)] { lose(bench, name); });
    boost::asio::post(loop, [&server] { (*server)->stop(); });
  });
  loop.run();
  commands.join();
  return 0;
}
