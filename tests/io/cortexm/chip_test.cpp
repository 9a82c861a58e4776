// A whole part, run by firmware of our own (firmware/blink.c): clock, serial line, pins, flash,
// watchdogs, and what it says of itself.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <elf.h>

#include <fstream>
#include <random>

#include "io/mcu/cortexm/chip.hpp"
#include "io/mcu/cortexm/stored_settings.hpp"
#include "tests/io/cortexm/bare_chip.hpp"

namespace stillrotor::io::cortexm {
namespace {

using namespace std::chrono_literals;
using testing::ElementsAre;
using testing::HasSubstr;
using testing::StartsWith;

constexpr std::uint32_t crystal_Hz = 8'000'000;
constexpr PinId PA0{0, 0}, PD12{3, 12};

struct Said {
  Time at;
  std::string text;
};
struct Bench {
  explicit Bench(const char* variant)
      : outside({[this](Time at, std::string_view text) {
                   said.push_back({at, std::string(text)});
                 },
                 [this](PinId pin, Level level, Time at) {
                   if (pin == PD12 && level != Level::released) edges.push_back({at, {}, level});
                 }}),
        chip(*find_chip("stm32f405"),
             load_program(
                 std::string(STILLROTOR_BUILD_DIR "/firmware/cortexm_blink_") + variant + ".elf",
                 find_chip("stm32f405")->memories),
             crystal_Hz, outside) {}
  std::vector<std::string> texts() const {
    std::vector<std::string> all;
    for (const Said& s : said) all.push_back(s.text);
    return all;
  }
  std::vector<Said> said;
  std::vector<Edge> edges;
  Outside outside;
  Chip chip;
};

class CortexChip : public testing::Test {
  void SetUp() override {
#ifndef STILLROTOR_HAS_CORTEX_FIRMWARE
    GTEST_SKIP() << "arm-none-eabi-gcc is not installed";
#endif
  }
};

TEST_F(CortexChip, StartsItsClockSpeaksAndBlinks) {
  Bench b("PLAIN");
  b.chip.run(30ms);
  b.chip.set_input(PA0, Level::high);
  b.chip.run(75ms);
  EXPECT_EQ(b.chip.core().end(), "");
  EXPECT_EQ(b.chip.clocks().core_Hz(), 168'000'000u);
  EXPECT_THAT(b.texts(), ElementsAre("clock 168000000\n", "start 0\n", "by power\n", "press 1\n"));
  // Ten bits a byte of 729 cycles of a bus at half the clock; both lines go out without a gap but
  // for the flash's 16 us, which the buffer does not cover: a byte takes 87 us, so it does.
  const Time byte{10 * 729 * 2 * 1'000'000'000'000 / 168'000'000};
  EXPECT_NEAR(static_cast<double>((b.said[2].at - b.said[1].at).count()),
              static_cast<double>(9 * byte.count()), 100e3);
  // SysTick reloads by itself: whatever the handlers cost, its period is that of 168,000 cycles.
  ASSERT_GE(b.edges.size(), 6u);
  for (std::size_t i = 2; i + 1 < b.edges.size(); ++i)
    EXPECT_NEAR(static_cast<double>((b.edges[i + 1].at - b.edges[i].at).count()), 10e9, 200e3) << i;
  // What it touched: its own blocks, by name.
  std::vector<std::string> used;
  for (const Bus::Use& use : b.chip.core().bus().uses()) used.push_back(use.name);
  EXPECT_THAT(
      used, ElementsAre("IWDG", "USART1", "SDIO", "EXTI", "GPIOA", "GPIOD", "RCC", "FLASH", "SCS"));
  // What is not modelled is told: the bus that was switched on.
  ASSERT_EQ(b.chip.guesses().touches().size(), 1u);
  EXPECT_THAT(b.chip.guesses().describe(b.chip.guesses().touches()[0]),
              StartsWith("SDIO+0x00 (0x40012c00) written first at 0x080"));
}

TEST_F(CortexChip, CountsItsInterruptsAndItsStack) {
  Bench b("PLAIN");
  b.chip.run(30ms);
  const mcu::Workload work = b.chip.workload();
  const auto tick = std::find_if(work.interrupts.begin(), work.interrupts.end(),
                                 [](const mcu::InterruptLoad& i) { return i.number == 15; });
  ASSERT_NE(tick, work.interrupts.end());
  // Each millisecond, once it is started, some milliseconds after the crystal.
  EXPECT_GT(tick->count, 20u);
  EXPECT_LE(tick->count, 30u);
  EXPECT_NE(tick->name, "");
  EXPECT_GT(tick->least, 0u);
  EXPECT_LE(tick->least, tick->greatest);
  EXPECT_LE(tick->least * tick->count, tick->sum);
  EXPECT_LE(tick->sum, work.in_handlers);
  EXPECT_LT(work.in_handlers + work.asleep, work.cycles);
  EXPECT_GE(work.stack_seen, 32u);  // an exception's frame
  EXPECT_LE(work.stack_seen, work.stack_written);
  EXPECT_LT(work.stack_written, 1024u);
  EXPECT_GT(work.stack_room, 64'000u);
}

/// The moments by hand; B within A, then C behind it without return to the thread.
TEST(ExceptionTimes, GiveEachHandlerItsOwnCycles) {
  ExceptionTimes times;
  times.enter(20, 100);
  times.enter(21, 150);
  times.leave(21, 170);
  EXPECT_EQ(times.in_handlers(200), 100u);
  times.leave(20, 210);
  times.enter(22, 216);
  times.leave(22, 226);
  times.enter(20, 300);
  times.leave(20, 310);
  times.leave(99, 320);  // that never began
  EXPECT_EQ(times.of(20).count, 2u);
  EXPECT_EQ(times.of(20).least, 10u);
  EXPECT_EQ(times.of(20).greatest, 90u);
  EXPECT_EQ(times.of(21).sum, 20u);
  EXPECT_EQ(times.of(22).sum, 10u);
  EXPECT_EQ(times.in_handlers(400), 130u);
  // The outer one is ended from within: the inner ends with it.
  times.enter(20, 500);
  times.enter(21, 510);
  times.leave(20, 530);
  EXPECT_EQ(times.in_handlers(600), 160u);
  // A reset: what ran has no end, and what came before stands.
  times.enter(23, 700);
  times.reset();
  EXPECT_EQ(times.of(23).count, 0u);
  EXPECT_EQ(times.in_handlers(900), 160u);
}

TEST_F(CortexChip, TheWatchdogBitesAndFlashIsKept) {
  Bench b("HANG");
  b.chip.run(175ms);
  EXPECT_EQ(b.chip.resets(), 1u);
  EXPECT_THAT(b.texts(), ElementsAre("clock 168000000\n", "start 0\n", "by power\n",
                                     "clock 168000000\n", "start 1\n", "by watchdog\n"));
  // The last time it was told to wait: within 50 ms of ticks, that begin behind three lines of
  // text.
  const Time bite = b.said[3].at - b.said[0].at + 1ms;
  EXPECT_GT(bite, 145ms);
  EXPECT_LT(bite, 160ms);
}

TEST_F(CortexChip, AWaitInVainIsNamed) {
  Bench b("WAIT");
  b.chip.run(50ms);
  ASSERT_EQ(b.chip.guesses().poll_loops().size(), 1u);
  const std::string text = b.chip.guesses().describe(b.chip.guesses().poll_loops()[0]);
  EXPECT_THAT(text, StartsWith("waiting for SDIO+0x34 (0x40012c34) bit 0 at 0x080"));
  EXPECT_THAT(text, HasSubstr("wait_for_card"));
}

TEST_F(CortexChip, IsTheSameHoweverTimeIsCut) {
  Bench whole("HANG"), cut("HANG");
  whole.chip.run(120ms);
  for (Time t{}; t < 120ms; t += 7'777ns) cut.chip.run(std::min<Time>(t + 7'777ns, 120ms));
  ASSERT_EQ(whole.edges.size(), cut.edges.size());
  for (std::size_t i = 0; i < whole.edges.size(); ++i)
    EXPECT_EQ(whole.edges[i].at, cut.edges[i].at);
  EXPECT_EQ(whole.chip.core().exceptions().taken, cut.chip.core().exceptions().taken);
}

/// Our field-oriented firmware on a board that stands still: 72 V, no current, one Hall, key on.
struct Drive {
  static constexpr PinId gates[] = {{0, 8}, {0, 9}, {0, 10}, {1, 13}, {1, 14}, {1, 15}};
  static constexpr PinId key{1, 0}, fault{1, 12}, hall_U{2, 6};
  Drive()
      : outside({[this](Time, std::string_view text) { said += text; },
                 [this](PinId pin, Level level, Time at) {
                   for (std::size_t k = 0; k < 6; ++k)
                     if (gates[k] == pin) {
                       if (level == Level::high && !on[k]) last_on = at;
                       if (level != Level::high && on[k]) last_off = at;
                       on[k] = level == Level::high;
                     }
                 },
                 [this](PinId pin, Time) {
                   if (pin == PinId{2, 0}) return throttle_V / 5.0;
                   return pin == PinId{2, 1} ? 72.0 / 25.0 / 5.0 : 0.5;
                 }}),
        chip(*find_chip("stm32f405"),
             load_program(STILLROTOR_BUILD_DIR "/firmware/orchard_foc_m4.elf",
                          find_chip("stm32f405")->memories),
             crystal_Hz, outside) {
    for (const PinId pin : {key, fault, hall_U}) chip.set_input(pin, Level::high);
    for (const PinId other : {PinId{2, 7}, PinId{2, 8}}) chip.set_input(other, Level::low);
  }
  std::string said;
  double throttle_V = 0.85;
  std::array<bool, 6> on{};
  Time last_on{}, last_off{};
  Outside outside;
  Chip chip;
};

// RM0090, 17.3.12: the break input takes MOE away asynchronously, and the outputs their inactive
// level, whatever the firmware does. Its dead time here: 168 clocks of 168 MHz.
TEST_F(CortexChip, ABreakInputTakesTheGatesOffWithinTheDeadTime) {
  // At several moments of a PWM period of 50 us.
  for (const Time within : {0us, 7us, 12us, 25us, 26us, 44us}) {
    Drive d;
    d.chip.run(40ms);
    d.throttle_V = 2.0;
    d.chip.run(80ms + within);
    ASSERT_EQ(d.said, "ready\n");
    ASSERT_GT(d.last_on, 79ms) << "it switches";
    const Time broken = d.chip.now();
    d.chip.set_input(Drive::fault, Level::low);
    d.chip.run(90ms);
    EXPECT_LE(d.last_off - broken, 1us) << within.count();
    EXPECT_LE(d.last_on, broken) << "never on again";
    EXPECT_EQ(d.on, (std::array<bool, 6>{}));
    EXPECT_EQ(d.said, "ready\ngate driver\n");
  }
}

TEST_F(CortexChip, ItsFirmwareKeepsSettingsInFlash) {
  const Memories& memories = find_chip("stm32f405")->memories;
  const Program linked =
      load_program(STILLROTOR_BUILD_DIR "/firmware/orchard_foc_m4.elf", memories);
  Program program = linked;
  const auto settings =
      store_settings(program, memories, {{"pole_pairs", 5.0, ""}, {"current_gain", -0.02, "V/A"}});
  ASSERT_EQ(settings.size(), 15u);
  EXPECT_EQ(settings[0].name, "pole_pairs");
  EXPECT_EQ(settings[0].value, 5.0);
  EXPECT_TRUE(settings[0].written);
  EXPECT_FALSE(settings[1].written);
  std::size_t changed = 0;
  for (std::size_t i = 0; i < linked.flash.size(); ++i)
    changed += linked.flash[i] != program.flash[i];
  EXPECT_GT(changed, 1u);
  EXPECT_LE(changed, 8u) << "one byte of the one, four of the other";
  // What cannot be: a name, a range, a unit, a fraction; a table that is none.
  const SettingChange wrong[] = {{"poles", 4.0, ""},
                                 {"pole_pairs", 40.0, ""},
                                 {"pole_pairs", 4.0, "rpm"},
                                 {"pole_pairs", 4.5, ""}};
  for (const SettingChange& one : wrong)
    EXPECT_THROW(store_settings(program, memories, {one}), ConfigError) << one.name << one.value;
  const auto damaged = [&](std::size_t byte, std::uint8_t value) {
    Program other = linked;
    other.flash[other.find("sr_settings")->address - memories.flash_base + byte] = value;
    EXPECT_THROW(store_settings(other, memories, {}), ConfigError) << byte;
  };
  damaged(3, 0x20);   // its name lies in RAM
  damaged(8, 7);      // a type that is none
  damaged(15, 0x20);  // its variable lies in RAM
  damaged(31, 0xff);  // its range ends at not a number, or before it begins
  Program none = linked;
  none.names.clear();
  EXPECT_TRUE(store_settings(none, memories, {}).empty());
  EXPECT_THROW(store_settings(none, memories, {{"pole_pairs", 4.0, ""}}), ConfigError);
}

// The rule of motor_path.hpp: what doubts a run, and what does not.
TEST_F(CortexChip, WhatIsNotModelledInTheMotorPathIsDoubted) {
  struct Case {
    Word address, value;
    const char* why;  // nullptr: no doubt
  };
  const Case cases[] = {
      {0x40010008, 0x1000, "TIM1: ETPS"},                      // SMCR
      {0x40010018, 0x80, "TIM1: OCxCE"},                       // CCMR1
      {0x40010018, 0x04, nullptr},                             // OC1FE, and no trigger
      {0x40000050, 0x400, "TIM2: OR"},                         // its inputs remapped
      {0x40012304, 7, "ADC: MULTI"},                           // CCR: interleaved
      {0x40012304, 5, nullptr},                                // CCR: injected simultaneous
      {0x40020000, 0xA80A0000, "PA9: alternate function 13"},  // MODER
      {0x40005400, 1, nullptr},                                // I2C1.CR1
      {0x40007400, 1, nullptr},                                // DAC.CR
  };
  for (const Case& c : cases) {
    Drive d;
    d.chip.add_gate({0, 9});
    for (const Word enable : {0x30u, 0x40u, 0x44u})
      d.chip.core().bus().write(0x40023800 + enable, 4, ~Word{0}, 0, true);
    d.chip.core().bus().write(0x40020024, 4, 0xD0, d.chip.core().now(), true);  // AFRH: PA9 13
    d.chip.core().bus().write(c.address, 4, c.value, d.chip.core().now(), true);
    EXPECT_EQ(d.chip.doubt().has_value(), c.why != nullptr) << std::hex << c.address;
    const std::string why = d.chip.doubt() ? d.chip.doubt()->why : std::string();
    EXPECT_THAT(why, HasSubstr(c.why != nullptr ? c.why : "")) << std::hex << c.address;
  }
}

/// A program whose handlers all stand at one place: what is there, by halfwords.
Program with_handlers(std::initializer_list<int> start, std::initializer_list<int> handler) {
  Program program = idle_program();
  for (Word n = 2; n < 98; ++n) {
    const Word vector = 0x08000301;
    std::memcpy(program.flash.data() + 4 * n, &vector, 4);
  }
  const auto put = [&](std::size_t at, std::initializer_list<int> halves) {
    for (const int half : halves) {
      program.flash[at++] = static_cast<std::uint8_t>(half);
      program.flash[at++] = static_cast<std::uint8_t>(half >> 8);
    }
  };
  put(0x200, start);
  put(0x300, handler);
  return program;
}

// Faults without end: each is answered within bounds, and says what it is.
TEST(CortexChipHostile, EndlessStormsOfExceptionsAreToldAsSuch) {
  constexpr int udf = 0xde00, bx_lr = 0x4770;
  {  // HardFault comes back to the instruction that faults
    BareChip b(with_handlers({udf}, {bx_lr}));
    b.run(1s);
    EXPECT_FALSE(b.chip.core().can_go_on());
    EXPECT_TRUE(b.chip.core().hung());
    EXPECT_LT(b.chip.now(), 1s);
    EXPECT_THAT(b.chip.core().end(), StartsWith("an endless fault: its handler comes back"));
    EXPECT_THAT(b.chip.core().end(), HasSubstr("at PC 0x08000"));
  }
  {  // A watchdog would end it, and does
    Program program = with_handlers({udf}, {bx_lr});
    program.option_bytes = 0x0fffaacc;
    BareChip b(std::move(program));
    b.run(2s);
    EXPECT_TRUE(b.chip.core().can_go_on());
    EXPECT_EQ(b.chip.resets(), 3u) << "each 512 ms";
  }
  {  // HardFault faults itself
    BareChip b(with_handlers({udf}, {udf}));
    b.run(1s);
    EXPECT_THAT(b.chip.core().end(), StartsWith("lockup: "));
    EXPECT_FALSE(b.chip.core().hung());
  }
  {  // An interrupt whose cause is never taken away: time goes on, and it is told
    BareChip b(with_handlers({0xe7fe}, {bx_lr}));
    b.clock_everything();
    b.set(0x4000000c, 1);  // TIM2: update interrupt
    b.set(0x40000014, 1);
    b.set(0xE000E100, 1u << 28);
    b.run(100ms);
    EXPECT_TRUE(b.chip.core().can_go_on());
    EXPECT_THAT(b.chip.coverage(), HasSubstr("Exception 44 came "));
  }
}

TEST(CortexChipHostile, SegmentsThatOverlapAreRefusedByName) {
  const Memories& memories = find_chip("stm32f405")->memories;
  std::ifstream stream(STILLROTOR_BUILD_DIR "/firmware/cortexm_work.elf", std::ios::binary);
  std::string file{std::istreambuf_iterator<char>(stream), {}};
  if (file.empty()) GTEST_SKIP() << "arm-none-eabi-gcc is not installed";
  Elf32_Ehdr header;
  std::memcpy(&header, file.data(), sizeof header);
  // A second header like the first, a little further on.
  Elf32_Phdr first;
  std::memcpy(&first, file.data() + header.e_phoff, sizeof first);
  ASSERT_EQ(first.p_type, static_cast<Elf32_Word>(PT_LOAD));
  Elf32_Phdr second = first;
  second.p_paddr += 16;
  header.e_phoff = static_cast<Elf32_Off>(file.size());
  header.e_phnum = 2;
  std::memcpy(file.data(), &header, sizeof header);
  file.append(reinterpret_cast<const char*>(&first), sizeof first);
  file.append(reinterpret_cast<const char*>(&second), sizeof second);
  try {
    read_program(file, memories, "twice.elf");
    FAIL() << "it was taken";
  } catch (const ConfigError& e) {
    EXPECT_THAT(e.what(), HasSubstr("twice.elf loads segment 1 (0x08000010 to "));
    EXPECT_THAT(e.what(), HasSubstr(" over segment 0 (0x08000000 to "));
  }
}

/// Nothing that a program may do to its registers brings the simulator down.
TEST(CortexChipHostile, WritesToEveryPeripheralAreSurvived) {
  const ChipPart& part = *find_chip("stm32f405");
  Program program;
  program.flash.assign(0x400, 0);
  const Word words[] = {0x20000400, 0x08000201};
  std::memcpy(program.flash.data(), words, sizeof words);
  for (std::size_t i = 0x200; i < 0x400; i += 2) program.flash[i + 1] = 0xbf;  // NOP
  program.flash[0x3fe] = 0xfe;                                                 // B .
  program.flash[0x3ff] = 0xe6;
  ChipOutside nobody;
  Chip chip(part, program, crystal_Hz, nobody);
  std::mt19937 dice(1);
  std::vector<std::pair<Word, Word>> blocks{{0xE000E000, 0x1000}, {0xE0001000, 0x100}};
  for (const Word base : {part.clock_tree, part.flash_controller, part.external_lines,
                          part.system_configuration, part.watchdog, part.window_watchdog})
    blocks.emplace_back(base, 0x100);
  for (const PortBlock& p : part.ports) blocks.emplace_back(p.base, 0x40);
  for (const UsartBlock& u : part.usarts) blocks.emplace_back(u.base, 0x40);
  for (const KeptBlock& k : part.kept) blocks.emplace_back(k.base, 0x100);
  for (int i = 0; i < 20'000; ++i) {
    const auto& [base, bytes] = blocks[dice() % blocks.size()];
    const unsigned size = 1u << (dice() % 3);
    const Word address = (base + static_cast<Word>(dice() % bytes)) & ~(size - 1);
    Word value = static_cast<Word>(dice() >> (dice() % 32));
    if (dice() % 2)
      chip.core().bus().write(address, size, value, chip.core().now(), true);
    else
      chip.core().bus().read(address, size, value, chip.core().now(), true);
    if (i % 16 == 0) chip.run(chip.now() + 1us);
    if (!chip.core().can_go_on()) chip.core().power_on();
  }
  SUCCEED();
}

/// Random flash, with a vector table that starts it: whatever it does, it ends or goes on in time.
TEST(CortexChipHostile, RandomProgramsAreAnswered) {
  const ChipPart& part = *find_chip("stm32f405");
  std::mt19937 dice(2);
  unsigned ended = 0;
  for (int round = 0; round < 60; ++round) {
    Program program;
    program.flash.resize(0x2000);
    for (std::uint8_t& byte : program.flash) byte = static_cast<std::uint8_t>(dice());
    // Faults lead into random code again; every third has its stack in nothing.
    for (Word i = 0; i < 98; ++i) {
      const Word vector = (0x08000200 + static_cast<Word>(dice() % 0x1000)) | 1;
      std::memcpy(program.flash.data() + 4 * i, &vector, 4);
    }
    const Word stack = round % 3 == 0 ? 0x20000010 : 0x20010000;
    std::memcpy(program.flash.data(), &stack, 4);
    ChipOutside nobody;
    Chip chip(part, program, crystal_Hz, nobody);
    chip.run(2ms);
    EXPECT_TRUE(!chip.core().can_go_on() || chip.now() >= 2ms);
    ended += !chip.core().can_go_on();
    EXPECT_THAT(chip.core().can_go_on() ? " at PC 0x" : chip.core().end(), HasSubstr(" at PC 0x"));
  }
  EXPECT_GT(ended, 0u);
}

}  // namespace
}  // namespace stillrotor::io::cortexm
