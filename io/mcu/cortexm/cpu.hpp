// The processor as instructions see it: registers, memory, and the ways out of the straight line.
//
// Handlers (execute_*.hpp) are free functions over this. What they cannot do themselves, an
// exception, a return from one, sleep, they leave in `trap` and end the stretch; Exceptions acts on
// it between two instructions.
//
// Source ARM DDI 0403E: A2.3 registers, A3.2 alignment, B1.4 system registers.
// Not    the memory protection unit: the default memory map holds. Stores complete at once, so a
//        failing store is a precise bus fault (the part's write buffer makes it imprecise).
// RT     execute() does not allocate but where Code and Translation do.
#pragma once

#include <algorithm>
#include <array>
#include <bit>

#include "io/mcu/cortexm/bus.hpp"
#include "io/mcu/cortexm/code.hpp"
#include "io/mcu/cortexm/translation.hpp"

namespace stillrotor::io::cortexm {

enum class Trap : std::uint8_t {
  none,
  supervisor_call,
  usage_fault,   // trap_bits: of UFSR
  bus_fault,     // of BFSR
  memory_fault,  // of MMFSR
  breakpoint,
  exception_return,  // trap_value: EXC_RETURN
  wait_for_interrupt,
  wait_for_event,
  attention,  // a mask or a pending bit has changed
  undefined,  // an encoding that is none, or is not modelled: the run cannot go on
  unpredictable
};

namespace usage {  // UFSR, B3.2.15
inline constexpr Word undefined = 1, invalid_state = 2, invalid_pc = 4, no_coprocessor = 8,
                      unaligned = 0x100, divide_by_zero = 0x200;
}
namespace bus_error {  // BFSR
inline constexpr Word instruction = 1, precise = 2, unstacking = 8, stacking = 0x10, lazy = 0x20,
                      address_valid = 0x80;
}
namespace memory_error {  // MMFSR
inline constexpr Word instruction = 1;
}

namespace fp_context {  // FPCCR, B3.2.21
inline constexpr Word lazy_active = 1, user = 2, thread = 8, hard_ready = 0x10, bus_ready = 0x40,
                      lazy = 0x40000000, automatic = 0x80000000;
}
inline constexpr Word fpscr_modes = 0x07c00000;  // AHP, DN, FZ, RMode: what FPDSCR gives

namespace priority {  // B1.5.4; lower is more urgent
inline constexpr int nmi = -2, hard_fault = -1, none = 256;
inline constexpr Word implemented = 0xf0;  // four bits
}  // namespace priority

/// How the bits of a result are kept until somebody asks.
struct Flags {
  Word negative = 0;  // bit 31
  Word zero = 1;      // Z is set where it is 0
  Word carry = 0, overflow = 0;
};

/// What may be a loop that waits: the last short branch back, and the processor's state there.
struct IdleLoop {
  /// All that instructions without effects depend on; plain words, compared as such.
  struct State {
    std::array<Word, 16> r;
    std::array<Word, 32> s;
    std::array<Word, 8> rest;
    bool operator==(const State&) const = default;
  };
  /// So many rounds in a row are looked at: most loops have something else to do.
  static constexpr unsigned last_look = 3;
  /// And so many times is a loop not looked at that has been found to compute.
  static constexpr std::uint8_t believed = 31;

  const Op* branch = nullptr;
  std::uint64_t effects = 0;  // when it was last passed
  Cycle at = 0;
  unsigned rounds = 0;  // without effects, in a row, as far as they are looked at
  State state{};        // of the round before ...
  bool kept = false;    // ... if it has been kept
  unsigned moved = 0;   // a register that has told a round from the one before ...
  Word moved_to = 0;    // ... and where it stood then
  // Once it is known to wait, until anything happens.
  Cycle round = 0;
  std::uint64_t happened = ~std::uint64_t{0};  // Cpu::happened() then
};

class Cpu {
 public:
  Cpu() : bus(code) {}
  Cpu(const Cpu&) = delete;
  Cpu& operator=(const Cpu&) = delete;

  // What every instruction touches comes first.
  Cycle cycle = 0;
  Cycle stop = 0;            // instructions start before it
  std::array<Word, 16> r{};  // r[13]: the stack pointer in use; r[15] is not used
  Flags flags;
  Word table = ~Word{0};  // 0 in unit mode
  Cycle last_load = 0;    // the cycle in which it ended
  Word last_loaded = 0;   // its register
  std::array<Word, 32> s{};
  Word fpscr = 0;
  bool fp_ready = false;  // FP instructions need no look at CPACR, FPCCR, CONTROL

  std::uint8_t it = 0;     // EPSR.IT
  bool thumb = true;       // EPSR.T
  std::uint8_t ge = 0;     // APSR.GE
  bool saturated = false;  // APSR.Q
  Word ipsr = 0;
  bool unprivileged_thread = false, process_stack = false, fp_active = false;  // CONTROL
  Word other_sp = 0;  // the stack pointer that is not in use
  bool primask = false, faultmask = false;
  Word basepri = 0;
  int active_priority = priority::none;  // of the active exceptions, by group
  Word group_mask = ~Word{0xff} | 0xfe;  // the bits of a priority that pre-empt (AIRCR.PRIGROUP)
  bool event = false;                    // the event register of WFE
  bool exclusive = false;                // local monitor
  // Of the system control space, where instructions need them.
  bool trap_unaligned = false, trap_divide_by_zero = false;  // CCR
  Word cpacr = 0, fpccr = fp_context::automatic | fp_context::lazy, fpcar = 0, fpdscr = 0;

  Trap trap = Trap::none;
  Word trap_bits = 0, trap_value = 0;
  bool trap_has_address = false;
  const Op* ip = nullptr;  // the next instruction
  /// Counts what is more than a change of registers by instructions: stores, accesses outside of
  /// memory, fetches, exceptions, and whatever others do to the processor.
  std::uint64_t effects = 0;
  /// The same, and what others have written to memory.
  std::uint64_t happened() const noexcept { return effects + bus.written; }
  IdleLoop loop;
  std::uint64_t rounds_left_out = 0;  // of loops that wait

  Code code;
  Bus bus;
  std::array<Word, flash_lines> kept_lines{};  // of the flash, tag + 1
  Word flash_wait = 0;                         // of a line that is not kept

  bool handler_mode() const noexcept { return ipsr != 0; }
  bool privileged() const noexcept { return ipsr != 0 || !unprivileged_thread; }

  /// B1.5.4.
  int execution_priority() const noexcept {
    int result = active_priority;
    if (basepri != 0) result = std::min(result, static_cast<int>(basepri & group_mask));
    if (primask) result = std::min(result, 0);
    if (faultmask) result = std::min(result, priority::hard_fault);
    return result;
  }
  void set_control(Word value) noexcept;
  /// Handler or thread, and the stack that goes with it; stack pointers change places as needed.
  void set_mode(Word exception_number, bool on_process_stack) noexcept;

  /// Instructions from ip on until stop or a trap.
  void execute() noexcept;
  /// The same by the host's own code where there is a Translation, or never.
  void translate(bool on);
  Translation* translation() noexcept { return translation_.get(); }
  Word pc() const noexcept { return address_of(ip); }
  void set_pc(Word address) noexcept { ip = branch(address); }
  Word address_of(const Op* op) const noexcept {
    return op == nowhere_.data() ? nowhere_[0].imm : code.address_of(op);
  }

  // --- for handlers -------------------------------------------------------------------------
  void spend(unsigned cycles) noexcept { cycle += cycles & table; }
  /// Ends the stretch after this instruction.
  void attend() noexcept {
    if (trap == Trap::none) trap = Trap::attention;
    stop = 0;
  }
  const Op* raise(Trap what, Word bits, const Op* op) noexcept {
    trap = what;
    trap_bits = bits;
    trap_has_address = false;
    stop = 0;
    return op;
  }
  const Op* usage_fault(Word bits, const Op* op) noexcept {
    return raise(Trap::usage_fault, bits, op);
  }
  template <unsigned Condition>
  bool holds() const noexcept {
    const bool n = flags.negative >> 31, v = flags.overflow != 0;
    constexpr unsigned kind = Condition >> 1;
    bool result = true;
    if constexpr (kind == 0) result = flags.zero == 0;
    if constexpr (kind == 1) result = flags.carry != 0;
    if constexpr (kind == 2) result = n;
    if constexpr (kind == 3) result = v;
    if constexpr (kind == 4) result = flags.carry != 0 && flags.zero != 0;
    if constexpr (kind == 5) result = n == v;
    if constexpr (kind == 6) result = n == v && flags.zero != 0;
    return (Condition & 1) && kind != 7 ? !result : result;
  }
  bool condition(unsigned condition) const noexcept;
  void set_nz(Word result) noexcept { flags.negative = flags.zero = result; }
  Word apsr() const noexcept;
  void set_nzcv(Word apsr) noexcept;
  Word xpsr() const noexcept;
  Word control() const noexcept;

  /// Where that aligned datum lies in memory; false: the long way, by load() and store(). What is
  /// common goes this way and returns; the rest is left to a function of its own at the very end,
  /// so that the common way keeps everything in registers.
  template <class T>
  bool readable(Word address, const std::uint8_t*& place) const noexcept {
    const Area& area = bus.readable[address >> 28];
    Word offset;
    const bool here = area.holds<T>(address, offset);
    place = area.data + offset;
    return here;
  }
  template <class T>
  bool writable(Word address, std::uint8_t*& place) noexcept {
    const WritableArea& area = bus.writable[address >> 28];
    Word offset;
    ++effects;
    const bool here = area.holds<T>(address, offset);
    place = area.data + offset;
    return here && area.code_pages[offset >> Code::page_bits] == 0;
  }
  /// Zero-extended to a word. false: a trap has been raised; the instruction returns itself.
  template <class T>
  bool load(Word address, Word& value) noexcept;
  template <class T>
  bool store(Word address, Word value) noexcept;
  /// The long way, for any address.
  [[gnu::noinline]] bool load_elsewhere(Word address, unsigned size, Word& value) noexcept;
  [[gnu::noinline]] bool store_elsewhere(Word address, unsigned size, Word value) noexcept;
  /// LDM, LDRD and their like fault when they are not aligned, whatever CCR says.
  bool load_aligned(Word address, Word& value) noexcept {
    return (address & 3) == 0 ? load<Word>(address, value) : fault_unaligned();
  }
  bool store_aligned(Word address, Word value) noexcept {
    return (address & 3) == 0 ? store<Word>(address, value) : fault_unaligned();
  }
  bool fault_unaligned() noexcept {
    raise(Trap::usage_fault, usage::unaligned, nullptr);
    return false;
  }
  /// A single load has come; those that follow one another overlap (TRM 3.3.3).
  void charge_load(const Op* op) noexcept {
    const bool waits = (last_load != cycle - 1) | (last_loaded == op->n);
    cycle += table & Word{waits};
    last_load = cycle;
    last_loaded = op->d;
  }

  /// To a fixed target in the same stretch.
  const Op* hop(const Op* op) noexcept {
    spend(1);
    if (!has_line(op->imm)) return hop_to_new_line(op);
    if (static_cast<Word>(op->hop) + short_way < short_way) return hop_back(op);
    return op + op->hop;
  }
  /// A branch a short way back: rounds that change nothing are counted, not run.
  [[gnu::noinline]] const Op* hop_back(const Op* op) noexcept;
  static constexpr Word short_way = 32;  // in halfwords
  /// BranchWritePC: bit 0 does not count.
  [[gnu::noinline]] const Op* branch(Word address) noexcept;
  /// BXWritePC and LoadWritePC: bit 0 is the state, 0xFxxxxxxx in handler mode ends the exception.
  const Op* branch_exchange(Word address, const Op* op) noexcept {
    if (address >= 0xF0000000) [[unlikely]]
      return leave_exception(address, op);
    thumb = address & 1;
    return branch(address);
  }
  void refill(Word address) noexcept {
    spend(2);
    fetch_line(address);
  }
  void fetch_line(Word address) noexcept {
    if (!has_line(address)) fetch_flash_line(address);
  }
  /// What lies there is fetched at once.
  bool has_line(Word address) const noexcept {
    const Word line = address >> flash_line_bits;
    return flash_wait == 0 || kept_lines[line % flash_lines] == line + 1;
  }

  /// Every FP instruction first: access, lazy stacking, CONTROL.FPCA (B1.6, ExecuteFPCheck).
  bool prepare_fp() noexcept { return fp_ready || make_fp_ready(); }
  /// Where fp_ready is not set: makes it so and executes the instruction.
  [[gnu::cold, gnu::noinline]] const Op* once_fp_is_ready(const Op* op) noexcept {
    return make_fp_ready() ? op->execute(*this, op) : op;
  }
  void update_fp_ready() noexcept;
  bool fp_access() const noexcept {
    return (cpacr >> 20 & 3) == 3 || ((cpacr >> 20 & 3) == 1 && privileged());
  }

  Word main_sp() const noexcept { return process_stack && !handler_mode() ? other_sp : r[13]; }
  Word process_sp() const noexcept { return process_stack && !handler_mode() ? r[13] : other_sp; }
  void set_main_sp(Word value) noexcept {
    (process_stack && !handler_mode() ? other_sp : r[13]) = value & ~Word{3};
  }
  void set_process_sp(Word value) noexcept {
    (process_stack && !handler_mode() ? r[13] : other_sp) = value & ~Word{3};
  }

 private:
  [[gnu::cold, gnu::noinline]] bool load_unaligned(Word address, unsigned size, Word&) noexcept;
  [[gnu::cold, gnu::noinline]] bool store_unaligned(Word address, unsigned size, Word) noexcept;
  [[gnu::cold, gnu::noinline]] bool no_answer(Word address) noexcept;
  [[gnu::noinline]] bool make_fp_ready() noexcept;
  [[gnu::noinline]] void fetch_flash_line(Word address) noexcept;
  [[gnu::noinline]] const Op* hop_to_new_line(const Op* op) noexcept {
    fetch_flash_line(op->imm);
    return op + op->hop;
  }
  void copy_to(IdleLoop::State&) const noexcept;
  void leave_rounds_out() noexcept;
  [[gnu::noinline]] const Op* leave_exception(Word address, const Op* op) noexcept;
  const Op* at_nowhere(Handler, Word address) noexcept;

  std::array<Op, 1> nowhere_{};  // where nothing can be executed
  std::unique_ptr<Translation> translation_;
};

template <class T>
bool Cpu::load(Word address, Word& value) noexcept {
  const std::uint8_t* place;
  if (!readable<T>(address, place)) return load_elsewhere(address, sizeof(T), value);
  T narrow;
  std::memcpy(&narrow, place, sizeof(T));
  value = narrow;
  return true;
}

template <class T>
bool Cpu::store(Word address, Word value) noexcept {
  std::uint8_t* place;
  if (!writable<T>(address, place)) return store_elsewhere(address, sizeof(T), value);
  const T narrow = static_cast<T>(value);
  std::memcpy(place, &narrow, sizeof(T));
  return true;
}

/// Runs an IT block from op on until it ends or the stretch does (A7.3.2).
const Op* run_it_block(Cpu&, const Op* op) noexcept;

}  // namespace stillrotor::io::cortexm
