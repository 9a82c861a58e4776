#include "io/link/address.hpp"

#include <boost/asio/ip/address.hpp>
#include <charconv>
#include <optional>
#include <string_view>

#include "io/connector.hpp"

namespace stillrotor::io {
namespace {

template <class Number>
std::optional<Number> number(std::string_view text) {
  Number x{};
  const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), x);
  if (error != std::errc{} || end != text.data() + text.size() || x == 0) return std::nullopt;
  return x;
}

}  // namespace

LinkAddress parse_link_address(const std::string& text) {
  const auto wrong = [&](const std::string& what) {
    return ConfigError(
        "controller.link.address",
        "controller.link.address is '" + text + "': " + what +
            ". Allowed: serial:/dev/ttyACM0 (with @BAUD where the line has a speed), "
            "udp:192.168.7.2:4500, tcp:[fe80::1]:4500, unix:/run/chip.sock.");
  };
  const std::size_t colon = text.find(':');
  const std::string kind = text.substr(0, colon);
  std::string rest = colon == std::string::npos ? "" : text.substr(colon + 1);
  LinkAddress a;
  if (kind == "serial" || kind == "unix") {
    a.kind = kind == "serial" ? LinkAddress::Kind::serial : LinkAddress::Kind::unix_socket;
    if (const std::size_t at = rest.rfind('@'); kind == "serial" && at != std::string::npos) {
      const auto baud = number<unsigned>(std::string_view(rest).substr(at + 1));
      if (!baud || *baud > 12'000'000) throw wrong("behind @ stands a baud rate up to 12000000");
      a.baud = *baud;
      rest.resize(at);
    }
    if (rest.empty() || rest.front() != '/') throw wrong("a path from / on is missing");
    if (kind == "unix" && rest.size() > 100) throw wrong("a socket's path has 100 bytes at most");
    a.where = rest;
    return a;
  }
  if (kind != "udp" && kind != "tcp") throw wrong("the kind of link is missing or unknown");
  a.kind = kind == "udp" ? LinkAddress::Kind::udp : LinkAddress::Kind::tcp;
  const std::size_t last = rest.rfind(':');
  const auto port = last == std::string::npos
                        ? std::nullopt
                        : number<std::uint16_t>(std::string_view(rest).substr(last + 1));
  if (!port) throw wrong("a port from 1 to 65535 is missing at the end");
  a.port = *port;
  a.where = rest.substr(0, last);
  if (a.where.size() > 2 && a.where.front() == '[' && a.where.back() == ']')
    a.where = a.where.substr(1, a.where.size() - 2);
  boost::system::error_code error;
  boost::asio::ip::make_address(a.where, error);
  if (error) throw wrong("'" + a.where + "' is no IP address in numbers");
  return a;
}

}  // namespace stillrotor::io
