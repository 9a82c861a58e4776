// Lets a debugger that speaks GDB's remote protocol stop, look at and change a simulated processor.
//
// Time   stands still while the processor is stopped: whoever calls is kept waiting, so nothing
//        else of the run moves either. Nothing that a debugger only reads changes the run; reading
//        a register that clears itself on being read does.
// Client one at a time, from this computer (127.0.0.1) only. Before the first one comes, the
//        processor waits at its first instruction. One that goes away, politely or not, leaves
//        nothing behind: the run goes on, and the next one that comes stops it.
// Bad    bytes that are not of the protocol, packets over 16 KiB, answers that nobody takes for
//        five seconds: the connection is closed.
// Threads none of its own; all calls come from the one that runs the processor.
// RT     no. Allocates, waits. For virtual time.
#pragma once

#include <atomic>
#include <cstdint>
#include <functional>
#include <memory>
#include <string>
#include <string_view>

#include "io/mcu/debugger/target.hpp"

namespace stillrotor::io::mcu {

class Debugger {
 public:
  /// Listens; port 0: any that is free. Throws std::runtime_error: the port cannot be had.
  explicit Debugger(std::uint16_t port);
  /// Tells a debugger that is there still that the run is over.
  ~Debugger();
  Debugger(const Debugger&) = delete;
  Debugger& operator=(const Debugger&) = delete;

  std::uint16_t port() const noexcept;

  /// What it has to do with; before the processor runs.
  struct Run {
    const std::atomic<bool>* ends = nullptr;  // true: nobody waits any longer
    std::function<void()> kill = [] {};       // a debugger wants the run to end
    std::function<std::string()> bench;       // lines for `monitor bench`
  };
  void belong_to(Run);

  // --- for the processor --------------------------------------------------------------------
  /// The instruction at target.pc() is next. Stays while the processor is stopped. true: call
  /// again before the very next one; false: now and then is enough.
  bool before_instruction(DebugTarget&) noexcept;
  /// Nothing is executed; a debugger's wish to stop is heard all the same. As above.
  void asleep(DebugTarget&) noexcept;
  /// A breakpoint instruction. true: it stops there; false: there is no debugger.
  bool breakpoint_instruction() noexcept;
  /// It cannot go on. Stays until the debugger has seen enough.
  void ended(DebugTarget&, std::string_view why) noexcept;

 private:
  class Client;
  void look();
  void stay(DebugTarget&, std::string_view stop_reply);
  bool run_is_ending() const noexcept {
    return run_.ends != nullptr && run_.ends->load(std::memory_order_relaxed);
  }

  Run run_;
  std::unique_ptr<Client> client_;
  bool awaited_ = true;  // nobody has come yet
  bool steps_ = false, stops_ = false;
  bool knows_ = false;  // the debugger has been told where it stands
  unsigned calls_ = 0;
};

}  // namespace stillrotor::io::mcu
