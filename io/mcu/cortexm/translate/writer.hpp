// Writes a unit in the host's machine code (x86-64, calls as on Linux).
//
// The quick form looks at the clock now and then and runs on where that cannot reach Cpu::stop
// before the next look. Where it can, a careful form of the instructions up to there looks before
// each one, and leaves exactly there or comes back to the quick form. Both keep the guest's
// registers in the host's where that pays, fold what is known, and make flags only where somebody
// may see them.
//
// Careful forms and whatever else leads away from the quick form's straight line are detours, and
// most are never taken. So a detour is written when a run first takes it, behind all that is there
// by then; until then a few bytes stand for it that call Common::first_time with its number.
//
// Host   rbx the Cpu, r14 the cycle at the last look (Places::passed is added to it), r13 the RAM;
//        rax, rcx, rdx, xmm0, xmm1 for the moment; the rest holds guest registers.
// Ways out: `leave` ends (rax: the next instruction), `go_on` looks for that one's own unit, a link
//        jumps to a unit that is known or may be made later. In all of them the guest's state is in
//        memory, but for the cycle in r14.
//
// RT     allocates.
#pragma once

#include <xbyak/xbyak.h>

#include <array>
#include <cstring>
#include <functional>
#include <utility>
#include <vector>

#include "io/mcu/cortexm/translate/places.hpp"
#include "io/mcu/cortexm/translate/unit.hpp"

namespace stillrotor::io::cortexm::translate {

/// What all units share.
struct Common {
  const void* leave = nullptr;
  /// Called with the numbers of the unit and the detour behind the call, four bytes each; goes on
  /// at the detour with all registers as they are, but not the host's flags.
  const void* first_time = nullptr;
  const void* go_on = nullptr;
  // 16 bytes each, on a multiple of 16.
  const void* sign_bits = nullptr;
  const void* other_bits = nullptr;
  const void* comparisons = nullptr;
};
/// What a comparison of floats leaves, by what LAHF says after it (flags.cpp).
std::array<std::uint8_t, 0x430> comparisons() noexcept;

/// Condition codes of the host: even ones and their opposites.
enum HostCondition : unsigned {
  overflow = 0,
  below = 2,
  not_below = 3,
  equal = 4,
  not_equal = 5,
  not_above = 6,
  above = 7,
  sign = 8,
  unordered = 10,
  less = 12,
  not_less = 13,
  greater = 15
};

/// The end of a jump, the four bytes before which say how far.
using Jump = std::uint8_t*;
inline void lead(Jump jump, const std::uint8_t* to) noexcept {
  const auto distance = static_cast<std::int32_t>(to - jump);
  std::memcpy(jump - sizeof distance, &distance, sizeof distance);
}
/// Those that lead to one place.
class Jumps {
 public:
  Jumps() = default;
  Jumps(Jump one) { add(one); }
  void add(Jump one) noexcept { jumps_[count_++] = one; }
  bool empty() const noexcept { return count_ == 0; }
  void lead_to(const std::uint8_t* to) const noexcept {
    for (unsigned i = 0; i < count_; ++i) lead(jumps_[i], to);
  }

 private:
  std::array<Jump, 4> jumps_{};
  unsigned count_ = 0;
};

/// A jump to the unit that begins at that instruction, or, while there is none, out.
struct Link {
  const Op* to = nullptr;
  Jump jump = nullptr;
};

class Writer {
 public:
  /// number: of the unit, among those that Common::first_time is called for.
  Writer(Cpu&, const Common&, Xbyak::CodeGenerator&, Unit, std::uint32_t number);
  Writer(const Writer&) = delete;
  Writer& operator=(const Writer&) = delete;
  /// The quick form, where the assembler stands.
  void write();
  /// From now on what led to its first time leads there. ecx: what the host's register holds on the
  /// way there now.
  void write_detour(std::uint32_t number, Word ecx);
  const Unit& unit() const noexcept { return unit_; }
  /// Written since the last time.
  std::vector<Link> take_links() noexcept { return std::exchange(links_, {}); }
  /// Flash whose contents stand in the code as numbers.
  std::vector<const Op*> take_folded() noexcept { return std::exchange(folded_, {}); }

 private:
  using Reg = Xbyak::Reg32;
  using Xmm = Xbyak::Xmm;

  // --- the whole (writer.cpp) ---------------------------------------------------------------
  void write_body();
  void look_ahead();
  void go_carefully(std::size_t look);
  void write_step();
  void write_stubs();
  void fall_through();
  void write_instruction();
  /// From those jumps on, from the state as it is now.
  void detour(const Jumps& from, std::function<void()> write);
  std::uint8_t* here() const noexcept { return const_cast<std::uint8_t*>(a_.getCurr()); }
  /// Still to be led somewhere; until then it leads to what comes next.
  Jump jump();
  Jump jump_if(unsigned host_condition);
  const Step& step() const noexcept { return unit_.steps[at_]; }
  const Op& op() const noexcept { return *step().op; }
  bool is_in_block() const noexcept { return step().condition != 14; }
  /// Behind this step, or where it is left in the middle of it.
  bool lives(std::uint8_t flags) const noexcept {
    return careful_ || step().leaves || unit_.lives(at_, flags);
  }
  unsigned ahead_of_next() const noexcept;
  /// Of an instruction that is no load.
  void pass(unsigned cycles) noexcept {
    places_.passed += cycles;
    places_.last_load = LastLoad::earlier;
  }

  // --- registers (registers.cpp) --------------------------------------------------------------
  Xbyak::Address member(const void* of_cpu, unsigned bits = 32);
  Xbyak::Address guest(unsigned r) { return member(&c_.r[r]); }
  Xbyak::Address guest_single(unsigned s) { return member(&c_.s[s]); }
  bool known(unsigned r, Word& value) const noexcept;
  /// In a host register, which stays until the third new one after it.
  Reg get(unsigned r);
  Xmm get_single(unsigned s);
  Reg fresh();
  Xmm fresh_single();
  /// That guest register's value is now what the host's register holds.
  void bind(unsigned r, Reg);
  void bind_single(unsigned s, Xmm);
  void set_known(unsigned r, Word);
  /// It is about to be written: flags that were left to be made of it are made.
  void overwrite(unsigned r);
  void overwrite_single(unsigned s);
  void store_registers();
  void load_registers();
  void all_in_memory();
  static Places at_begin_of_round(const Places& held);
  void move_registers(const Places& from, const Places& to);

  // --- flags (flags.cpp) ------------------------------------------------------------------------
  static bool same_flags(const Places&, const Places& head) noexcept;
  void replace(std::uint8_t flags) noexcept;  // what is pending of them is wanted no more
  void make(std::uint8_t flags);              // in memory, and so from now on
  void make_nz();
  void make_carry_and_overflow(bool carry, bool overflow);
  void make_float_status();
  bool make_all_of_floats(std::uint8_t flags);
  void compare_floats(const Pending&);
  void load_to(Reg, const Source&);
  template <class F>
  void with_operand(const Source&, F);
  /// Leaves the host's flags so that this condition code of the host holds where the guest's does.
  unsigned test(unsigned condition);
  void test_alone(const Pending&);

  // --- ways out, calls (exits.cpp) --------------------------------------------------------------
  void store_last_load();
  void store_state();
  void leave_at(const Op*);
  void call(const Op&, Handler);
  void call_step();
  void leave_by_handler();
  void leave_by_block();
  void jump_out(const Op* to);
  void hop_out(const Op& branch);
  void look_for_waiting(const Op& branch, const Places* round);
  void go_round(Places held);
  void go_round_again(Word begin);
  void check_line(Word address, const std::function<void()>& where_kept);
  void fetch_line(Word address);
  /// Something else is tried, which may go on by itself; what is added, or the end of it, is where
  /// that was in vain.
  using Try = std::function<void(Jumps& in_vain)>;
  /// The step's handler does it after all; then on here, in the state as it is now.
  void or_by_handler(const Places& before, const Jumps& away, Try elsewhere = {});

  // --- classes of instructions ------------------------------------------------------------------
  void write_data();
  void write_compute();
  void write_multiply_flags();
  void write_long_product();
  void write_block();
  void write_joined();
  void write_parted();
  void write_all_or_none();
  void write_conditional(const Step&);

  void write_branch_if();
  void write_branch();
  void write_return();

  bool is_static(Word& address) const noexcept;
  std::uint8_t* memory_at(Word address, unsigned bytes, bool written) const noexcept;
  void charge_load(std::uint8_t reg);
  template <class F>
  void touch(Bus::WindowPlace, Word address, F* access);
  void look_again();
  Bus::WindowPlace peripheral_at(Word address) const noexcept;
  void access_outside(Bus::WindowPlace, Word address);
  bool write_outside_memory(Word address);
  Jump write_peripheral_met();
  void count_effect();
  void find_in_ram(Word base_offset, unsigned size, unsigned bytes, bool written, Jumps& away);
  void take(Reg to, const Xbyak::RegExp& from);
  void put(const Xbyak::RegExp& to, unsigned r);
  void write_load();
  void write_store();
  void write_back();
  void write_double(bool load);
  void write_multiple(bool load);
  void write_float_load();
  void write_float_store();
  void write_float_multiple();

  void ask_for_float();
  Jump check_ordinary(Xmm);
  void go_on_if_zero(const Xmm& factor, const std::uint8_t* at);
  void exactly(const Places& before, const Jumps& away, Try stands);
  void write_float_binary();
  void write_float_chained();
  void write_float_fused();
  void write_float_unary();
  void write_float_compare();
  void write_status_to_flags();
  void write_float_to_core();
  void write_float_from_core();

  Cpu& c_;
  const Common& common_;
  Xbyak::CodeGenerator& a_;
  const Unit unit_;
  const std::uint32_t number_;
  bool careful_ = false, in_round_ = false, in_detour_ = false;
  Word met_ecx_ = 0;  // write_detour()'s
  const std::uint8_t* entry_ = nullptr;
  /// The body once more, for a unit that is a loop: it begins with registers and flags as a round
  /// leaves them, and stores them only where it is left.
  struct Round {
    const std::uint8_t* head = nullptr;
    Places places;
  } round_;
  std::size_t at_ = 0;
  Places places_;
  std::array<std::uint32_t, 16> used_{}, used_single_{};  // host registers, when last
  std::uint32_t clock_ = 0;
  struct Detour {
    Jumps from;
    Places places;
    std::size_t at;
    bool careful, in_round;
    std::function<void()> write;
  };
  std::vector<Detour> detours_;
  std::size_t stubs_ = 0;  // so many of them have theirs
  /// A look at the clock.
  struct Look {
    std::size_t at;
    Places places;
    const std::uint8_t* here;
    bool last = false;  // of its body
  };
  std::vector<Look> looks_;
  std::vector<Link> links_;
  std::vector<const Op*> folded_;
};

}  // namespace stillrotor::io::cortexm::translate
