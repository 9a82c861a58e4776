// What a debugger asks, answered from a processor that stands still. No sockets, no time: a payload
// in, a payload out.
//
// Source GDB manual, appendix E (E.2 packets, E.4 general queries, E.16 memory map, G target
//        descriptions); from memory.
// Bad    a request that is malformed or out of range is answered with an error, one that is not
//        known with an empty answer, as the protocol has it.
#pragma once

#include <functional>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "io/mcu/debugger/target.hpp"

namespace stillrotor::io::mcu {

class DebugSession {
 public:
  enum class Wish : std::uint8_t { stay, go_on, step, restart, detach, kill };
  struct Reply {
    std::optional<std::string> payload;  // none: nothing is to be sent
    Wish wish = Wish::stay;
    bool no_more_receipts = false;  // from the next packet on, + and - are left out
  };
  /// For `monitor bench`: lines on the world outside the processor.
  void show_bench(std::function<std::string()> bench) { bench_ = std::move(bench); }

  Reply answer(std::string_view packet, DebugTarget&);

  /// Somebody has to look before every instruction.
  bool looks_closely() const noexcept { return !breakpoints_.empty() || !watches_.empty(); }
  bool breaks_at(std::uint32_t pc) const noexcept;
  /// The address of a watched variable that has changed since the last call.
  std::optional<std::uint32_t> changed(const DebugTarget&);
  /// A debugger has gone: nothing of it stays.
  void forget() noexcept;

  static constexpr std::size_t most_points = 64;       // breakpoints, and as many watchpoints
  static constexpr std::size_t longest_watch = 64;     // bytes
  static constexpr std::size_t longest_access = 2048;  // bytes

 private:
  struct Watch {
    std::uint32_t address;
    std::vector<std::uint8_t> seen;
  };
  static std::string read_all(DebugTarget&);
  static std::string write_all(std::string_view digits, DebugTarget&);
  static std::string read_one(std::string_view, DebugTarget&);
  static std::string write_one(std::string_view, DebugTarget&);
  static std::string read_memory(std::string_view, DebugTarget&);
  static std::string write_memory(std::string_view, bool binary, DebugTarget&);
  std::string point(bool set, std::string_view, DebugTarget&);
  std::string query(std::string_view, DebugTarget&);
  std::string monitor(std::string_view command, DebugTarget&);
  static Reply resume(std::string_view action);

  std::function<std::string()> bench_;
  std::vector<std::uint32_t> breakpoints_;
  std::vector<Watch> watches_;
  bool restarts_ = false;
};

}  // namespace stillrotor::io::mcu
