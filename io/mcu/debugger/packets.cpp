#include "io/mcu/debugger/packets.hpp"

#include <charconv>
#include <numeric>

namespace stillrotor::io::mcu {
namespace {

constexpr char interrupt = '\x03', escape = '}', flipped = 0x20;
constexpr std::string_view special = "#$}*";
constexpr std::string_view digits = "0123456789abcdef";

std::uint8_t checksum(std::string_view bytes) noexcept {
  return std::accumulate(bytes.begin(), bytes.end(), std::uint8_t{0},
                         [](std::uint8_t sum, char byte) {
                           return static_cast<std::uint8_t>(sum + static_cast<std::uint8_t>(byte));
                         });
}

std::string without_escapes(std::string_view bytes) {
  std::string plain;
  for (std::size_t i = 0; i < bytes.size(); ++i)
    plain += bytes[i] == escape && i + 1 < bytes.size() ? static_cast<char>(bytes[++i] ^ flipped)
                                                        : bytes[i];
  return plain;
}

}  // namespace

std::string to_hex(std::span<const std::uint8_t> bytes) {
  std::string text;
  for (const std::uint8_t byte : bytes) {
    text += digits[byte >> 4];
    text += digits[byte & 0xf];
  }
  return text;
}

std::optional<std::string> from_hex(std::string_view text) {
  if (text.size() % 2 != 0) return std::nullopt;
  std::string bytes;
  for (; !text.empty(); text.remove_prefix(2)) {
    const auto byte = hex_number(text.substr(0, 2));
    if (!byte) return std::nullopt;
    bytes += static_cast<char>(*byte);
  }
  return bytes;
}

std::optional<std::uint64_t> hex_number(std::string_view text) {
  std::uint64_t value = 0;
  const char* const end = text.data() + text.size();
  const auto [rest, error] = std::from_chars(text.data(), end, value, 16);
  if (text.empty() || error != std::errc{} || rest != end) return std::nullopt;
  return value;
}

std::string framed(std::string_view payload) {
  std::string body;
  for (const char byte : payload) {
    const bool escaped = special.find(byte) != std::string_view::npos;
    if (escaped) body += escape;
    body += escaped ? static_cast<char>(byte ^ flipped) : byte;
  }
  const std::uint8_t sum[] = {checksum(body)};
  return "$" + body + "#" + to_hex(sum);
}

bool PacketReader::add(std::string_view bytes) {
  if (waiting_.size() + bytes.size() > most_waiting) return false;
  waiting_ += bytes;
  return true;
}

PacketReader::Item PacketReader::next() {
  if (waiting_.empty()) return {};
  if (waiting_.front() != '$') {
    const char byte = waiting_.front();
    waiting_.erase(0, 1);
    return {byte == interrupt ? Kind::interrupt
            : byte == '+'     ? Kind::received
            : byte == '-'     ? Kind::again
                              : Kind::nonsense,
            {}};
  }
  const std::size_t end = waiting_.find('#');
  if (std::min(end, waiting_.size()) > longest) return {Kind::nonsense, {}};
  if (end == std::string::npos || waiting_.size() < end + 3) return {};
  const std::string_view body = std::string_view(waiting_).substr(1, end - 1);
  const auto sum = hex_number(std::string_view(waiting_).substr(end + 1, 2));
  Item item{sum == checksum(body) ? Kind::packet : Kind::damaged, without_escapes(body)};
  waiting_.erase(0, end + 3);
  return item;
}

bool PacketReader::take_interrupt() {
  const std::size_t at = waiting_.find(interrupt);
  if (at == std::string::npos) return false;
  waiting_.erase(0, at + 1);
  return true;
}

}  // namespace stillrotor::io::mcu
