// Processor, memory, exceptions and events together: what a part is built around.
//
// run() carries on until a cycle. Between two events it executes instructions without looking up;
// an access that brings an event nearer shortens the stretch. Asleep, time goes to the next event.
//
// Errors the run stops, with a sentence: an undefined, unpredictable or unmodelled encoding, and
//        lockup (a fault within HardFault or NMI).
// RT     run() allocates where code enters a memory for the first time, and for the sentence.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "io/mcu/cortexm/cycle_counter.hpp"
#include "io/mcu/cortexm/system_control.hpp"

namespace stillrotor::io::cortexm {

/// Sizes of what stands around the core.
struct Memories {
  Word flash_base = 0x08000000, flash_bytes = 0;
  Word sram_base = 0x20000000, sram_bytes = 0;
  Word ccm_base = 0, ccm_bytes = 0;  // data only
};

/// Somebody who looks on between two instructions. Time stands still while a call lasts.
class Onlooker {
 public:
  virtual ~Onlooker() = default;
  /// The instruction at cpu().ip is next. true: to be called before the very next one too.
  virtual bool before_instruction() noexcept = 0;
  virtual void asleep() noexcept = 0;
  /// A BKPT. true: it is taken care of, the processor stays at it.
  virtual bool breakpoint_instruction() noexcept = 0;
};

class Core {
 public:
  Core(const Memories&, unsigned interrupts, Timing = {});
  /// Instructions by the host's own code, as at first where that can be had, or one by one. Results
  /// are the same. Between two runs.
  void translate(bool on) { cpu_.translate(on); }

  /// As after power: RAM is zeros. Flash stays.
  void power_on() noexcept;
  /// System reset: RAM and flash stay.
  void reset() noexcept;
  /// To the first instruction end at or after `until`, to pause(), or to where it cannot go on.
  void run(Cycle until) noexcept;

  Cycle now() const noexcept { return cpu_.cycle; }
  bool can_go_on() const noexcept { return end_.empty(); }
  /// Why not; with PC and encoding. name: of an address, for it (may give nothing).
  const std::string& end() const noexcept { return end_; }
  /// It cannot go on because it makes no progress and never can.
  /// A fault comes over and over, and nothing is done between.
  bool storms() const noexcept { return exceptions_.same_fault >= 10'000; }
  bool hung() const noexcept { return hung_; }
  void end_as_hung(std::string_view what) noexcept {
    hung_ = true;
    fail(what);
  }
  bool asleep() const noexcept { return sleep_ != Sleep::awake; }
  Cycle cycles_asleep() const noexcept { return cycles_asleep_; }
  /// Asked for by the firmware (SYSRESETREQ) and not yet served: whoever owns the part resets it.
  bool reset_requested() const noexcept { return reset_requested_; }
  void request_reset() noexcept {
    reset_requested_ = true;
    cpu_.attend();
  }

  /// run() comes back after this instruction: what a cycle is has changed, or the like.
  void pause() noexcept {
    paused_ = true;
    cpu_.attend();
  }

  void set_timing(const Timing&) noexcept;
  /// Describes an address ("motor_isr+0x12"); kept by reference to its owner.
  void name_addresses_by(std::string (*name)(const void*, Word), const void* owner) noexcept {
    name_ = name;
    name_owner_ = owner;
  }
  std::string describe(Word address) const;
  /// nullptr: nobody looks on, and nothing is spent on it.
  void show_to(Onlooker* onlooker) noexcept { onlooker_ = onlooker; }

  Cpu& cpu() noexcept { return cpu_; }
  Bus& bus() noexcept { return cpu_.bus; }
  const Bus& bus() const noexcept { return cpu_.bus; }
  Scheduler& scheduler() noexcept { return scheduler_; }
  Exceptions& exceptions() noexcept { return exceptions_; }
  const Exceptions& exceptions() const noexcept { return exceptions_; }
  std::vector<std::uint8_t>& flash() noexcept { return flash_; }

 private:
  enum class Sleep : std::uint8_t { awake, interrupt, event };
  void act(Trap) noexcept;
  void enter_by(Trap) noexcept;
  void sleep_until(Cycle until) noexcept;
  void fail(std::string_view what) noexcept;

  std::vector<std::uint8_t> flash_, sram_, ccm_;
  Cpu cpu_;
  Scheduler scheduler_;
  Exceptions exceptions_;
  SystemControl system_control_;
  CycleCounter cycle_counter_;
  Sleep sleep_ = Sleep::awake;
  bool reset_requested_ = false, paused_ = false, hung_ = false;
  Onlooker* onlooker_ = nullptr;
  Cycle cycles_asleep_ = 0;
  std::string end_;
  std::string (*name_)(const void*, Word) = nullptr;
  const void* name_owner_ = nullptr;
};

}  // namespace stillrotor::io::cortexm
