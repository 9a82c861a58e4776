// What stands around the instructions: memories, timing, registers that are only kept, the end of a
// run, programs.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <elf.h>

#include <random>

#include "io/mcu/cortexm/kept_registers.hpp"
#include "io/mcu/cortexm/program.hpp"
#include "tests/io/cortexm/part.hpp"

namespace stillrotor::io::cortexm {
namespace {

using testing::HasSubstr;

// --- memories ---------------------------------------------------------------------------------
TEST(CortexMemory,
     BitsHaveWordsOfTheirOwn) {  // DDI 0403E, A3.6 (bit-band): alias + 32 byte + 4 bit
  Part p;
  Bus& bus = p.core.bus();
  p.put(0x20000100, 0);
  ASSERT_TRUE(bus.write(0x22000000 + 32 * 0x101 + 4 * 3, 4, 1, 0, true));
  EXPECT_EQ(p.get(0x20000100), 0x800u);
  Word value = 0;
  ASSERT_TRUE(bus.read(0x22000000 + 32 * 0x101 + 4 * 3, 4, value, 0, true));
  EXPECT_EQ(value, 1u);
  EXPECT_FALSE(bus.write(0x22000000 + 32 * 0x8000, 4, 1, 0, true));  // beyond the RAM
}

TEST(CortexMemory, FlashIsReadAtItsAliasAndNotWritten) {
  Part p;
  Word value = 0;
  ASSERT_TRUE(p.core.bus().read(4, 4, value, 0, true));
  EXPECT_EQ(value, Part::thread | 1);
  EXPECT_FALSE(p.core.bus().write(0x08000000, 4, 1, 0, true));
}

/// What was decoded must not outlive the memory it came from.
TEST(CortexMemory, CodeInRamRunsAsItStandsThere) {
  Part p;
  // ADDS r0, #1; BX lr in RAM, called; a store turns it into ADDS r0, #16; called again.
  p.code(0x20000200, {0x3001, opcode::bx_lr});
  p.code(Part::thread, {0x4790, 0x8019, 0x4790, opcode::stay});  // BLX r2; STRH r1, [r3]; BLX r2
  p.cpu().r[1] = 0x3010;
  p.cpu().r[2] = 0x20000201;
  p.cpu().r[3] = 0x20000200;
  ASSERT_TRUE(p.reach(Part::thread + 6));
  EXPECT_EQ(p.cpu().r[0], 17u);
}

TEST(CortexMemory, AnInstructionMayOverwriteItself) {
  Part p;
  p.code(0x20000200, {0x8019, 0x3001, opcode::stay});  // STRH r1, [r3] onto itself; ADDS r0, #1
  p.cpu().r[1] = opcode::nop;
  p.cpu().r[3] = 0x20000200;
  p.cpu().set_pc(0x20000200);
  p.steps(3);
  EXPECT_EQ(p.cpu().r[0], 1u);
}

// --- timing: the table of the TRM, 3.3.1 and 3.3.3; by hand ------------------------------------
struct Cost {
  const char* what;
  std::initializer_list<int> code;
  int instructions;
  unsigned table;
};
TEST(CortexTiming, InstructionsCostWhatTheTableSays) {
  const Cost costs[] = {
      {"ADDS", {0x3001}, 1, 1},
      {"LDR", {0x6808}, 1, 2},
      {"LDR twice, overlapping", {0x6808, 0x680a}, 2, 3},
      {"LDR from what LDR has brought", {0x6809, 0x6808}, 2, 4},
      {"STR", {0x6008}, 1, 1},
      {"PUSH of three", {0xb407}, 1, 1 + 3},
      {"LDM of two", {0xc90c}, 1, 1 + 2},
      {"B", {0xe000}, 1, 2},
      {"BX", {0x4730}, 1, 3},
      {"B not taken", {0xd000}, 1, 1},
      {"MLA", {0xfb00, 0x0001}, 1, 2},
      {"UDIV 100 by 7: 4 bits of quotient", {0xfbb4, 0xf0f5}, 1, 3},
  };
  for (const bool unit : {false, true})
    for (const Cost& cost : costs) {
      Part p(Timing{.unit = unit});
      p.code(Part::thread, cost.code);
      p.cpu().r[1] = 0x20000100;
      p.put(0x20000100, 0x20000100);
      p.cpu().r[4] = 100;
      p.cpu().r[5] = 7;
      p.cpu().r[6] = 0x08000801;
      const Cycle before = p.core.now();
      p.steps(cost.instructions);
      EXPECT_EQ(p.core.now() - before, unit ? cost.instructions : cost.table) << cost.what;
    }
}

/// RM0090, 3.4: five wait states; sequential code waits for each 16 bytes without prefetch.
TEST(CortexTiming, FlashWaitsForLines) {
  const auto cycles = [](bool prefetch, bool cache) {
    Part p(Timing{.wait_states = 5, .prefetch = prefetch, .instruction_cache = cache});
    // Sixteen halfwords, two lines: a loop of 15 NOPs and B back.
    p.code(Part::thread + 30, {0xe7ef});
    p.cpu().set_pc(Part::thread);
    p.steps(16);
    const Cycle before = p.core.now();
    p.steps(16);
    return p.core.now() - before;
  };
  EXPECT_EQ(cycles(true, true), 15 + 2u);
  EXPECT_EQ(cycles(true, false), 15 + 2 + 5u);        // the jump to the first line
  EXPECT_EQ(cycles(false, false), 15 + 2 + 5 + 10u);  // and both lines in sequence
}

TEST(CortexTiming, TimeDoesNotDependOnHowItIsCut) {
  const auto state = [](Cycle slice) {
    Part p;
    p.code(Part::thread, {0x3001, 0x6008, opcode::stay});
    p.cpu().r[1] = 0x20000100;
    p.write(0x14, 999);
    p.write(0x10, 7);
    while (p.core.now() < 100'000) p.core.run(p.core.now() + slice);
    p.core.run(100'010);
    return std::pair(p.exceptions().taken, p.pc());
  };
  EXPECT_EQ(state(1), state(100'000));
  EXPECT_EQ(state(7), state(100'000));
}

// --- registers that are only kept --------------------------------------------------------------
constexpr RegisterRow rows[] = {{0x0, "CR"}, {0x4, "SR", 0x18, 0x0f}};
struct Kept {
  Kept() : registers(guesses, 0x40005400, 0x400, "BLOCK", rows) {
    part.core.bus().attach(0x40005400, 0x400, registers);
  }
  Part part;
  Guesses guesses{part.core};
  KeptRegisters registers;
};
TEST(CortexKept, ValuesResetsAndOnesThatClear) {
  Kept k;
  Bus& bus = k.part.core.bus();
  Word value = 0;
  ASSERT_TRUE(bus.write(0x40005401, 1, 0xab, 0, true));
  ASSERT_TRUE(bus.read(0x40005400, 4, value, 0, true));
  EXPECT_EQ(value, 0xab00u);
  ASSERT_TRUE(bus.write(0x40005404, 4, 0xf8, 0, true));
  ASSERT_TRUE(bus.read(0x40005404, 4, value, 0, true));
  EXPECT_EQ(value, 0xf0u);  // 0x18: bit 3 cleared by a one; 0xf0 kept
  EXPECT_EQ(k.guesses.touches().size(), 2u);
  EXPECT_EQ(k.guesses.touches()[1].name, "BLOCK.SR");
}

struct Poll {
  std::initializer_list<int> code;
  const char* named;
};
TEST(CortexKept, ALoopThatWaitsInVainIsNamed) {
  const Poll polls[] = {
      {{0x6848, 0x07c2, 0xd5fc}, "BLOCK.SR (0x40005404) bit 0 at 0x08000400"},  // LSLS #31; BPL
      {{0x6848, 0xf010, 0x0f40, 0xd0fb}, "BLOCK.SR (0x40005404) bit 6 at"},     // TST #0x40; BEQ
      {{0x6848, 0x2800, 0xd1fc}, "BLOCK.SR (0x40005404) at"},                   // CMP; BNE
  };
  for (const Poll& poll : polls) {
    Kept k;
    k.part.code(Part::thread, poll.code);
    k.part.cpu().r[1] = 0x40005400;
    k.part.core.run(20'000);
    ASSERT_EQ(k.guesses.poll_loops().size(), 1u);
    EXPECT_THAT(k.guesses.describe(k.guesses.poll_loops()[0]), HasSubstr(poll.named));
  }
}

// --- the end of a run ----------------------------------------------------------------------------
struct End {
  std::initializer_list<int> code;
  const char* said;
};
TEST(CortexEnd, SaysWhatCannotBeExecutedAndWhere) {
  const End ends[] = {
      {{0xee30, 0x0b00}, "undefined or not modelled at PC 0x08000400 (main), encoding ee30 0b00"},
      {{0xf7f0, 0x8000}, "undefined or not modelled"},   // a conditional branch with condition 1111
      {{0xe8bd, 0x0001}, "unpredictable effect at PC"},  // POP.W of one register
      {{0xbf18, 0xd000}, "unpredictable effect at PC 0x08000402"},  // a branch in an IT block
  };
  for (const auto& [code, text] : ends) {
    Part p;
    p.core.name_addresses_by(
        [](const void*, Word a) { return std::string(a == Part::thread ? "main" : ""); }, nullptr);
    p.code(Part::thread, code);
    p.core.run(1000);
    EXPECT_THAT(p.core.end(), HasSubstr(text));
  }
}

// --- the same everywhere -------------------------------------------------------------------
/// Random data and float instructions on random numbers; the sum of all states is the same number
/// whatever compiled this, with whatever optimisation. It was taken from a build of this code,
/// which the oracle holds against another core.
TEST(CortexEverywhere, TheSameBitsInEveryBuild) {
  std::mt19937_64 dice(7);
  const auto word = [&] { return static_cast<Word>(dice()); };
  const std::pair<Word, Word> groups[] = {{0xff000f10, 0xee000a00}, {0xffb00f50, 0xeeb00a40},
                                          {0xfe008000, 0xea000000}, {0xfa008000, 0xf0000000},
                                          {0xff800000, 0xfb000000}, {0xff80f080, 0xfa80f000}};
  std::uint64_t sum = 14695981039346656037u;
  const auto add = [&](Word w) { sum = (sum ^ w) * 1099511628211u; };
  Part p;
  Cpu& c = p.cpu();
  p.write(0xd88, 0x00f00000);
  for (int i = 0; i < 20'000; ++i) {
    const auto& [mask, value] = groups[word() % std::size(groups)];
    const Word bits = (word() & ~mask) | value;
    p.code(Part::thread, {static_cast<int>(bits >> 16), static_cast<int>(bits & 0xffff)});
    for (unsigned k = 0; k < 13; ++k) {
      const Word number = word();
      c.r[k] = number >> (word() % 32);
    }
    for (Word& one : c.s) {
      const Word fraction = word() & 0x807fffff;
      one = fraction | (100 + word() % 56) << 23;
    }
    if (i % 16 == 0) c.fpscr = word() & 0xf7c00000;
    c.it = 0;
    c.trap = Trap::none;
    c.set_pc(Part::thread);
    c.stop = c.cycle + 1;
    c.execute();
    for (unsigned k = 0; k < 15; ++k) add(c.r[k]);
    for (const Word one : c.s) add(one);
    add(c.fpscr);
    add(c.xpsr());
  }
  EXPECT_EQ(sum, 11052051315120198924u);
}

/// A main loop that waits for a word which an interrupt counts: rounds are left out in one stretch,
/// and none in stretches of one instruction.
TEST(CortexCore, AWaitingLoopLeavesRoundsOutWithoutATrace) {
  for (const Timing timing :
       {Timing{.unit = true},
        Timing{.wait_states = 5, .prefetch = true, .instruction_cache = true}}) {
    Part whole(timing), single(timing);
    for (Part* p : {&whole, &single}) {
      // ldr r2, [r1]; cmp r2, r3; beq back; mov r3, r2; adds r4, #1; vadd s0, s0, s1; b back
      p->code(Part::thread, {0x680a, 0x429a, 0xd0fc, 0x4613, 0x3401, 0xee30, 0x0a20, 0xe7f7});
      // ldr r0, [r1]; adds r0, #1; str r0, [r1]; bx lr
      p->code(Part::handler(exception::system_tick), {0x6808, 0x3001, 0x6008, 0x4770});
      p->write(0xd88, 0x00f00000);
      p->cpu().r[1] = 0x20000100;
      p->cpu().s[1] = 0x3f8ccccd;
      p->write(0x14, 997);
      p->write(0x18, 0);
      p->write(0x10, 7);
    }
    for (Cycle until = 1'000; until < 50'000; until += 977) {
      whole.core.run(until);
      while (single.core.now() < until) single.step();
      ASSERT_EQ(whole.core.now(), single.core.now());
      ASSERT_EQ(whole.pc(), single.pc());
      EXPECT_EQ(whole.cpu().r, single.cpu().r);
      EXPECT_EQ(whole.cpu().s, single.cpu().s);
      EXPECT_EQ(whole.cpu().xpsr(), single.cpu().xpsr());
    }
    EXPECT_GT(whole.cpu().r[4], 40u);
    EXPECT_GT(whole.cpu().rounds_left_out, 1'000u);
    EXPECT_EQ(single.cpu().rounds_left_out, 0u);
  }
}

/// Writes a word now and then, as another master of the bus would.
struct Master {
  explicit Master(Core& of) : core(of), event(core.scheduler().make<&Master::on_time>(this)) {
    core.scheduler().at(event, 1'500);
  }
  void on_time(Cycle when) {
    core.bus().write(0x20000100, 4, ++written, when, true);
    core.scheduler().at(event, when + 1'009);
  }
  Core& core;
  unsigned event;
  Word written = 0;
};

/// The loop is known to wait over events that change nothing for it, and no longer than that.
TEST(CortexCore, AWaitingLoopSeesWhatOthersWrite) {
  Part whole(Timing{.wait_states = 5, .prefetch = true, .instruction_cache = true});
  Part single(Timing{.wait_states = 5, .prefetch = true, .instruction_cache = true});
  Master one(whole.core), other(single.core);
  for (Part* p : {&whole, &single}) {
    // ldr r2, [r1]; cmp r2, r3; beq back; mov r3, r2; adds r4, #1; b back
    p->code(Part::thread, {0x680a, 0x429a, 0xd0fc, 0x4613, 0x3401, 0xe7f9});
    p->cpu().r[1] = 0x20000100;
    p->write(0x14, 96);  // SysTick counts, and interrupts nobody
    p->write(0x18, 0);
    p->write(0x10, 5);
  }
  for (Cycle until = 1'000; until < 50'000; until += 977) {
    whole.core.run(until);
    while (single.core.now() < until) single.step();
    ASSERT_EQ(whole.core.now(), single.core.now());
    EXPECT_EQ(whole.pc(), single.pc());
    EXPECT_EQ(whole.cpu().r, single.cpu().r);
    EXPECT_EQ(whole.cpu().xpsr(), single.cpu().xpsr());
  }
  EXPECT_GE(whole.cpu().r[4] + 1, one.written);
  EXPECT_GT(one.written, 40u);
  EXPECT_GT(whole.cpu().rounds_left_out, 5'000u);
  EXPECT_EQ(single.cpu().rounds_left_out, 0u);
}

// --- programs ------------------------------------------------------------------------------
/// One segment at its load address, header and all.
std::string elf_with(unsigned machine, unsigned type, Word physical, Word virtual_address,
                     const std::string& content, Word more = 0) {
  Elf32_Ehdr header{};
  std::memcpy(header.e_ident, ELFMAG, SELFMAG);
  header.e_ident[EI_CLASS] = ELFCLASS32;
  header.e_ident[EI_DATA] = ELFDATA2LSB;
  header.e_type = static_cast<Elf32_Half>(type);
  header.e_machine = static_cast<Elf32_Half>(machine);
  header.e_phoff = sizeof header;
  header.e_phnum = 1;
  Elf32_Phdr segment{};
  segment.p_type = PT_LOAD;
  segment.p_offset = sizeof header + sizeof segment;
  segment.p_paddr = physical;
  segment.p_vaddr = virtual_address;
  segment.p_filesz = static_cast<Word>(content.size());
  segment.p_memsz = segment.p_filesz + more;
  std::string bytes(reinterpret_cast<const char*>(&header), sizeof header);
  bytes.append(reinterpret_cast<const char*>(&segment), sizeof segment);
  return bytes + content;
}
std::string vectors(Word stack, Word start) {
  std::string bytes(64, '\0');
  std::memcpy(bytes.data(), &stack, 4);
  std::memcpy(bytes.data() + 4, &start, 4);
  return bytes;
}
constexpr Memories small{0x08000000, 0x1000, 0x20000000, 0x1000, 0x10000000, 0x400};
constexpr Word flash = 0x08000000;

TEST(CortexProgram, LoadsAndRefuses) {
  const std::string good = vectors(0x20001000, flash + 9);
  EXPECT_EQ(read_program(elf_with(EM_ARM, ET_EXEC, flash, flash, good), small, "x").flash.size(),
            64u);
  const std::pair<std::string, const char*> refused[] = {
      {elf_with(EM_AVR, ET_EXEC, flash, flash, good), "for another processor (machine 83"},
      {elf_with(EM_ARM, ET_REL, flash, flash, good), "has not been linked"},
      {elf_with(EM_ARM, ET_EXEC, 0x20000000, 0x20000000, good), "straight into RAM"},
      {elf_with(EM_ARM, ET_EXEC, flash + 0xfe0, flash, good), "loads 64 bytes at 0x08000fe0"},
      {elf_with(EM_ARM, ET_EXEC, 0xfffffff0, flash, good), "loads 64 bytes at 0xfffffff0"},
      {elf_with(EM_ARM, ET_EXEC, flash, 0x30000000, good), "where the part has no memory"},
      {elf_with(EM_ARM, ET_EXEC, flash, 0x20000fe0, good, 0xfffff000), "has no memory"},
      {elf_with(EM_ARM, ET_EXEC, flash, flash, vectors(0x30000000, flash + 9)), "no vector table"},
      {elf_with(EM_ARM, ET_EXEC, flash, flash, vectors(0x20001000, flash + 8)), "no vector table"},
      {elf_with(EM_ARM, ET_EXEC, flash, flash, "abc"), "no vector table"},
      {elf_with(EM_ARM, ET_EXEC, flash, flash, ""), "holds no program"},
  };
  for (const auto& [bytes, text] : refused) {
    try {
      read_program(bytes, small, "x.elf");
      ADD_FAILURE() << text;
    } catch (const ConfigError& e) {
      EXPECT_THAT(e.what(), HasSubstr(text));
    }
  }
  // Cut off anywhere, it is refused; with any byte changed, it is refused or read, and no more.
  const std::string whole = elf_with(EM_ARM, ET_EXEC, flash, flash, good);
  for (std::size_t size = 0; size < whole.size(); ++size)
    EXPECT_THROW(read_program(whole.substr(0, size), small, "x"), ConfigError) << size;
  for (std::size_t i = 0; i < whole.size(); ++i)
    for (const char value : {'\0', '\xff', '\x7f'}) {
      std::string changed = whole;
      changed[i] = value;
      try {
        read_program(changed, small, "x");
      } catch (const ConfigError&) {
      }
    }
}

}  // namespace
}  // namespace stillrotor::io::cortexm
