// Random code, translated and interpreted side by side:
//
//   stillrotor_cortexm_streams PROGRAMS SEED
//
// A program is a loop of random instructions with branches ahead, IT blocks, calls, loads and
// stores through pointers that are mostly good, floating point on numbers of all kinds, and stores
// into its own code; faults end in a handler that puts the registers right. An interrupt comes at
// random times, and each stretch ends at a random cycle; then all registers have to be equal, and
// the memories at the program's end. 0: they were.
#include <cstdlib>
#include <random>
#include <vector>

#include "io/mcu/cortexm/decode.hpp"
#include "tests/io/cortexm/lockstep/lockstep.hpp"

namespace stillrotor::io::cortexm {
namespace {

constexpr Word flash_base = 0x08000000, flash_bytes = 1 << 14;
constexpr Word ram_base = 0x20000000, ram_bytes = 1 << 14;
constexpr Word code = 0x400, function = 0x1000, table = 0x1800, handlers = 0x2000;  // in flash
constexpr Word code_in_ram = 0x1000, data_in_ram = 0x2000;
constexpr unsigned interrupt = 5;

class Dice {
 public:
  explicit Dice(std::uint64_t seed) : engine_(seed) {}
  Word word() { return static_cast<Word>(engine_()); }
  Word below(Word n) { return word() % n; }
  bool one_in(Word n) { return below(n) == 0; }
  Word number() {
    static constexpr Word special[] = {0,          1,          2,          31,         32,
                                       0x7fffffff, 0x80000000, 0xffffffff, 0xfffffffe, 255};
    return one_in(3) ? special[below(std::size(special))] : word() >> below(32);
  }
  Word real() {
    static constexpr Word special[] = {0,          0x3f800000, 0x7f800000, 0x7fc00000, 1,
                                       0x007fffff, 0x00800000, 0x7f7fffff, 0x4f000000, 0x3f000000};
    if (one_in(8)) return special[below(std::size(special))] | (word() & 0x80000000);
    return (word() & 0x807fffff) | (120 + below(14)) << 23;
  }

 private:
  std::mt19937_64 engine_;
};

/// A form of instruction: the open bits of it at random.
struct Form {
  bool wide;
  Word mask, value;
  unsigned weight;
};
constexpr Form plain_forms[] = {
    {false, 0xc000, 0x0000, 30},         // shift, add, move
    {false, 0xfc00, 0x4000, 25},         // data
    {false, 0xff00, 0x4400, 5},          // high registers
    {false, 0xff00, 0x4500, 3},          //
    {false, 0xff00, 0x4600, 8},          //
    {false, 0xf800, 0xa000, 2},          // address from PC
    {false, 0xf800, 0xa800, 2},          // from SP
    {false, 0xff78, 0xb000, 1},          // SP up or down a little
    {false, 0xff00, 0xb200, 4},          // extend
    {false, 0xff00, 0xba00, 3},          // reverse
    {true, 0xfe008000, 0xea000000, 20},  // shifted register
    {true, 0xfa008000, 0xf0000000, 20},  // modified immediate
    {true, 0xfa008000, 0xf2000000, 12},  // plain immediate
    {true, 0xff80f0f0, 0xfa00f000, 4},   // shift by register
    {true, 0xff80f0c0, 0xfa00f080, 5},   // extend and add
    {true, 0xff80f080, 0xfa80f000, 2},   // parallel
    {true, 0xff80f0c0, 0xfa80f080, 3},   // miscellaneous
    {true, 0xff800000, 0xfb000000, 6},   // multiply
    {true, 0xff800000, 0xfb800000, 4},   // long, divide
    {true, 0xff000f10, 0xee000a00, 40},  // float, three operands
    {true, 0xffb00f50, 0xeeb00a40, 25},  // two operands
    {true, 0xffb00ff0, 0xeeb00a00, 5},   // immediate
    {true, 0xff000f7f, 0xee000a10, 6},   // float and core
    {true, 0xffffffff, 0xeef1fa10, 20},  // VMRS to the flags
    {true, 0xffffffff, 0xeef13a10, 1},   // VMRS R3
};
constexpr Form memory_forms[] = {
    {false, 0xf000, 0x5000, 6},          // by register
    {false, 0xf000, 0x6000, 10},         // by offset
    {false, 0xf000, 0x7000, 6},          //
    {false, 0xf000, 0x8000, 6},          //
    {false, 0xf000, 0x9000, 8},          // on the stack
    {false, 0xf800, 0x4800, 5},          // literal
    {false, 0xff00, 0xb400, 3},          // push
    {false, 0xff00, 0xbc00, 3},          // pop
    {false, 0xf000, 0xc000, 3},          // multiple
    {true, 0xfe400000, 0xe8000000, 3},   //
    {true, 0xfe400000, 0xe8400000, 4},   // dual, exclusive
    {true, 0xff100000, 0xf8000000, 10},  // store
    {true, 0xfe100000, 0xf8100000, 14},  // load
    {true, 0xff200e00, 0xed000a00, 14},  // float
    {true, 0xfe000e00, 0xec000a00, 3},   // float multiple
};

class Stream {
 public:
  Stream(Dice& dice, Core& core) : dice_(dice), core_(core) {
    Op undefined{};
    decode_instruction(0xf4ec1ef0, true, flash_base, undefined);
    undefined_ = undefined.execute;
  }

  /// A loop from there on; returns its end.
  Word loop(Word at, Word calls) {
    const Word first = at;
    const unsigned length = 4 + dice_.below(60);
    for (unsigned i = 0; i < length; ++i) {
      switch (dice_.below(14)) {
        case 0:
          at = it_block(at);
          break;
        case 1:
          at = over_some(at, 0xd000 | dice_.below(14) << 8, 0);
          break;
        case 2:
          at = over_some(at, 0xb100 | dice_.below(2) << 11 | dice_.below(8), 3);
          break;
        case 3:
          at = dice_.one_in(2) ? over_some(at, 0xe000, 0) : one(at, plain_forms);
          break;
        case 4:
          at = calls != 0 && dice_.one_in(2) ? call(at, calls) : one(at, memory_forms);
          break;
        case 5:
          at = dice_.one_in(2) ? short_loop(at) : one(at, plain_forms);
          break;
        case 6:
        case 7:
        case 8:
          at = one(at, memory_forms);
          break;
        case 9:
          at = pointer(at);
          break;
        default:
          at = one(at, plain_forms);
      }
    }
    return branch(at, first);
  }
  Word leaf(Word at) {
    for (unsigned i = 2 + dice_.below(6); i != 0; --i) at = one(at, plain_forms, true);
    return half(at, 0x4770);
  }
  /// The handler of all faults: pointers are made good, and it returns to the start.
  void recover(Word at, Word start, Word stack) {
    const Word numbers = at + 0x40;
    const auto literal = [&](Word r, Word value, Word which) {  // LDR r, [PC, ...]
      std::memcpy(core_.bus().memory(numbers + 4 * which), &value, 4);
      at = half(at, 0xf8df);
      at = half(at, r << 12 | (numbers + 4 * which - ((at + 2) & ~Word{3})));
    };
    literal(13, stack, 0);
    literal(0, start, 1);
    at = half(at, 0x9006);  // STR R0, [SP, #24]
    literal(1, 0x01000000, 2);
    at = half(at, 0x9107);
    literal(2, 0xfffffff9, 3);
    for (Word r = 4; r < 8; ++r) literal(r, ram_base + data_in_ram + 0x100 * r, r);
    half(at, 0x4710);  // BX R2
  }
  Word branch(Word at, Word to) { return long_branch(at, to, 0x9000); }
  Word half(Word at, Word bits) {
    const auto value = static_cast<std::uint16_t>(bits);
    std::memcpy(core_.bus().memory(at), &value, 2);
    return at + 2;
  }

 private:
  Word long_branch(Word at, Word to, Word kind) {
    const Word offset = to - (at + 4);
    const Word s = offset >> 31, i1 = offset >> 23 & 1, i2 = offset >> 22 & 1;
    at = half(at, 0xf000 | s << 10 | (offset >> 12 & 0x3ff));
    return half(at, kind | (1 ^ i1 ^ s) << 13 | (1 ^ i2 ^ s) << 11 | (offset >> 1 & 0x7ff));
  }
  /// A branch ahead, and what it leads over; place: of its offset in halfwords.
  Word over_some(Word at, Word bits, unsigned place) {
    const Word from = at;
    at += 2;
    for (unsigned i = 1 + dice_.below(3); i != 0; --i)
      at = dice_.one_in(3) ? one(at, memory_forms) : one(at, plain_forms);
    half(from, bits | (at - (from + 4)) / 2 << place);
    return at;
  }
  Word call(Word at, Word to) { return long_branch(at, to, 0xd000); }

  /// Registers 4 to 7 point into the data most of the time, and 2 is a small index.
  Word pointer(Word at) {
    if (dice_.one_in(5)) return half(at, 0x2200 | 4 * dice_.below(32));
    const Word r = 4 + dice_.below(4);
    const Word area = dice_.one_in(40)   ? ram_base + code_in_ram
                      : dice_.one_in(20) ? 0x10000000
                      : dice_.one_in(8)  ? flash_base + table
                                         : ram_base + data_in_ram;
    const Word value = area + 4 * dice_.below(64) + (dice_.one_in(30) ? dice_.below(4) : 0);
    const auto wide_move = [&](Word opcode, Word imm) {
      at = half(at, opcode | (imm >> 11 & 1) << 10 | imm >> 12);
      at = half(at, (imm >> 8 & 7) << 12 | r << 8 | (imm & 0xff));
    };
    wide_move(0xf240, value & 0xffff);
    wide_move(0xf2c0, value >> 16);
    return at;
  }
  /// Flags go over its end, and whatever it does goes round.
  Word short_loop(Word at) {
    const Word first = at;
    const auto some = [&] {
      for (Word n = dice_.below(3); n > 0; --n)
        at = dice_.one_in(5)   ? it_block(at)
             : dice_.one_in(5) ? one(at, memory_forms, true)
                               : one(at, plain_forms, true);
    };
    some();
    at = half(at, 0x3b01);  // SUBS R3, #1
    some();
    at = half(at, 0x2b20);  // CMP R3, #32
    if (dice_.one_in(3)) at = one(at, plain_forms, true);
    const Word offset = (first - (at + 4)) / 2;
    return half(at, 0xd200 | (offset & 0xff));  // as long as it is no less: few rounds, or many
  }
  Word it_block(Word at) {
    const Word count = 1 + dice_.below(4);
    const Word condition = dice_.below(14);
    // The mask: the conditions' last bits, a one, zeros.
    Word bits = 0;
    for (Word i = 1; i < count; ++i) bits |= dice_.below(2) << (4 - i);
    bits |= 1u << (4 - count);
    at = half(at, 0xbf00 | condition << 4 | bits);
    for (Word i = 0; i < count; ++i)
      at = dice_.one_in(4) ? one(at, memory_forms, false, true) : one(at, plain_forms, false, true);
    return at;
  }

  template <std::size_t N>
  Word one(Word at, const Form (&forms)[N], bool keeps_link = false, bool in_it = false) {
    unsigned all = 0;
    for (const Form& f : forms) all += f.weight;
    while (true) {
      Word which = dice_.below(all), i = 0;
      while (which >= forms[i].weight) which -= forms[i++].weight;
      const Form& f = forms[i];
      const Word bits = (dice_.word() & ~f.mask) | f.value;
      Op op{};
      decode_instruction(f.wide ? bits : bits & 0xffff, f.wide, at, op);
      const Handler h = in_it ? op.in_it : op.execute;
      if (h == undefined_ || op.execute == undefined_ || h == unpredictable_here ||
          op.execute == unpredictable_here)
        continue;
      const bool memory = std::size(forms) == std::size(memory_forms);
      // Bases are pointers, most of the time; and pointers last a while.
      if (memory && op.n != 15 && op.n != 13 && (op.n < 4 || op.n > 7) && !dice_.one_in(60))
        continue;
      const bool by_register = memory && ((!f.wide && f.value == 0x5000) ||
                                          (f.wide && f.value >> 24 == 0xf8 && op.m != 0));
      if (by_register && op.m != 2 && !dice_.one_in(60)) continue;
      if (f.value == 0xbc00 && (bits & 0x100)) continue;    // POP PC
      if (f.value == 0xe8000000 && op.imm >> 15) continue;  // LDM PC
      if ((f.value == 0xbc00 || f.value == 0xc000 || f.value == 0xe8000000) && (op.imm & 0xf4) &&
          !dice_.one_in(30))
        continue;
      if (((op.d >= 4 && op.d <= 7) || op.d == 2) && !is_float(bits, f) && !dice_.one_in(40))
        continue;
      if (memory && (op.imm & 3) && op.n != 15 && !dice_.one_in(10)) continue;
      if ((op.d == 13 || op.d == 15) && !is_float(bits, f) && !dice_.one_in(200)) continue;
      if (keeps_link && (op.d == 14 || op.a == 14)) continue;
      if (f.wide) {
        at = half(at, bits >> 16);
        return half(at, bits & 0xffff);
      }
      return half(at, bits & 0xffff);
    }
  }
  static bool is_float(Word bits, const Form& f) {
    return f.wide && (bits & 0xec000000) == 0xec000000;
  }

  Dice& dice_;
  Core& core_;
  Handler undefined_;
};

void write_program(Core& core, std::uint64_t seed) {
  const auto put = [&](Word at, Word value) { std::memcpy(core.bus().memory(at), &value, 4); };
  Dice own(seed);
  for (Word i = 0; i < flash_bytes; i += 4) put(flash_base + i, 0xbf00bf00);
  for (Word i = 0; i < 0x400; i += 4)
    put(flash_base + table + i, own.one_in(2) ? own.real() : own.number());
  Stream stream(own, core);
  const bool from_ram = own.one_in(4);
  const Word start = from_ram ? ram_base + code_in_ram : flash_base + code;
  core.power_on();
  for (Word i = 0; i < ram_bytes - data_in_ram; i += 4)
    put(ram_base + data_in_ram + i, own.one_in(2) ? own.real() : own.number());
  stream.leaf(flash_base + function);
  stream.loop(start, from_ram ? 0 : flash_base + function);
  put(flash_base, ram_base + data_in_ram + 0x800);
  put(flash_base + 4, start | 1);
  for (unsigned n = 2; n < 98; ++n) put(flash_base + 4 * n, (flash_base + handlers) | 1);
  stream.recover(flash_base + handlers, start, ram_base + data_in_ram + 0x1e00);
  // The interrupt: adds to a word, and returns.
  const Word handler = flash_base + handlers + 0x400;
  put(flash_base + 4 * (16 + interrupt), handler | 1);
  Word at = handler;
  for (const Word bits : {0x4802u, 0x6801u, 0x3101u, 0x6001u, 0x4770u, 0xbf00u})
    at = stream.half(at, bits);
  put(at, ram_base + data_in_ram + 0x1c00);
  core.cpu().code.forget_all();
  core.reset();
  Cpu& c = core.cpu();
  for (unsigned i = 0; i < 13; ++i) c.r[i] = own.number();
  for (unsigned i = 4; i < 8; ++i) c.r[i] = ram_base + data_in_ram + 4 * own.below(64);
  for (Word& s : c.s) s = own.real();
  c.cpacr = own.one_in(20) ? 0 : 0x00f00000;
  c.fpscr = own.one_in(4) ? own.word() & 0xf7c0009f : 16;
  c.trap_unaligned = own.one_in(3);
  c.trap_divide_by_zero = own.one_in(3);
  c.update_fp_ready();
  core.exceptions().enable(16 + interrupt, true);
}

int run(unsigned programs, std::uint64_t seed) {
  Dice dice(seed);
  std::uint64_t units = 0, entered = 0, ended = 0, exceptions = 0, dropped = 0;
  for (unsigned n = 0; n < programs; ++n) {
    const std::uint64_t program = seed + n * 1'000'003ull;
    const Timing timing{false, dice.below(3) * 2, dice.one_in(2), !dice.one_in(4)};
    const Memories memories{flash_base, flash_bytes, ram_base, ram_bytes, 0x10000000, 0x400};
    Core one(memories, 82, timing), other(memories, 82, timing);
    one.translate(true);
    if (Translation* const t = one.cpu().translation()) t->set_patience(early);
    other.translate(false);
    for (Core* core : {&one, &other}) write_program(*core, program);
    const auto fail = [&](const std::string& said) {
      fmt::print("Program {} (seed {}), cycle {}:\n{}", n, program, other.now(), said);
      return 1;
    };
    for (int stretch = 0; stretch < 400 && one.can_go_on(); ++stretch) {
      const Cycle until = other.now() + 1 + dice.below(dice.one_in(3) ? 20 : 1500);
      const bool pends = dice.one_in(5);
      std::string said;
      for (Core* core : {&one, &other}) {
        if (pends) core->exceptions().pend(16 + interrupt);
        core->run(until);
      }
      if (said = difference(one, other); !said.empty()) return fail(said);
    }
    if (one.cpu().translation() == nullptr) {
      fmt::print("SKIPPED: nothing is translated in this build or on this host.\n");
      return 0;
    }
    if (const std::string said = difference_of_memory(one, other); !said.empty()) return fail(said);
    const Translation::Count& count = one.cpu().translation()->count();
    units += count.units;
    entered += count.entered;
    dropped += count.dropped;
    ended += !one.can_go_on();
    exceptions += one.exceptions().taken;
  }
  fmt::print(
      "{} programs equal ({} ended by themselves), {} exceptions; {} units, entered {} times, "
      "dropped {} times.\n",
      programs, ended, exceptions, units, entered, dropped);
  return units > programs ? 0 : 1;  // else nothing was looked at
}

}  // namespace
}  // namespace stillrotor::io::cortexm

int main(int argc, char** argv) {
  if (argc != 3) {
    fmt::print("stillrotor_cortexm_streams PROGRAMS SEED\n");
    return 2;
  }
  return stillrotor::io::cortexm::run(static_cast<unsigned>(std::atoi(argv[1])),
                                      std::strtoull(argv[2], nullptr, 10));
}
