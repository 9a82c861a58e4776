#include "io/mcu/debugger/session.hpp"

#include <fmt/core.h>

#include <algorithm>
#include <cstring>
#include <utility>

#include "io/mcu/debugger/packets.hpp"

namespace stillrotor::io::mcu {
namespace {

constexpr const char* ok = "OK";
constexpr const char* bad_request = "E16";  // EINVAL
constexpr const char* bad_address = "E0e";  // EFAULT
constexpr const char* no_room = "E1c";      // ENOSPC

std::string hex_of(std::uint64_t value, std::size_t bytes) {
  std::uint8_t raw[8];
  std::memcpy(raw, &value, sizeof raw);
  return to_hex({raw, bytes});
}
std::optional<std::uint64_t> value_of(std::string_view digits, std::size_t bytes) {
  const auto raw = from_hex(digits);
  if (!raw || raw->size() != bytes) return std::nullopt;
  std::uint64_t value = 0;
  std::memcpy(&value, raw->data(), bytes);
  return value;
}

/// Up to the mark, which is taken away too; all of it where there is none.
std::string_view cut(std::string_view& text, char mark) {
  const std::size_t at = std::min(text.find(mark), text.size());
  const std::string_view head = text.substr(0, at);
  text.remove_prefix(std::min(at + 1, text.size()));
  return head;
}

struct Range {
  std::uint32_t address;
  std::size_t bytes;
};
/// "address,length", within 32 bits.
std::optional<Range> range_of(std::string_view text) {
  const auto address = hex_number(cut(text, ',')), bytes = hex_number(text);
  if (!address || !bytes || *address > 0xffffffff || *bytes > 0x100000000 - *address)
    return std::nullopt;
  return Range{static_cast<std::uint32_t>(*address), static_cast<std::size_t>(*bytes)};
}

/// A piece of a document, with whether more follows.
std::string piece(const std::string& document, std::string_view window) {
  const auto offset = hex_number(cut(window, ',')), length = hex_number(window);
  if (!offset || !length) return bad_request;
  if (*offset >= document.size()) return "l";
  const std::size_t left = document.size() - *offset;
  const std::size_t most = std::min<std::size_t>(*length, DebugSession::longest_access);
  return (left > most ? "m" : "l") + document.substr(*offset, most);
}

}  // namespace

DebugSession::Reply DebugSession::answer(std::string_view packet, DebugTarget& target) {
  if (packet.empty()) return {std::string(), Wish::stay};
  const char kind = packet.front();
  const std::string_view rest = packet.substr(1);
  switch (kind) {
    case '?':
      return {"T05thread:1;"};
    case 'g':
      return {read_all(target)};
    case 'G':
      return {write_all(rest, target)};
    case 'p':
      return {read_one(rest, target)};
    case 'P':
      return {write_one(rest, target)};
    case 'm':
      return {read_memory(rest, target)};
    case 'M':
    case 'X':
      return {write_memory(rest, kind == 'X', target)};
    case 'Z':
    case 'z':
      return {point(kind == 'Z', rest, target)};
    case 'c':
    case 's':
    case 'C':
    case 'S':
      return resume(packet);
    case 'H':
    case 'T':
      return {ok};
    case 'D':
      return {ok, Wish::detach};
    case 'k':
      return {std::nullopt, Wish::kill};
    case 'Q':
      if (packet == "QStartNoAckMode") return {ok, Wish::stay, true};
      return {std::string()};
    case 'q': {
      const std::string said = query(packet, target);
      return {said, std::exchange(restarts_, false) ? Wish::restart : Wish::stay};
    }
    case 'v':
      if (packet == "vCont?") return {"vCont;c;C;s;S"};
      if (packet.starts_with("vCont;")) return resume(packet.substr(6));
      if (packet.starts_with("vKill")) return {ok, Wish::kill};
      return {std::string()};
    default:
      return {std::string()};
  }
}

/// "c", "s", "Csig", "Ssig", for a thread or for all; of several actions the first counts, there is
/// one thread. A signal is nothing that a bare processor could be given. To go on elsewhere, the
/// program counter is written.
DebugSession::Reply DebugSession::resume(std::string_view action) {
  const std::string_view what = action.substr(0, action.find_first_of(":;"));
  if (what == "c" || what.starts_with('C')) return {std::nullopt, Wish::go_on};
  if (what == "s" || what.starts_with('S')) return {std::nullopt, Wish::step};
  return {bad_request};
}

std::string DebugSession::read_all(DebugTarget& target) {
  std::string all;
  for (std::size_t n = 0; n < target.register_count(); ++n)
    all += hex_of(target.read_register(n), target.register_bytes(n));
  return all;
}

std::string DebugSession::write_all(std::string_view digits, DebugTarget& target) {
  std::vector<std::uint64_t> values;
  for (std::size_t n = 0; n < target.register_count(); ++n) {
    const std::size_t bytes = target.register_bytes(n);
    const auto value = value_of(digits.substr(0, 2 * bytes), bytes);
    if (!value) return bad_request;
    values.push_back(*value);
    digits.remove_prefix(2 * bytes);
  }
  if (!digits.empty()) return bad_request;
  for (std::size_t n = 0; n < values.size(); ++n)
    if (target.read_register(n) != values[n]) target.write_register(n, values[n]);
  return ok;
}

std::string DebugSession::read_one(std::string_view text, DebugTarget& target) {
  const auto number = hex_number(text);
  if (!number || *number >= target.register_count()) return bad_request;
  return hex_of(target.read_register(*number), target.register_bytes(*number));
}

std::string DebugSession::write_one(std::string_view text, DebugTarget& target) {
  const auto number = hex_number(cut(text, '='));
  if (!number || *number >= target.register_count()) return bad_request;
  const auto value = value_of(text, target.register_bytes(*number));
  return value && target.write_register(*number, *value) ? ok : bad_request;
}

std::string DebugSession::read_memory(std::string_view text, DebugTarget& target) {
  const auto range = range_of(text);
  if (!range) return bad_request;
  std::vector<std::uint8_t> bytes(std::min(range->bytes, longest_access));
  const std::size_t had = target.read_memory(range->address, bytes);
  return had == 0 && range->bytes != 0 ? bad_address : to_hex({bytes.data(), had});
}

std::string DebugSession::write_memory(std::string_view text, bool binary, DebugTarget& target) {
  const auto range = range_of(cut(text, ':'));
  if (!range) return bad_request;
  const auto bytes = binary ? std::optional(std::string(text)) : from_hex(text);
  if (!bytes || bytes->size() != range->bytes || range->bytes > PacketReader::longest)
    return bad_request;
  const auto* data = reinterpret_cast<const std::uint8_t*>(bytes->data());
  return target.write_memory(range->address, {data, bytes->size()}) ? ok : bad_address;
}

/// "type,address,kind" and conditions, which are not evaluated here: the debugger does that.
std::string DebugSession::point(bool set, std::string_view text, DebugTarget& target) {
  const std::string_view type = cut(text, ',');
  const auto range = range_of(cut(text, ';'));
  if (!range) return bad_request;
  if (type == "0" || type == "1") {
    const std::uint32_t address = range->address & ~std::uint32_t{1};
    std::erase(breakpoints_, address);
    if (!set) return ok;
    if (breakpoints_.size() >= most_points) return no_room;
    breakpoints_.push_back(address);
    return ok;
  }
  // Of reads nothing is known afterwards: those types are not offered.
  if (type != "2") return {};
  std::erase_if(watches_, [&](const Watch& w) {
    return w.address == range->address && w.seen.size() == range->bytes;
  });
  if (!set) return ok;
  if (range->bytes == 0 || range->bytes > longest_watch || watches_.size() >= most_points)
    return no_room;
  Watch watch{range->address, std::vector<std::uint8_t>(range->bytes)};
  if (!target.peek_ram(watch.address, watch.seen)) return bad_address;
  watches_.push_back(std::move(watch));
  return ok;
}

std::string DebugSession::query(std::string_view packet, DebugTarget& target) {
  if (packet.starts_with("qSupported"))
    return fmt::format(
        "PacketSize={:x};QStartNoAckMode+;qXfer:features:read+;qXfer:memory-map:read+;"
        "vContSupported+"
        ";hwbreak-;swbreak-",
        2 * longest_access + 64);
  constexpr std::string_view features = "qXfer:features:read:", map = "qXfer:memory-map:read::";
  if (packet.starts_with(features)) {
    packet.remove_prefix(features.size());
    return cut(packet, ':') == "target.xml" ? piece(target.description(), packet) : "E00";
  }
  if (packet.starts_with(map)) return piece(target.memory_map(), packet.substr(map.size()));
  if (packet == "qAttached")
    return "1";  // the processor was there before: a debugger's end detaches
  if (packet == "qC") return "QC1";
  if (packet == "qfThreadInfo") return "m1";
  if (packet == "qsThreadInfo") return "l";
  if (packet.starts_with("qSymbol")) return ok;
  constexpr std::string_view command = "qRcmd,";
  if (packet.starts_with(command)) {
    const auto words = from_hex(packet.substr(command.size()));
    if (!words) return bad_request;
    const std::string said = monitor(*words, target);
    return to_hex({reinterpret_cast<const std::uint8_t*>(said.data()), said.size()});
  }
  return {};
}

std::string DebugSession::monitor(std::string_view command, DebugTarget& target) {
  if (command == "reset") {
    target.reset();
    restarts_ = true;
    return "The chip is reset; it stands at its start.\n";
  }
  if (command == "where") return target.where() + "\n";
  if (command == "bench") return bench_ ? bench_() : std::string("Nothing is known of it here.\n");
  return fmt::format(
      "{}monitor where   virtual time and the place in the program\n"
      "monitor bench   what the machine does\n"
      "monitor reset   resets the chip: RAM and flash stay\n",
      command == "help" ? "" : fmt::format("There is no \"{}\".\n", command.substr(0, 40)));
}

bool DebugSession::breaks_at(std::uint32_t pc) const noexcept {
  return std::find(breakpoints_.begin(), breakpoints_.end(), pc) != breakpoints_.end();
}

std::optional<std::uint32_t> DebugSession::changed(const DebugTarget& target) {
  std::optional<std::uint32_t> first;
  std::uint8_t now[longest_watch];
  for (Watch& w : watches_) {
    const std::size_t bytes = w.seen.size();
    if (!target.peek_ram(w.address, {now, bytes}) || std::memcmp(now, w.seen.data(), bytes) == 0)
      continue;
    std::copy_n(now, bytes, w.seen.begin());
    if (!first) first = w.address;
  }
  return first;
}

void DebugSession::forget() noexcept {
  breakpoints_.clear();
  watches_.clear();
}

}  // namespace stillrotor::io::mcu
