#include "emulator/panel/access.hpp"

#include <arpa/inet.h>
#include <fmt/format.h>
#include <openssl/crypto.h>
#include <openssl/rand.h>
#include <openssl/sha.h>
#include <sys/stat.h>

#include <algorithm>
#include <array>
#include <cctype>
#include <fstream>
#include <optional>
#include <stdexcept>

#include "emulator/bench/input_error.hpp"

namespace stillrotor {
namespace {

constexpr std::size_t token_least = 16, token_most = 256;

struct Address {
  bool six = false;
  std::array<unsigned char, 16> bytes{};
};

std::optional<Address> address_of(std::string_view text) {
  const std::string copy(text);
  Address address;
  if (inet_pton(AF_INET, copy.c_str(), address.bytes.data()) == 1) return address;
  address.six = true;
  if (inet_pton(AF_INET6, copy.c_str(), address.bytes.data()) == 1) return address;
  return {};
}

std::string lower(std::string_view text) {
  std::string out(text);
  std::transform(out.begin(), out.end(), out.begin(),
                 [](unsigned char c) { return static_cast<char>(std::tolower(c)); });
  return out;
}

/// "[::1]:80" -> "::1"; as it is where it has no port. Empty: not so written, or another port.
std::string without_port(std::string_view host, std::uint16_t port) {
  std::string_view name = host, rest;
  if (host.starts_with('[')) {
    const std::size_t end = host.find(']');
    if (end == std::string_view::npos) return {};
    name = host.substr(1, end - 1);
    rest = host.substr(end + 1);
    if (const auto address = address_of(name); !address || !address->six) return {};
  } else if (const std::size_t colon = host.find(':'); colon != std::string_view::npos) {
    name = host.substr(0, colon);
    rest = host.substr(colon);
  }
  const bool said = rest == fmt::format(":{}", port);
  if (!said && !(rest.empty() && port == 80)) return {};
  return lower(name);
}

}  // namespace

void require_address(const std::string& host) {
  if (!address_of(host))
    throw InputError(fmt::format(
        "--listen is {}; allowed an address of this computer in numbers: 127.0.0.1, 192.168.1.20, "
        "::1, 0.0.0.0 for all.",
        host));
}

bool is_loopback(const std::string& host) {
  const auto address = address_of(host);
  if (!address) return false;
  if (!address->six) return address->bytes[0] == 127;
  std::array<unsigned char, 16> one{};
  one[15] = 1;
  return address->bytes == one;
}

std::string host_and_port(const std::string& host, std::uint16_t port) {
  const bool six = host.find(':') != std::string::npos;
  return six ? fmt::format("[{}]:{}", host, port) : fmt::format("{}:{}", host, port);
}

std::string read_token(const std::filesystem::path& file) {
  struct stat status {};
  if (stat(file.c_str(), &status) != 0 || !S_ISREG(status.st_mode))
    throw InputError(
        fmt::format("--token-file {}: there is no such file. Make one: "
                    "(umask 077; openssl rand -hex 16 > {})",
                    file.string(), file.string()));
  if ((status.st_mode & (S_IRWXG | S_IRWXO)) != 0)
    throw InputError(fmt::format("--token-file {}: others may read it. chmod 600 {}", file.string(),
                                 file.string()));
  std::ifstream in(file, std::ios::binary);
  std::string token(token_most + 2, '\0');
  in.read(token.data(), static_cast<std::streamsize>(token.size()));
  token.resize(static_cast<std::size_t>(in.gcount()));
  while (!token.empty() && (token.back() == '\n' || token.back() == '\r')) token.pop_back();
  const bool visible =
      std::all_of(token.begin(), token.end(), [](unsigned char c) { return c > 0x20 && c < 0x7F; });
  if (!visible || token.size() < token_least || token.size() > token_most)
    throw InputError(
        fmt::format("--token-file {}: allowed one line of {} to {} letters, digits and "
                    "signs without spaces. Make one: openssl rand -hex 16",
                    file.string(), token_least, token_most));
  return token;
}

std::string make_token() {
  std::array<unsigned char, 16> random{};
  if (RAND_bytes(random.data(), static_cast<int>(random.size())) != 1)
    throw std::runtime_error("This computer has no random numbers to make a token of.");
  std::string token;
  for (const unsigned char byte : random) token += fmt::format("{:02x}", byte);
  return token;
}

/// Of their sums: these have one length, whatever was given.
bool token_fits(std::string_view token, std::string_view given) noexcept {
  using Sum = std::array<unsigned char, SHA256_DIGEST_LENGTH>;
  const auto sum = [](std::string_view text) {
    Sum out{};
    SHA256(reinterpret_cast<const unsigned char*>(text.data()), text.size(), out.data());
    return out;
  };
  const Sum wanted = sum(token), got = sum(given);
  return CRYPTO_memcmp(wanted.data(), got.data(), wanted.size()) == 0 && !token.empty();
}

AccessRules::AccessRules(const ListenAddress& address, std::string token)
    : address_(address),
      everywhere_(address.host == "0.0.0.0" || address.host == "::"),
      token_(std::move(token)) {}

bool AccessRules::known_host(std::string_view host) const {
  const std::string name = without_port(host, address_.port);
  if (name == "127.0.0.1" || name == "localhost" || name == "::1" || name == address_.host)
    return true;
  // An address in numbers cannot have been made to resolve to here.
  return everywhere_ && address_of(name);
}

unsigned AccessRules::refusal(const RequestHead& head) const {
  if (head.host.size() != 1 || !known_host(head.host.front())) return 421;
  if (!head.get_or_head) return 405;
  if (head.upgrade) {
    if (head.target != "/live") return 404;
    const bool own = head.origin.size() == 1 &&
                     lower(head.origin.front()) == "http://" + lower(head.host.front());
    return own ? 0 : 403;
  }
  if (needs_token() && is_document(head.target)) {
    constexpr std::string_view scheme = "Bearer ";
    if (head.authorization.size() != 1 || !head.authorization.front().starts_with(scheme) ||
        !token_fits(std::string_view(head.authorization.front()).substr(scheme.size())))
      return 401;
  }
  return 0;
}

bool is_document(std::string_view target) noexcept {
  return target.ends_with("/report.html") || target.ends_with("/scenario.yaml");
}

}  // namespace stillrotor
