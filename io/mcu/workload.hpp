// What a firmware asked of its processor: interrupts, sleep, stack.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

namespace stillrotor::io::mcu {

struct InterruptLoad {
  unsigned number;   // of the exception; the part's interrupts from 16 on
  std::string name;  // of its handler; empty: the firmware's file does not tell
  std::uint64_t count;
  std::uint64_t least, greatest, sum;  // cycles, without the more urgent ones in between
};
/// Since the processor's supply was last switched on.
struct Workload {
  std::uint64_t cycles = 0, in_handlers = 0, asleep = 0;
  std::vector<InterruptLoad> interrupts;  // that returned at least once
  /// Bytes of the main stack, from where it starts. seen: where exceptions found it, at least;
  /// written: to the lowest word that is no longer what the whole room below is, at most; room:
  /// down to the variables.
  std::uint32_t stack_seen = 0, stack_written = 0, stack_room = 0;
};
std::string described(const Workload&);

/// A simulated controller that counts.
class CountsWork {
 public:
  /// nullopt: it is off.
  virtual std::optional<Workload> workload() const = 0;

 protected:
  ~CountsWork() = default;
};

}  // namespace stillrotor::io::mcu
