// Random instructions, executed here and by the unicorn library: registers, flags, memory and
// floating-point state must come out the same.
//
//   stillrotor_cortexm_oracle INSTRUCTIONS [SEED]
//   stillrotor_cortexm_oracle lockstep firmware.elf ROUNDS
//
// Each instruction starts from a random state. Encodings come from the groups below, all bits that
// a group leaves open at random; what this decoder calls unpredictable is counted and left out.
// Exit 0: no difference that is not explained; 1: the differences, printed.
//
// Known differences, each because of the other side:
//   - unicorn 2.0.1 has no rule against odd lists and registers that the manual calls
//   unpredictable:
//     left out as said;
//   - it takes VRINT (bits 19 to 16 are 6 or 7 among the two-operand forms), which FPv4-SP has not;
//   - it takes vector loads and stores and the selecting, rounding forms of 1111 1110;
//   - it rounds VCVT from fixed point by FPSCR; the manual says to nearest (A7.7.228);
//   - it takes STREXD, LDREXD, and the acquiring and releasing accesses of later architectures;
//   - its exclusive monitor compares addresses, which is allowed (A3.4.1): STREX here always fails;
//   - it keeps bits 1 and 0 of SP, which are always zero (B1.4.7): they are not compared;
//   - it runs on behind an instruction that its IT block skips: IT is tested by the manual instead;
//   - it faults on no unaligned LDM, LDRD, or VLDR: bases are word-aligned where that is asked for.
// unicorn is GPL-2 and linked by this program only, which is not shipped.
#include <unicorn/unicorn.h>

#include <cstdio>
#include <cstdlib>
#include <cstring>
#include <map>
#include <random>
#include <string>
#include <vector>

#include "io/mcu/cortexm/core.hpp"
#include "io/mcu/cortexm/decode.hpp"
#include "io/mcu/cortexm/program.hpp"

namespace stillrotor::io::cortexm {
namespace {

constexpr Word code_base = 0x08000000, code_bytes = 1 << 16;
constexpr Word ram_base = 0x20000000, ram_bytes = 1 << 14, ram_middle = ram_base + ram_bytes / 2;

enum class Needs : std::uint8_t { nothing, addresses, aligned, target };
struct Group {
  const char* name;
  bool wide;
  Word mask, value;
  Needs needs;
};
constexpr Needs none = Needs::nothing, any = Needs::addresses, even = Needs::aligned,
                far = Needs::target;
constexpr Group groups[] = {
    {"16-bit shift, add, move", false, 0xc000, 0x0000, none},
    {"16-bit data", false, 0xfc00, 0x4000, none},
    {"16-bit high registers", false, 0xff00, 0x4400, none},
    {"16-bit compare high", false, 0xff00, 0x4500, none},
    {"16-bit move high", false, 0xff00, 0x4600, none},
    {"16-bit exchange", false, 0xff00, 0x4700, far},
    {"16-bit by register", false, 0xf000, 0x5000, any},
    {"16-bit word offset", false, 0xf000, 0x6000, any},
    {"16-bit byte offset", false, 0xf000, 0x7000, any},
    {"16-bit half offset", false, 0xf000, 0x8000, any},
    {"16-bit on stack", false, 0xf000, 0x9000, any},
    {"16-bit addresses", false, 0xf000, 0xa000, none},
    {"16-bit adjust SP", false, 0xff00, 0xb000, none},
    {"16-bit compare and branch", false, 0xf500, 0xb100, none},
    {"16-bit extend", false, 0xff00, 0xb200, none},
    {"16-bit push", false, 0xfe00, 0xb400, even},
    {"16-bit reverse", false, 0xff00, 0xba00, none},
    {"16-bit pop", false, 0xfe00, 0xbc00, far},
    {"16-bit multiple", false, 0xf000, 0xc000, even},
    {"16-bit branch", false, 0xf000, 0xd000, none},
    {"16-bit branch always", false, 0xf800, 0xe000, none},
    {"multiple", true, 0xfe400000, 0xe8000000, even},
    {"dual", true, 0xfe400000, 0xe8400000, even},
    {"table branch", true, 0xfff0ffe0, 0xe8d0f000, any},
    {"shifted register", true, 0xfe008000, 0xea000000, none},
    {"modified immediate", true, 0xfa008000, 0xf0000000, none},
    {"plain immediate", true, 0xfa008000, 0xf2000000, none},
    {"branch", true, 0xf800d000, 0xf0008000, none},
    {"branch far", true, 0xf800d000, 0xf0009000, none},
    {"branch with link", true, 0xf800d000, 0xf000d000, none},
    {"store single", true, 0xff100000, 0xf8000000, any},
    {"load single", true, 0xfe100000, 0xf8100000, any},
    {"shift by register", true, 0xff80f0f0, 0xfa00f000, none},
    {"extend and add", true, 0xff80f0c0, 0xfa00f080, none},
    {"parallel", true, 0xff80f080, 0xfa80f000, none},
    {"miscellaneous", true, 0xff80f0c0, 0xfa80f080, none},
    {"multiply", true, 0xff800000, 0xfb000000, none},
    {"multiply long, divide", true, 0xff800000, 0xfb800000, none},
    {"float three operands", true, 0xff000f10, 0xee000a00, none},
    {"float two operands", true, 0xffb00f50, 0xeeb00a40, none},
    {"float immediate", true, 0xffb00ff0, 0xeeb00a00, none},
    {"float and core", true, 0xff000f7f, 0xee000a10, none},
    {"scalar and core", true, 0xff000f7f, 0xee000b10, none},
    {"float status", true, 0xffef0fff, 0xeee10a10, none},
    {"float pairs", true, 0xffe00ed0, 0xec400a10, none},
    {"float load, store", true, 0xff200e00, 0xed000a00, even},
    {"float multiple", true, 0xfe000e00, 0xec000a00, even},
    {"anything from 1110 1", true, 0xf8000000, 0xe8000000, even},
    {"anything from 1111 0", true, 0xf8000000, 0xf0000000, even},
    {"anything from 1111 1", true, 0xf8000000, 0xf8000000, even},
};

struct State {
  std::array<Word, 16> r{};
  Word apsr = 0, fpscr = 0;
  std::array<Word, 32> s{};
  bool operator==(const State&) const = default;
};

[[noreturn]] void stop(const char* what, uc_err error) {
  std::fprintf(stderr, "unicorn: %s: %s\n", what, uc_strerror(error));
  std::exit(2);
}
void must(uc_err error, const char* what) {
  if (error != UC_ERR_OK) stop(what, error);
}

class Other {
 public:
  /// code and ram are to be filled before the first step().
  Other() : ram(ram_bytes), code(code_bytes) {
    must(uc_open(UC_ARCH_ARM, static_cast<uc_mode>(UC_MODE_THUMB | UC_MODE_MCLASS), &uc_), "open");
    must(uc_ctl_set_cpu_model(uc_, UC_CPU_ARM_CORTEX_M4), "model");
    must(uc_mem_map_ptr(uc_, ram_base, ram_bytes, UC_PROT_READ | UC_PROT_WRITE, ram.data()), "ram");
    must(uc_mem_map_ptr(uc_, code_base, code_bytes, UC_PROT_READ | UC_PROT_EXEC, code.data()),
         "code");
    for (int i = 0; i < 16; ++i) {
      static constexpr int core[] = {UC_ARM_REG_R0,  UC_ARM_REG_R1, UC_ARM_REG_R2,  UC_ARM_REG_R3,
                                     UC_ARM_REG_R4,  UC_ARM_REG_R5, UC_ARM_REG_R6,  UC_ARM_REG_R7,
                                     UC_ARM_REG_R8,  UC_ARM_REG_R9, UC_ARM_REG_R10, UC_ARM_REG_R11,
                                     UC_ARM_REG_R12, UC_ARM_REG_SP, UC_ARM_REG_LR,  UC_ARM_REG_PC};
      ids_[i] = core[i];
      ids_[16 + i] = UC_ARM_REG_D0 + i;
    }
    ids_[32] = UC_ARM_REG_FPSCR;
    ids_[33] = UC_ARM_REG_XPSR;
    // Its first floating-point instruction loses what was written to FPSCR: VMOV S0, S0, where
    // nothing else is run.
    const std::uint16_t move[] = {0xeeb0, 0x0a40};
    std::memcpy(code.data() + code_bytes - 4, move, 4);
    must(uc_emu_start(uc_, (code_base + code_bytes - 4) | 1, code_base + code_bytes, 0, 1), "VMOV");
  }
  ~Other() { uc_close(uc_); }
  Other(const Other&) = delete;
  Other& operator=(const Other&) = delete;

  Word ge() {
    Word xpsr = 0;
    must(uc_reg_read(uc_, UC_ARM_REG_XPSR, &xpsr), "read XPSR");
    return xpsr & 0xf0000;
  }
  bool step(State& state) {
    std::array<std::uint64_t, 34> values{};
    std::array<void*, 34> places{};
    for (int i = 0; i < 34; ++i) places[i] = &values[i];
    for (int i = 0; i < 16; ++i) {
      values[i] = state.r[i];
      values[16 + i] = state.s[2 * i] | std::uint64_t{state.s[2 * i + 1]} << 32;
    }
    values[32] = state.fpscr;
    values[33] = state.apsr | 1u << 24;
    must(uc_reg_write_batch(uc_, ids_.data(), places.data(), 34), "write registers");
    const uc_err error = uc_emu_start(uc_, state.r[15] | 1, code_base + code_bytes, 0, 1);
    values = {};
    must(uc_reg_read_batch(uc_, ids_.data(), places.data(), 34), "read registers");
    for (int i = 0; i < 16; ++i) {
      state.r[i] = static_cast<Word>(values[i]);
      state.s[2 * i] = static_cast<Word>(values[16 + i]);
      state.s[2 * i + 1] = static_cast<Word>(values[16 + i] >> 32);
    }
    state.fpscr = static_cast<Word>(values[32]);
    state.apsr = static_cast<Word>(values[33]) & 0xf80f0000;
    return error == UC_ERR_OK;
  }
  std::vector<std::uint8_t> ram, code;

 private:
  uc_engine* uc_ = nullptr;
  std::array<int, 34> ids_{};
};

class Ours {
 public:
  Ours() : core_({code_base, code_bytes, ram_base, ram_bytes, 0, 0}, 82) {
    core_.bus().flash_alias = 0x05000000;  // nothing at 0, as there
  }
  Trap step(State& state) {
    Cpu& c = core_.cpu();
    c.cpacr = 0x00f00000;
    c.fp_active = true;
    c.fpccr = fp_context::automatic;
    c.update_fp_ready();
    for (int i = 0; i < 15; ++i) c.r[i] = state.r[i];
    c.s = state.s;
    c.fpscr = state.fpscr;
    c.set_nzcv(state.apsr);
    c.saturated = state.apsr >> 27 & 1;
    c.ge = state.apsr >> 16 & 0xf;
    c.it = 0;
    c.exclusive = false;
    c.thumb = true;
    c.trap = Trap::none;
    c.set_pc(state.r[15]);
    c.stop = c.cycle + 1;
    c.execute();
    for (int i = 0; i < 15; ++i) state.r[i] = c.r[i];
    state.r[15] = c.pc();
    state.s = c.s;
    state.fpscr = c.fpscr;
    state.apsr = c.apsr();
    // A branch to the other state faults at the next instruction.
    return c.trap == Trap::none && !c.thumb ? Trap::usage_fault : c.trap;
  }
  std::uint8_t* ram() { return core_.bus().sram.data; }
  std::uint8_t* code() { return core_.flash().data(); }
  void forget() { core_.cpu().code.forget_all(); }

 private:
  Core core_;
};

class Dice {
 public:
  explicit Dice(std::uint64_t seed) : engine_(seed) {}
  Word word() { return static_cast<Word>(engine_()); }
  Word below(Word n) { return word() % n; }
  /// Numbers that instructions treat apart come often.
  Word number() {
    static constexpr Word special[] = {
        0,          1,      2,      31,     32,   33,   0x7fffffff, 0x80000000,
        0xffffffff, 0x7fff, 0x8000, 0xffff, 0x7f, 0x80, 0xff,       0xfffffffe};
    switch (below(4)) {
      case 0:
        return special[below(std::size(special))];
      case 1:
        return word() >> below(32);
      default:
        return word();
    }
  }
  Word real() {
    static constexpr Word special[] = {0,          0x3f800000, 0x7f800000, 0x7fc00000, 0x7f800001,
                                       1,          0x007fffff, 0x00800000, 0x7f7fffff, 0x7fc12345,
                                       0x4f000000, 0x4f800000, 0x3f000000, 0x40200000};
    switch (below(4)) {
      case 0:
        return special[below(std::size(special))] | (word() & 0x80000000);
      case 1:
        return word();
      // Near one another, so that sums cancel and conversions round.
      default:
        return (word() & 0x807fffff) | (110 + below(45)) << 23;
    }
  }
  State state(Needs needs) {
    State s;
    for (int i = 0; i < 13; ++i) s.r[i] = number();
    s.r[13] = ram_middle + 4 * below(64);
    s.r[14] = number();
    if (needs == Needs::addresses || needs == Needs::aligned) {
      const Word grain = needs == Needs::aligned ? 4 : 1;
      for (int i = 0; i < 15; ++i)
        if (i != 13) s.r[i] = ram_middle + grain * below(64);
      // As an index: small, up or down.
      if (needs == Needs::addresses)
        for (int i = 1; i < 13; i += 2) s.r[i] = below(2) ? below(256) : 0 - below(256);
    }
    if (needs == Needs::target)
      for (int i = 0; i < 15; ++i)
        if (i != 13) s.r[i] = (code_base + below(code_bytes)) | 1;
    s.apsr = word() & 0xf80f0000;
    for (Word& one : s.s) one = real();
    s.fpscr = (below(2) ? word() & 0xf7c00000 : word() & 0xf0000000) | (below(2) ? 16 : 0);
    return s;
  }

 private:
  std::mt19937_64 engine_;
};

/// The other side's errors, of the list above.
bool is_known(const Group& group, Word bits, const State& before) {
  if (!group.wide) return false;
  const bool rounds = (bits & 0xffbe0f50) == 0xeeb60a40;
  const bool from_fixed = (bits & 0xffbe0f50) == 0xeeba0a40 && (before.fpscr & 3u << 22) != 0;
  const bool newer = (bits & 0xffe00000) == 0xe8c00000 && (bits >> 4 & 0xf) >= 6;
  const bool vector = (bits & 0xff100000) == 0xf9000000 || bits >> 24 == 0xfe;
  return rounds || from_fixed || newer || vector;
}

void print_difference(const Group& group, Word bits, const State& before, const State& ours,
                      const State& other) {
  std::printf("%s: %08x at %08x\n", group.name, bits, before.r[15]);
  const auto show = [](const char* name, int i, Word b, Word o, Word t) {
    if (o != t) std::printf("  %s%d: before %08x, here %08x, there %08x\n", name, i, b, o, t);
  };
  for (int i = 0; i < 16; ++i) show("r", i, before.r[i], ours.r[i], other.r[i]);
  for (int i = 0; i < 32; ++i) show("s", i, before.s[i], ours.s[i], other.s[i]);
  show("apsr", 0, before.apsr, ours.apsr, other.apsr);
  show("fpscr", 0, before.fpscr, ours.fpscr, other.fpscr);
  if (group.value >> 24 == 0xee)
    std::printf("  d %08x n %08x m %08x fpscr %08x\n",
                before.s[(bits >> 11 & 0x1e) | (bits >> 22 & 1)],
                before.s[(bits >> 15 & 0x1e) | (bits >> 7 & 1)],
                before.s[(bits << 1 & 0x1e) | (bits >> 5 & 1)], before.fpscr);
}

int compare(std::uint64_t wanted, std::uint64_t seed) {
  Dice dice(seed);
  Ours ours;
  std::uint64_t compared = 0, left_out = 0, both_refuse = 0, differences = 0;
  std::map<std::string, std::pair<std::uint64_t, std::uint64_t>> by_group;
  while (compared < wanted && differences < 40) {
    // The other side keeps what it has translated: each of its lives sees an address once.
    Other other;
    for (Word i = 0; i < code_bytes; i += 4) {
      const Word w = dice.word();
      std::memcpy(ours.code() + i, &w, 4);
    }
    for (Word i = 0; i < ram_bytes; i += 4) {
      // Words that are good as addresses to jump to.
      const Word w = (code_base + dice.below(code_bytes)) | 1;
      std::memcpy(ours.ram() + i, &w, 4);
    }
    std::vector<const Group*> at(code_bytes / 4);
    for (const Group*& g : at) {
      g = &groups[dice.below(std::size(groups))];
      Word bits = (dice.word() & ~g->mask) | g->value;
      const Word place = 4 * static_cast<Word>(&g - at.data());
      if (!g->wide) bits = (bits & 0xffff) | 0xbf000000;
      const std::uint16_t half[2] = {static_cast<std::uint16_t>(g->wide ? bits >> 16 : bits),
                                     static_cast<std::uint16_t>(g->wide ? bits : bits >> 16)};
      std::memcpy(ours.code() + place, half, 4);
    }
    std::memcpy(other.code.data(), ours.code(), code_bytes);
    std::memcpy(other.ram.data(), ours.ram(), ram_bytes);
    ours.forget();
    for (std::size_t i = 0; i + 1 < at.size() && compared < wanted; ++i) {
      const Group& group = *at[i];
      State before = dice.state(group.needs);
      before.r[15] = code_base + 4 * static_cast<Word>(i);
      // GE cannot be written from outside: the one that earlier instructions left is taken.
      before.apsr = (before.apsr & ~Word{0xf0000}) | other.ge();
      std::uint16_t half[2];
      std::memcpy(half, ours.code() + 4 * i, 4);
      const Word bits = group.wide ? Word{half[0]} << 16 | half[1] : half[0];
      State here = before, there = before;
      const Trap trap = ours.step(here);
      if (is_known(group, bits, before) || trap == Trap::unpredictable ||
          trap == Trap::breakpoint || trap == Trap::supervisor_call ||
          trap == Trap::exception_return) {
        ++left_out;
        std::memcpy(ours.ram(), other.ram.data(), ram_bytes);
        continue;
      }
      const bool went = other.step(there);
      ++by_group[group.name].first;
      there.r[13] &= ~Word{3};
      ++compared;
      bool refused = trap != Trap::none && trap != Trap::attention;
      // They also look for the instruction at the branch's target, and for both of its halves.
      if (here.r[15] - code_base >= code_bytes - 2) refused = !went;
      if (refused && !went) {
        ++both_refuse;
        ++by_group[group.name].second;
        std::memcpy(other.ram.data(), ours.ram(), ram_bytes);
        continue;
      }
      const bool memory = std::memcmp(ours.ram(), other.ram.data(), ram_bytes) == 0;
      if (here == there && memory && refused == !went) continue;
      ++differences;
      if (refused != !went)
        std::printf("%s by %s only (trap %d)\n", "refused", refused ? "us" : "them",
                    static_cast<int>(trap));
      if (!memory) std::printf("memory differs\n");
      print_difference(group, bits, before, here, there);
      std::memcpy(other.ram.data(), ours.ram(), ram_bytes);
    }
  }
  for (const auto& [name, count] : by_group)
    std::printf("%8llu (%llu refused by both) %s\n", static_cast<unsigned long long>(count.first),
                static_cast<unsigned long long>(count.second), name.c_str());
  std::printf(
      "compared %llu instructions (%llu refused by both), left out %llu as unpredictable; "
      "%llu differences\n",
      static_cast<unsigned long long>(compared), static_cast<unsigned long long>(both_refuse),
      static_cast<unsigned long long>(left_out), static_cast<unsigned long long>(differences));
  return differences == 0 ? 0 : 1;
}

/// Firmware of our own in both, compared whenever it comes to round_over(): registers, floats,
/// flags and all of RAM.
int lockstep(const char* path, std::uint64_t rounds) {
  constexpr Memories memories{0x08000000, 1 << 16, 0x20000000, 1 << 17, 0x10000000, 1 << 16};
  const Program program = load_program(path, memories);
  Word place = 0, start = 0, stack = 0;
  for (const Named& n : program.names)
    if (n.is_function && n.name == "round_over") place = n.address;
  std::memcpy(&stack, program.flash.data(), 4);
  std::memcpy(&start, program.flash.data() + 4, 4);

  Core ours(memories, 82, {.unit = true});
  std::copy(program.flash.begin(), program.flash.end(), ours.flash().begin());
  ours.power_on();
  uc_engine* uc = nullptr;
  std::vector<std::uint8_t> flash(memories.flash_bytes, 0xff), ram(memories.sram_bytes);
  std::vector<std::uint8_t> system(1 << 12);
  std::copy(program.flash.begin(), program.flash.end(), flash.begin());
  must(uc_open(UC_ARCH_ARM, static_cast<uc_mode>(UC_MODE_THUMB | UC_MODE_MCLASS), &uc), "open");
  must(uc_ctl_set_cpu_model(uc, UC_CPU_ARM_CORTEX_M4), "model");
  must(uc_mem_map_ptr(uc, memories.flash_base, flash.size(), UC_PROT_READ | UC_PROT_EXEC,
                      flash.data()),
       "flash");
  must(uc_mem_map_ptr(uc, memories.sram_base, ram.size(), UC_PROT_READ | UC_PROT_WRITE, ram.data()),
       "ram");
  must(uc_mem_map_ptr(uc, SystemControl::base, system.size(), UC_PROT_READ | UC_PROT_WRITE,
                      system.data()),
       "system space");
  must(uc_reg_write(uc, UC_ARM_REG_SP, &stack), "SP");
  const Word first_lr = ~Word{0};
  must(uc_reg_write(uc, UC_ARM_REG_LR, &first_lr), "LR");
  bool pass = false;
  uc_hook hook = 0;
  must(uc_hook_add(
           uc, &hook, UC_HOOK_CODE,
           reinterpret_cast<void*>(+[](uc_engine* engine, std::uint64_t, std::uint32_t, void* me) {
             bool& go_on = *static_cast<bool*>(me);
             if (!std::exchange(go_on, false)) uc_emu_stop(engine);
           }),
           &pass, place, place),
       "hook");
  int result = 0;
  Word pc = start & ~Word{1};
  for (std::uint64_t round = 0; round < rounds && result == 0; ++round) {
    pass = round != 0;  // it stands there already
    must(uc_emu_start(uc, pc | 1, memories.flash_base + memories.flash_bytes, 0, 0), "a round");
    must(uc_reg_read(uc, UC_ARM_REG_PC, &pc), "PC");
    do ours.run(ours.now() + 1);
    while (ours.can_go_on() && ours.cpu().pc() != place);
    bool same = ours.can_go_on() && pc == place &&
                std::memcmp(ram.data(), ours.bus().sram.data, ram.size()) == 0;
    for (int i = 0; i < 15; ++i) {
      static constexpr int core[] = {UC_ARM_REG_R0,  UC_ARM_REG_R1, UC_ARM_REG_R2,  UC_ARM_REG_R3,
                                     UC_ARM_REG_R4,  UC_ARM_REG_R5, UC_ARM_REG_R6,  UC_ARM_REG_R7,
                                     UC_ARM_REG_R8,  UC_ARM_REG_R9, UC_ARM_REG_R10, UC_ARM_REG_R11,
                                     UC_ARM_REG_R12, UC_ARM_REG_SP, UC_ARM_REG_LR};
      Word value = 0;
      must(uc_reg_read(uc, core[i], &value), "a register");
      same = same && value == ours.cpu().r[i];
    }
    for (int i = 0; i < 16; ++i) {
      std::uint64_t value = 0;
      must(uc_reg_read(uc, UC_ARM_REG_D0 + i, &value), "a float");
      same = same && value == (ours.cpu().s[2 * i] | std::uint64_t{ours.cpu().s[2 * i + 1]} << 32);
    }
    if (!same) {
      std::printf("round %llu: they differ at 0x%08x, there 0x%08x %s\n",
                  static_cast<unsigned long long>(round), ours.cpu().pc(), pc, ours.end().c_str());
      result = 1;
    }
  }
  uc_close(uc);
  if (result == 0)
    std::printf("%llu instructions of %s in lockstep\n",
                static_cast<unsigned long long>(ours.now()), path);
  return result;
}

}  // namespace
}  // namespace stillrotor::io::cortexm

int main(int argc, char** argv) {
  if (argc == 4 && std::string(argv[1]) == "lockstep")
    return stillrotor::io::cortexm::lockstep(argv[2], std::strtoull(argv[3], nullptr, 10));
  const std::uint64_t count = argc > 1 ? std::strtoull(argv[1], nullptr, 10) : 50'000;
  const std::uint64_t seed = argc > 2 ? std::strtoull(argv[2], nullptr, 10) : 1;
  return stillrotor::io::cortexm::compare(count, seed);
}
