// Exceptions: which are pending, which runs, how the processor goes in and comes out.
//
// An exception is taken between two instructions (the part may also break off a load or store of
// several registers, or a division, and come back to it: the latency of up to that instruction is
// not modelled). Stacking takes entry_cycles; what is pending and highest at its end is entered
// (late arrival). A return first looks for what may follow without unstacking (tail-chaining), and
// again for what comes while it unstacks (pop pre-emption).
//
// Source ARM DDI 0403E, B1.5; TRM of the core, 3.9 (latencies).
// RT     safe after construction.
#pragma once

#include <array>
#include <bit>
#include <utility>

#include "io/mcu/cortexm/cpu.hpp"
#include "io/mcu/cortexm/exception_times.hpp"
#include "io/mcu/cortexm/scheduler.hpp"

namespace stillrotor::io::cortexm {

namespace exception {
inline constexpr unsigned reset = 1, nmi = 2, hard_fault = 3, memory_fault = 4, bus_fault = 5,
                          usage_fault = 6, supervisor_call = 11, debug_monitor = 12,
                          pending_call = 14, system_tick = 15, first_interrupt = 16;
inline constexpr unsigned most = 16 + 240;
}  // namespace exception

/// A set of exceptions by number, looked through without looking at all of them.
class ExceptionSet {
 public:
  bool operator[](unsigned n) const noexcept { return words_[n / 64] >> (n % 64) & 1; }
  void put(unsigned n, bool in) noexcept {
    const std::uint64_t bit = std::uint64_t{1} << (n % 64);
    words_[n / 64] = in ? words_[n / 64] | bit : words_[n / 64] & ~bit;
  }
  unsigned count() const noexcept {
    unsigned all = 0;
    for (const std::uint64_t word : words_) all += static_cast<unsigned>(std::popcount(word));
    return all;
  }
  /// Of those that are in the other set too, in their order.
  template <class Visit>
  void for_each_also_in(const ExceptionSet& other, Visit visit) const noexcept {
    for (unsigned i = 0; i < words_.size(); ++i)
      for (std::uint64_t rest = words_[i] & other.words_[i]; rest != 0; rest &= rest - 1)
        visit(64 * i + static_cast<unsigned>(std::countr_zero(rest)));
  }

 private:
  std::array<std::uint64_t, exception::most / 64> words_{};
};

class Exceptions {
 public:
  Exceptions(Cpu&, Scheduler&, unsigned interrupts);

  /// B1.5.5: registers, masks and pending state as after reset, SP and PC from the vector table.
  void reset() noexcept;

  // --- pending and enabled -----------------------------------------------------------------
  void pend(unsigned number) noexcept;
  void unpend(unsigned number) noexcept;
  /// A peripheral's interrupt line. While it is high the interrupt is pending again when its
  /// handler has returned (B3.4.1).
  void set_line(unsigned interrupt, bool high) noexcept;
  bool is_pending(unsigned number) const noexcept { return pending_[number]; }
  bool is_active(unsigned number) const noexcept { return active_[number]; }
  bool is_enabled(unsigned number) const noexcept { return enabled_[number]; }
  void enable(unsigned number, bool on) noexcept;
  std::uint8_t priority_byte(unsigned number) const noexcept { return priority_[number]; }
  void set_priority(unsigned number, Word value) noexcept;
  void set_priority_group(Word group) noexcept;
  void set_active(unsigned number, bool) noexcept;  // SHCSR
  unsigned highest_pending() const noexcept;        // 0: none; whatever the masks
  unsigned active_count() const noexcept;
  unsigned interrupts() const noexcept { return interrupts_; }

  // --- between two instructions ------------------------------------------------------------
  bool preempts() const noexcept {
    return pending_count_ != 0 && candidate(cpu_.execution_priority()) != 0;
  }
  /// WFI ends: as if PRIMASK were 0 (B1.5.19).
  bool wakes() const noexcept;
  /// Takes the highest pending exception; the processor would go on at cpu.ip.
  void enter() noexcept;
  /// Acts on a trap that is an exception or the end of one. false: lockup, the part stands still.
  bool act(Trap) noexcept;
  bool locked_up() const noexcept { return locked_up_; }
  /// The processor has gone to sleep on its way out of its last handler.
  bool sleeps_on_exit() noexcept { return std::exchange(sleep_, false); }

  // --- of the system control space ---------------------------------------------------------
  Word vector_table = 0;
  Word memory_status = 0, bus_status = 0, usage_status = 0, hard_status = 0, debug_status = 0;
  Word memory_address = 0, bus_address = 0;
  bool memory_enabled = false, bus_enabled = false, usage_enabled = false;
  bool align_stack = true, thread_from_any = false;   // CCR.STKALIGN, NONBASETHRDENA
  bool sleep_on_exit = false, event_on_pend = false;  // SCR
  std::uint64_t taken = 0;                            // entries so far, tail-chained ones too
  /// How many times in a row a handler has come back to the instruction that faults, and it faulted
  /// again before anything else was done.
  std::uint64_t same_fault = 0;
  /// Handlers in a row of one exception without an instruction of what it interrupts: the longest.
  struct Chain {
    unsigned number = 0;
    std::uint64_t count = 0;
  };
  const Chain& longest_chain() const noexcept { return longest_; }
  ExceptionTimes times;

 private:
  int priority_of(unsigned number) const noexcept;
  int group_priority(unsigned number) const noexcept;
  unsigned candidate(int below) const noexcept;
  void find_active_priority() noexcept;
  void fault(unsigned number) noexcept;
  bool push_frame(Word return_address) noexcept;
  void note_lazy_frame(Word frame) noexcept;
  Word entry_link() const noexcept;
  void take(unsigned number, Word link) noexcept;
  void stack_and_take(Word return_address) noexcept;
  bool follow(Word exc_return) noexcept;
  void leave(Word exc_return) noexcept;
  void refuse_return(unsigned number, Word exc_return) noexcept;
  void pop_frame(Word frame, Word exc_return) noexcept;
  void deactivate(unsigned number) noexcept;
  Word cost(unsigned cycles) const noexcept { return cpu_.table ? cycles : 1; }
  void let_pass(unsigned cycles) noexcept;

  Cpu& cpu_;
  Scheduler& scheduler_;
  unsigned interrupts_;
  ExceptionSet pending_, active_, enabled_, line_;
  std::array<std::uint8_t, exception::most> priority_{};
  unsigned pending_count_ = 0;
  bool locked_up_ = false, sleep_ = false;
  Word returned_to_ = ~Word{0};
  Cycle returned_at_ = 0;
  Chain chain_, longest_;
  void count_chain(unsigned number, bool chained) noexcept;
  void count_fault(Word pc) noexcept;
};

}  // namespace stillrotor::io::cortexm
