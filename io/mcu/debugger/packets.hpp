// Packets of the remote serial protocol of GDB: $payload#checksum, acknowledged by + and -.
//
// Source GDB manual, appendix E "GDB Remote Serial Protocol" (E.1 overview, E.9 interrupts);
//        section numbers from memory.
#pragma once

#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <string_view>

namespace stillrotor::io::mcu {

/// With frame and checksum; what a payload may not hold is escaped.
std::string framed(std::string_view payload);

std::string to_hex(std::span<const std::uint8_t>);
/// Pairs of digits; nullopt: anything else.
std::optional<std::string> from_hex(std::string_view);
/// All of it, at most 16 digits; nullopt: it is no such number.
std::optional<std::uint64_t> hex_number(std::string_view);

/// Takes bytes as they come from anybody, and gives what they mean.
class PacketReader {
 public:
  enum class Kind : std::uint8_t {
    none,       // nothing whole is left
    packet,     // payload, without escapes
    damaged,    // a packet whose checksum is wrong
    interrupt,  // Ctrl-C
    received,   // +
    again,      // -
    nonsense    // not of this protocol, or longer than longest: whoever sends it is no debugger
  };
  struct Item {
    Kind kind = Kind::none;
    std::string payload;
  };
  static constexpr std::size_t longest = 16 * 1024;  // bytes on the line, of one packet
  static constexpr std::size_t most_waiting = 64 * 1024;

  /// false: that is more than waits here at most.
  bool add(std::string_view bytes);
  Item next();
  void forget() noexcept { waiting_.clear(); }
  /// While the processor runs: was an interrupt sent? Takes it and what stands before it.
  bool take_interrupt();

 private:
  std::string waiting_;
};

}  // namespace stillrotor::io::mcu
