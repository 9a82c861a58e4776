// Flags, interrupts, sleep and reset against the datasheet (ATmega48A/PA/88A/PA/168A/PA/328/P: AVR
// CPU Core, Reset and Interrupt Handling; External Interrupts; timer register descriptions).
#include <gmock/gmock.h>

#include "tests/io/mcu/chip.hpp"

namespace stillrotor::io::test {
namespace {

using ::testing::Each;
using ::testing::Eq;
using ::testing::Ge;
using ::testing::HasSubstr;
using ::testing::IsEmpty;
using ::testing::Le;
using ::testing::SizeIs;

class InterruptTest : public ::testing::Test {
 protected:
  void SetUp() override { REQUIRE_FIRMWARE(); }
};

// flag_clear.c: PD2 shows OCF0A, PD4 OCF0B, PB0 TOV0, PD7 (here gate VH) OCF2A after the clearing.
struct Flags {
  bool compare_a, compare_b, overflow, other_timer;
  friend bool operator==(const Flags&, const Flags&) = default;
};
Flags flags_after(const std::string& firmware) {
  McuConfig config = usual_wiring(firmware);
  config.line_pins[index(line::gate_VH)] = "PD7";
  config.line_pins[index(line::gate_WH)] = "PB2";
  Chip chip(config);
  chip.power(5.0);
  chip.run(std::chrono::milliseconds(1));
  EXPECT_EQ(chip.last(line::gate_WH), Level::high) << "the firmware did not come to its end";
  const auto high = [&](LineId id) { return chip.last(id) == Level::high; };
  return {high(line::gate_UL), high(line::gate_VL), high(line::gate_WL), high(line::gate_VH)};
}

TEST_F(InterruptTest, AFlagIsClearedByWritingOneAndItsNeighboursStay) {
  EXPECT_EQ(flags_after("flag_clear"), (Flags{true, true, false, true}));
}

// Register Summary, note: CBI and SBI operate on the specified bit only on this part.
TEST_F(InterruptTest, SbiOnAFlagRegisterClearsThatFlagAlone) {
  EXPECT_EQ(flags_after("flag_clear_sbi"), (Flags{true, true, false, true}));
}

// The control: writing back what was read clears all that were set, as firmware authors find out.
TEST_F(InterruptTest, WritingBackAReadFlagRegisterClearsEveryFlagThatWasSet) {
  EXPECT_EQ(flags_after("flag_clear_rmw"), (Flags{false, false, false, true}));
}

// STS writes TIMSK0 in its two cycles; the mark (one OUT) is at most 3 cycles before. Then 4 cycles
// response, 3 JMP, and the handler's prologue (avr-gcc: at most 20 cycles) up to the toggle.
TEST_F(InterruptTest, AFlagSetBeforeItsInterruptIsEnabledStillInterrupts) {
  Chip chip("late_enable");
  chip.power(5.0);
  chip.run(std::chrono::milliseconds(1));
  const auto mark = chip.steps(line::gate_UL), handler = chip.steps(line::gate_VL);
  ASSERT_THAT(handler, SizeIs(2)) << "made an output, then toggled exactly once";
  EXPECT_GT(handler[1].cycle, mark[1].cycle + 7);
  EXPECT_LT(handler[1].cycle, mark[1].cycle + 40);
}

TEST_F(InterruptTest, AClearedFlagDoesNotInterruptWhenEnabled) {
  Chip chip("late_enable_cleared");
  chip.power(5.0);
  chip.run(std::chrono::milliseconds(1));
  EXPECT_THAT(chip.steps(line::gate_UL), SizeIs(2)) << "the mark is missing: nothing was tested";
  EXPECT_THAT(chip.steps(line::gate_VL), SizeIs(1)) << "an output, never toggled";
}

// Datasheet, Reset and Interrupt Handling: the instruction after SEI runs before any pending
// interrupt. Cycles: OUT (PD2) ends at t, response 4, RJMP 2, OUT (PD4) 1: t + 7. RETI 4, then the
// next OUT of the main program clears both: t + 12.
TEST_F(InterruptTest, ExactlyOneInstructionRunsBetweenSeiAndAPendingInterrupt) {
  Chip chip("interrupt_after_sei");
  chip.power(5.0);
  chip.run_cycles(600);
  const auto first = chip.rises(line::gate_UL), handler = chip.rises(line::gate_VL);
  ASSERT_THAT(first, SizeIs(1));
  ASSERT_THAT(handler, SizeIs(1));
  EXPECT_EQ(handler[0], first[0] + 7);
  EXPECT_THAT(chip.falls(line::gate_UL), ::testing::ElementsAre(first[0] + 7));
  EXPECT_THAT(chip.falls(line::gate_VL), ::testing::ElementsAre(first[0] + 12));
}

// From the wire to PD4: PIN takes 0.5 to 1.5 cycles, its flag 2 more (figure Timing of Pin Change
// Interrupts), the running RJMP ends (0 to 1), response 4, RJMP to the handler 2, SBI 2: 10.5
// to 12.5 cycles. The wire changes at 40 different phases of a cycle and of the two-cycle loop.
TEST_F(InterruptTest, APinChangeReachesItsHandlerInTheCyclesOfTheDatasheet) {
  for (const std::string firmware : {"pin_change", "external_interrupt"}) {
    McuConfig config = usual_wiring(firmware);
    if (firmware == "external_interrupt") {
      config.line_pins[index(line::gate_UL)] = "";
      config.line_pins[index(line::hall_U)] = "PD2";
    }
    Chip chip(config);
    chip.power(5.0);
    std::vector<double> latency;
    for (int k = 0; k < 40; ++k) {
      chip.run(chip.now + Time{ps_per_cycle * 100 + 3125 * k});
      const Time wire_at = Time{at_cycle(1000 * (k + 1)).count() + 3125 * k};
      chip.run(wire_at);
      const std::size_t edges = chip.rises(line::gate_VL).size();
      chip.controller->deliver({wire_at, line::hall_U, Level::high});
      chip.run(wire_at + at_cycle(300));
      ASSERT_EQ(chip.rises(line::gate_VL).size(), edges + 1) << firmware << ", change " << k;
      latency.push_back(
          static_cast<double>(chip.rises(line::gate_VL).back() * ps_per_cycle - wire_at.count()) /
          ps_per_cycle);
      chip.controller->deliver({chip.now, line::hall_U, Level::low});
      chip.run(chip.now + at_cycle(300));
    }
    EXPECT_THAT(latency, Each(Ge(10.5))) << firmware;
    EXPECT_THAT(latency, Each(Le(12.5))) << firmware;
    EXPECT_GT(*std::max_element(latency.begin(), latency.end()) -
                  *std::min_element(latency.begin(), latency.end()),
              0.9)
        << "the phase of the wire does not matter: the synchroniser is missing";
  }
}

// A pin-change interrupt comes on both edges, INT0 set to rising only on one.
TEST_F(InterruptTest, BothEdgesOrOneInterruptAsConfigured) {
  const auto handled = [](const std::string& firmware, const char* pin) {
    McuConfig config = usual_wiring(firmware);
    config.line_pins[index(line::gate_UL)] = "";
    config.line_pins[index(line::hall_U)] = pin;
    Chip chip(config);
    chip.power(5.0);
    for (int k = 1; k <= 10; ++k) {
      chip.run_cycles(1000 * k);
      chip.wire(line::hall_U, k % 2 ? Level::high : Level::low);
    }
    chip.run_cycles(12000);
    return chip.rises(line::gate_VL).size();
  };
  EXPECT_EQ(handled("pin_change", "PC0"), 10u);
  EXPECT_EQ(handled("external_interrupt", "PD2"), 5u);
  EXPECT_EQ(handled("pin_change_masked", "PC0"), 0u) << "PCMSK1 masks every pin";
}

// Idle: timer 1 runs on and wakes each 65536 cycles; each wake takes the same path.
TEST_F(InterruptTest, IdleSleepWakesAtEachOverflow) {
  Chip chip("sleeper");
  chip.power(5.0);
  chip.run(std::chrono::milliseconds(500));
  const auto steps = chip.steps(line::gate_UL);
  ASSERT_GT(steps.size(), 120u);
  for (std::size_t k = 2; k < steps.size(); ++k)
    ASSERT_EQ(steps[k].cycle - steps[k - 1].cycle, 65536) << "wake " << k;
  EXPECT_EQ(chip.controller->health(), Health::running);
}

TEST_F(InterruptTest, SleepWithInterruptsOffIsToldAsTheEnd) {
  Chip chip("sleeper_for_ever");
  chip.power(5.0);
  chip.run(std::chrono::milliseconds(10));
  EXPECT_EQ(chip.controller->health(), Health::exited);
  EXPECT_THAT(std::string(chip.controller->diagnosis()), HasSubstr("sleeps with interrupts off"));
  EXPECT_EQ(chip.now, std::chrono::milliseconds(10)) << "time goes on";
}

// 16 ms typical at 5 V (datasheet, Watchdog Timer Prescale Select: 2048 cycles of 128 kHz).
TEST_F(InterruptTest, TheWatchdogResetsAndTheFirmwareStartsAnew) {
  Chip chip("watchdog");
  chip.power(5.0);
  chip.run(std::chrono::milliseconds(100));
  const auto rises = chip.rises(line::gate_UL);
  EXPECT_THAT(rises, SizeIs(::testing::AllOf(Ge(5u), Le(7u))));
  std::size_t releases = 0;
  for (const Edge& edge : chip.edges)
    releases += edge.line == line::gate_UL && edge.level == Level::released;
  EXPECT_GE(releases, rises.size()) << "a reset releases the pins";
}

}  // namespace
}  // namespace stillrotor::io::test
