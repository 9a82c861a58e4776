// Who may have what of the panel: decisions only, no sockets.
// Host and Origin are checked because any page in a browser can reach loopback: a name that is made
// to resolve to 127.0.0.1, or a page of elsewhere, is turned away.
#pragma once

#include <cstdint>
#include <filesystem>
#include <string>
#include <string_view>
#include <vector>

namespace stillrotor {

struct ListenAddress {
  std::string host = "127.0.0.1";  // an address in numbers, without brackets
  std::uint16_t port = 8642;
};
/// Throws InputError: no address in numbers.
void require_address(const std::string& host);
bool is_loopback(const std::string& host);
/// "[::1]:8642"
std::string host_and_port(const std::string& host, std::uint16_t port);

/// From a file: its text without the line's end. Throws InputError: unreadable, open to others, too
/// short or long, characters other than visible ASCII.
std::string read_token(const std::filesystem::path&);
/// 32 hexadecimal digits from OpenSSL's generator. Throws std::runtime_error: it has none.
std::string make_token();
/// In a time that depends on neither's text. Never of an empty token.
bool token_fits(std::string_view token, std::string_view given) noexcept;

/// What a request says of itself; of a field that is there twice, both.
struct RequestHead {
  bool get_or_head = true, upgrade = false;
  std::string target;
  std::vector<std::string> host, origin, authorization;
};

class AccessRules {
 public:
  /// token: empty: none is needed.
  AccessRules(const ListenAddress&, std::string token);

  /// 0: it may; else the HTTP status that it is refused with.
  unsigned refusal(const RequestHead&) const;
  bool needs_token() const noexcept { return !token_.empty(); }
  bool token_fits(std::string_view given) const noexcept {
    return !needs_token() || stillrotor::token_fits(token_, given);
  }

 private:
  bool known_host(std::string_view host) const;

  ListenAddress address_;
  bool everywhere_;  // listens at all addresses
  std::string token_;
};

/// The run's own documents, which stand behind the token.
bool is_document(std::string_view target) noexcept;

}  // namespace stillrotor
