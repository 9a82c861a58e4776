// The rules of exceptions, one case each. Expected results from the ARMv7-M architecture reference
// manual (ARM DDI 0403E); its section stands beside the case, numbers from memory.
#include <gtest/gtest.h>

#include "tests/io/cortexm/part.hpp"

namespace stillrotor::io::cortexm {
namespace {

struct Rule {
  const char* name;
  const char* section;
  void (*check)(Part&);
};
void PrintTo(const Rule& rule, std::ostream* out) { *out << rule.section; }

// System control space.
constexpr Word csr = 0x10, rvr = 0x14, cvr = 0x18, iser = 0x100, icer = 0x180, ispr = 0x200,
               icpr = 0x280, iabr = 0x300, ipr = 0x400, icsr = 0xd04, vtor = 0xd08, aircr = 0xd0c,
               scr = 0xd10, ccr = 0xd14, shpr2 = 0xd1c, shcsr = 0xd24, cfsr = 0xd28, hfsr = 0xd2c,
               bfar = 0xd38, cpacr = 0xd88, stir = 0xf00, fpccr = 0xf34, fpcar = 0xf38,
               fpdscr = 0xf3c;
constexpr Word all_faults_on = 7u << 16, forced = 1u << 30;

// --- small programs -------------------------------------------------------------------------
void use_process_stack(Part& p, Word stack) {
  p.cpu().set_process_sp(stack);
  p.cpu().set_control(2);
}
void use_floats(Part& p) {
  p.write(cpacr, 0x00f00000);
  p.code(Part::thread, {opcode::vmov_s0_s1_high, opcode::vmov_s0_s1_low});
  p.cpu().s[1] = 0x3f800000;
  p.step();
  for (unsigned i = 0; i < 32; ++i) p.cpu().s[i] = 0x40000000 + i;
}
void expect_fault(Part& p, unsigned number, Word status) {
  EXPECT_TRUE(p.enters(number));
  EXPECT_EQ(p.read(cfsr), status);
}

const Rule rules[] = {
    {"ResetTakesStackAndStartFromTheTable", "B1.5.5",
     [](Part& p) {
       EXPECT_EQ(p.cpu().r[13], Part::top);
       EXPECT_EQ(p.pc(), Part::thread);
       EXPECT_EQ(p.cpu().r[14], 0xffffffff);
       EXPECT_TRUE(!p.cpu().handler_mode() && p.cpu().privileged());
       EXPECT_EQ(p.cpu().control(), 0u);
     }},
    {"ResetKeepsMemoryAndFlash", "B1.5.5",
     [](Part& p) {
       p.put(0x20000100, 0x12345678);
       p.put(0x08003000, 0x9abcdef0);
       p.core.reset();
       EXPECT_EQ(p.get(0x20000100), 0x12345678u);
       EXPECT_EQ(p.get(0x08003000), 0x9abcdef0u);
     }},
    {"ResetRequestNeedsItsKey", "B3.2.6",
     [](Part& p) {
       p.write(aircr, 4);
       p.step();
       EXPECT_FALSE(p.core.reset_requested());
       p.write(aircr, 0x05fa0004);
       p.step();
       EXPECT_TRUE(p.core.reset_requested());
     }},
    {"FrameHoldsEightWords", "B1.5.6",
     [](Part& p) {
       Cpu& c = p.cpu();
       for (unsigned i = 0; i < 13; ++i) c.r[i] = 0x100 + i;
       c.r[14] = 0x114;
       c.set_nzcv(0xa0000000);
       p.enable(3, 0x40);
       p.pend(3);
       EXPECT_TRUE(p.enters(Part::irq(3)));
       const Word frame = Part::top - 0x20;
       EXPECT_EQ(c.r[13], frame);
       const Word expected[] = {0x100, 0x101, 0x102, 0x103, 0x10c, 0x114, Part::thread, 0xa1000000};
       for (Word i = 0; i < 8; ++i) EXPECT_EQ(p.get(frame + 4 * i), expected[i]) << i;
       EXPECT_EQ(c.r[14], 0xfffffff9);
     }},
    {"ReturnRestoresEverything", "B1.5.8",
     [](Part& p) {
       Cpu& c = p.cpu();
       c.r[0] = 7;
       c.r[12] = 9;
       c.set_nzcv(0x50000000);
       p.enable(3, 0x40);
       p.pend(3);
       ASSERT_TRUE(p.enters(Part::irq(3)));
       c.r[0] = c.r[12] = 0;
       c.set_nzcv(0);
       ASSERT_TRUE(p.reach(Part::thread));
       EXPECT_EQ(c.r[0], 7u);
       EXPECT_EQ(c.r[12], 9u);
       EXPECT_EQ(c.r[13], Part::top);
       EXPECT_EQ(c.apsr(), 0x50000000u);
       EXPECT_EQ(c.ipsr, 0u);
     }},
    {"FrameIsAlignedToEightBytes", "B1.5.7",
     [](Part& p) {
       p.cpu().r[13] = Part::top - 4;
       p.enable(0, 0);
       p.pend(0);
       ASSERT_TRUE(p.enters(Part::irq(0)));
       EXPECT_EQ(p.cpu().r[13], Part::top - 0x28);
       EXPECT_EQ(p.get(Part::top - 0x28 + 0x1c) >> 9 & 1, 1u);
       ASSERT_TRUE(p.reach(Part::thread));
       EXPECT_EQ(p.cpu().r[13], Part::top - 4);
     }},
    {"FrameIsAlignedToFourBytesWhenAsked", "B1.5.7",
     [](Part& p) {
       p.write(ccr, 0);
       p.cpu().r[13] = Part::top - 4;
       p.enable(0, 0);
       p.pend(0);
       ASSERT_TRUE(p.enters(Part::irq(0)));
       EXPECT_EQ(p.cpu().r[13], Part::top - 0x24);
       EXPECT_EQ(p.get(Part::top - 0x24 + 0x1c) >> 9 & 1, 0u);
     }},
    {"ThreadOnItsProcessStack", "B1.5.6",
     [](Part& p) {
       use_process_stack(p, 0x20002000);
       EXPECT_EQ(p.cpu().r[13], 0x20002000u);
       p.enable(0, 0);
       p.pend(0);
       ASSERT_TRUE(p.enters(Part::irq(0)));
       EXPECT_EQ(p.cpu().r[14], 0xfffffffd);
       EXPECT_EQ(p.cpu().process_sp(), 0x20002000u - 0x20);
       EXPECT_EQ(p.cpu().r[13], Part::top);
       EXPECT_EQ(p.cpu().control(), 0u);  // SPSEL reads as zero in a handler
       ASSERT_TRUE(p.reach(Part::thread));
       EXPECT_EQ(p.cpu().r[13], 0x20002000u);
       EXPECT_EQ(p.cpu().control(), 2u);
     }},
    {"MoreUrgentInterruptsPreempt", "B1.5.4",
     [](Part& p) {
       p.enable(1, 0x80);
       p.enable(2, 0x40);
       p.pend(1);
       ASSERT_TRUE(p.enters(Part::irq(1)));
       p.pend(2);
       EXPECT_TRUE(p.enters(Part::irq(2)));
       EXPECT_EQ(p.cpu().r[14], 0xfffffff1);
       EXPECT_TRUE(p.exceptions().is_active(Part::irq(1)));
       EXPECT_TRUE(p.reach(Part::handler(Part::irq(1))));
     }},
    {"EquallyUrgentOnesWait", "B1.5.4",
     [](Part& p) {
       p.enable(1, 0x40);
       p.enable(2, 0x40);
       p.pend(2);
       ASSERT_TRUE(p.enters(Part::irq(2)));
       p.pend(1);
       p.steps(3);
       EXPECT_EQ(p.cpu().ipsr, Part::irq(2));
     }},
    {"AmongEqualsTheLowestNumber", "B1.5.4",
     [](Part& p) {
       p.enable(7, 0x40);
       p.enable(4, 0x40);
       p.enable(9, 0x30);
       p.pend(7);
       p.pend(4);
       EXPECT_TRUE(p.enters(Part::irq(4)));
     }},
    {"SubPrioritiesDoNotPreempt", "B1.5.4",
     [](Part& p) {
       p.write(aircr, 0x05fa0500);  // PRIGROUP 5: two bits of group, the others of sub-priority
       p.enable(1, 0x70);
       p.enable(2, 0x40);  // the same group, more urgent within it
       p.enable(3, 0x30);  // another group
       p.pend(1);
       ASSERT_TRUE(p.enters(Part::irq(1)));
       p.pend(2);
       p.step();
       EXPECT_EQ(p.cpu().ipsr, Part::irq(1));
       p.pend(3);
       EXPECT_TRUE(p.enters(Part::irq(3)));
     }},
    {"SubPrioritiesOrderThePending", "B1.5.4",
     [](Part& p) {
       p.write(aircr, 0x05fa0700);
       p.enable(1, 0x70);
       p.enable(2, 0x40);
       p.pend(1);
       p.pend(2);
       EXPECT_TRUE(p.enters(Part::irq(2)));
     }},
    {"FourBitsOfPriority", "B3.4.9",
     [](Part& p) {
       p.write(ipr + 4, 0xffabcdef);
       EXPECT_EQ(p.read(ipr + 4), 0xf0a0c0e0u);
     }},
    {"BasepriHoldsBackItsOwnAndBelow", "B1.5.4",
     [](Part& p) {
       p.cpu().basepri = 0x40;
       p.enable(1, 0x40);
       p.enable(2, 0x30);
       p.pend(1);
       p.steps(3);
       EXPECT_EQ(p.cpu().ipsr, 0u);
       p.pend(2);
       EXPECT_TRUE(p.enters(Part::irq(2)));
     }},
    {"BasepriMaxOnlyRaises", "B5.2.3",
     [](Part& p) {
       // MSR BASEPRI_MAX, r0 .. r2: f380 8812
       p.code(Part::thread, {0xf380, 0x8812, 0xf381, 0x8812, 0xf382, 0x8812});
       p.cpu().r[0] = 0x40;
       p.cpu().r[1] = 0x60;
       p.cpu().r[2] = 0x20;
       p.step();
       EXPECT_EQ(p.cpu().basepri, 0x40u);
       p.step();
       EXPECT_EQ(p.cpu().basepri, 0x40u);
       p.step();
       EXPECT_EQ(p.cpu().basepri, 0x20u);
     }},
    {"PrimaskHoldsBackAllButNmiAndHardFault", "B1.5.4",
     [](Part& p) {
       p.code(Part::thread, {opcode::cpsid_i});
       p.step();
       p.enable(1, 0);
       p.pend(1);
       p.steps(3);
       EXPECT_EQ(p.cpu().ipsr, 0u);
       p.write(icsr, 1u << 31);
       EXPECT_TRUE(p.enters(exception::nmi));
     }},
    {"FaultmaskHoldsBackHardFaultAndEndsWithTheHandler", "B1.5.8",
     [](Part& p) {
       p.enable(1, 0);
       p.code(Part::handler(Part::irq(1)), {opcode::cpsid_f});
       p.pend(1);
       ASSERT_TRUE(p.enters(Part::irq(1)));
       p.step();
       EXPECT_EQ(p.cpu().execution_priority(), -1);
       ASSERT_TRUE(p.reach(Part::thread));
       EXPECT_FALSE(p.cpu().faultmask);
     }},
    {"TailChainingLeavesTheStackAlone", "B1.5.12",
     [](Part& p) {
       p.enable(1, 0x40);
       p.enable(2, 0x40);
       p.pend(1);
       p.pend(2);
       ASSERT_TRUE(p.enters(Part::irq(1)));
       const Word stack = p.cpu().r[13];
       ASSERT_TRUE(p.reach(Part::handler(Part::irq(1)) + 8));
       const Cycle before = p.core.now();
       p.put(stack, 0x777);  // R0 of the frame: read at the end only
       p.step();
       EXPECT_EQ(p.pc(), Part::handler(Part::irq(2)));
       EXPECT_EQ(p.cpu().r[13], stack);
       EXPECT_EQ(p.cpu().r[14], 0xfffffff9);
       EXPECT_EQ(p.core.now() - before, 1 + 6u);  // TRM 3.9: 6 cycles behind BX
       ASSERT_TRUE(p.reach(Part::thread));
       EXPECT_EQ(p.cpu().r[0], 0x777u);
     }},
    {"EntryAndReturnTakeTheirCycles", "TRM 3.9",
     [](Part& p) {
       p.enable(1, 0x40);
       p.pend(1);
       const Cycle before = p.core.now();
       p.step();
       EXPECT_EQ(p.core.now() - before, 12u);
       EXPECT_EQ(p.pc(), Part::handler(Part::irq(1)));
       ASSERT_TRUE(p.reach(Part::handler(Part::irq(1)) + 8));
       const Cycle end = p.core.now();
       p.step();
       EXPECT_EQ(p.core.now() - end, 1 + 10u);
       EXPECT_EQ(p.pc(), Part::thread);
     }},
    {"SupervisorCall", "B1.5.6",
     [](Part& p) {
       p.code(Part::thread, {opcode::svc});
       EXPECT_TRUE(p.enters(exception::supervisor_call));
       EXPECT_EQ(p.get(p.cpu().r[13] + 0x18), Part::thread + 2);
     }},
    {"SupervisorCallThatCannotPreemptIsAHardFault", "B1.5.14",
     [](Part& p) {
       p.write(shpr2, 0x80u << 24);
       p.enable(1, 0x80);
       p.code(Part::handler(Part::irq(1)), {opcode::svc});
       p.pend(1);
       EXPECT_TRUE(p.enters(exception::hard_fault));
       EXPECT_EQ(p.read(hfsr), forced);
     }},
    {"PendedCallIsSetAndCleared", "B3.2.4",
     [](Part& p) {
       p.cpu().primask = true;
       p.write(icsr, 1u << 28);
       EXPECT_EQ(p.read(icsr) >> 28 & 1, 1u);
       EXPECT_EQ(p.read(icsr) >> 12 & 0x1ff, exception::pending_call);
       p.write(icsr, 1u << 27);
       EXPECT_EQ(p.read(icsr) >> 28 & 1, 0u);
       p.write(icsr, 1u << 28);
       p.cpu().primask = false;
       EXPECT_TRUE(p.enters(exception::pending_call));
     }},
    {"ReturnToBaseIsShown", "B3.2.4",
     [](Part& p) {
       constexpr Word to_base = 1u << 11;
       p.enable(1, 0x80);
       p.enable(2, 0x40);
       p.pend(1);
       ASSERT_TRUE(p.enters(Part::irq(1)));
       EXPECT_EQ(p.read(icsr) & to_base, to_base);
       p.pend(2);
       ASSERT_TRUE(p.enters(Part::irq(2)));
       EXPECT_EQ(p.read(icsr) & to_base, 0u);
       EXPECT_EQ(p.read(icsr) & 0x1ff, Part::irq(2));
     }},
    {"SystemTickCountsItsPeriod", "B3.3",
     [](Part& p) {
       p.write(rvr, 99);
       p.write(cvr, 0);
       const Cycle start = p.core.now();
       p.write(csr, 7);
       EXPECT_TRUE(p.enters(exception::system_tick));
       // A clock to load 99, 99 to count; the instruction then ends, 12 to enter.
       EXPECT_GE(p.core.now(), start + 100 + 12);
       EXPECT_LE(p.core.now(), start + 102 + 12);
       EXPECT_EQ(p.read(csr) >> 16, 1u);
       EXPECT_EQ(p.read(csr) >> 16, 0u);  // reading clears
       EXPECT_LE(p.read(cvr), 99u);
     }},
    {"SystemTickWritesClearTheCount", "B3.3.4",
     [](Part& p) {
       p.write(rvr, 1000);
       p.write(csr, 5);
       p.core.run(p.core.now() + 300);
       EXPECT_NE(p.read(cvr), 0u);
       p.write(cvr, 0x1234);
       EXPECT_EQ(p.read(cvr), 0u);
       EXPECT_EQ(p.read(csr) >> 16, 0u);
     }},
    {"WaitForInterruptSleeps", "B1.5.19",
     [](Part& p) {
       p.code(Part::thread, {opcode::wfi});
       p.enable(1, 0);
       p.core.run(1000);
       EXPECT_TRUE(p.core.asleep());
       EXPECT_EQ(p.core.now(), 1000u);
       p.pend(1);
       EXPECT_TRUE(p.enters(Part::irq(1)));
       EXPECT_EQ(p.get(p.cpu().r[13] + 0x18), Part::thread + 2);
     }},
    {"PrimaskDoesNotKeepItAsleep", "B1.5.19",
     [](Part& p) {
       p.code(Part::thread, {opcode::cpsid_i, opcode::wfi});
       p.enable(1, 0);
       p.core.run(500);
       ASSERT_TRUE(p.core.asleep());
       p.pend(1);
       p.steps(2);
       EXPECT_FALSE(p.core.asleep());
       EXPECT_EQ(p.cpu().ipsr, 0u);
       EXPECT_GE(p.pc(), Part::thread + 4);
     }},
    {"BasepriKeepsItAsleep", "B1.5.19",
     [](Part& p) {
       p.code(Part::thread, {opcode::wfi});
       p.cpu().basepri = 0x40;
       p.enable(1, 0x40);
       p.core.run(500);
       p.pend(1);
       p.core.run(1000);
       EXPECT_TRUE(p.core.asleep());
     }},
    {"EventsAreRememberedOnce", "B1.5.18",
     [](Part& p) {
       p.code(Part::thread, {opcode::sev, opcode::wfe, opcode::nop, opcode::wfe});
       p.core.run(100);
       EXPECT_TRUE(p.core.asleep());
       EXPECT_EQ(p.pc(), Part::thread + 8);
     }},
    {"PendingIsAnEventWhenAsked", "B1.5.18",
     [](Part& p) {
       p.write(scr, 0x10);
       p.code(Part::thread, {opcode::wfe});
       p.core.run(100);
       ASSERT_TRUE(p.core.asleep());
       p.pend(5);  // not enabled
       p.steps(2);
       EXPECT_FALSE(p.core.asleep());
       EXPECT_EQ(p.cpu().ipsr, 0u);
     }},
    {"SleepOnExit", "B1.5.17",
     [](Part& p) {
       p.write(scr, 2);
       p.enable(1, 0);
       p.pend(1);
       ASSERT_TRUE(p.enters(Part::irq(1)));
       p.core.run(p.core.now() + 200);
       EXPECT_TRUE(p.core.asleep());
       EXPECT_EQ(p.pc(), Part::thread);  // not one instruction of the thread
       p.pend(1);
       EXPECT_TRUE(p.enters(Part::irq(1)));
     }},
    {"LazyStackingReservesAndWaits", "B1.6",
     [](Part& p) {
       use_floats(p);
       p.put(Part::top - 0x68 + 0x20, 0xdeadbeef);
       p.enable(1, 0);
       p.pend(1);
       ASSERT_TRUE(p.enters(Part::irq(1)));
       EXPECT_EQ(p.cpu().r[13], Part::top - 0x68);
       EXPECT_EQ(p.cpu().r[14], 0xffffffe9);
       EXPECT_EQ(p.read(fpccr) & 9, 9u);  // LSPACT, THREAD
       EXPECT_EQ(p.read(fpcar), Part::top - 0x68 + 0x20);
       EXPECT_EQ(p.get(Part::top - 0x68 + 0x20), 0xdeadbeef);
       EXPECT_EQ(p.cpu().control() & 4, 0u);
       ASSERT_TRUE(p.reach(Part::thread + 4));
       EXPECT_EQ(p.cpu().s[0], 0x40000000u);  // never left
       EXPECT_EQ(p.read(fpccr) & 1, 0u);
       EXPECT_EQ(p.cpu().control() & 4, 4u);
     }},
    {"LazyStackingIsDoneByTheFirstFloat", "B1.6",
     [](Part& p) {
       use_floats(p);
       p.enable(1, 0);
       p.code(Part::handler(Part::irq(1)), {opcode::vmov_s0_s1_high, opcode::vmov_s0_s1_low});
       p.cpu().fpscr = 0x30000010;
       p.write(fpdscr, 1u << 24);
       p.pend(1);
       ASSERT_TRUE(p.enters(Part::irq(1)));
       p.step();
       for (Word i = 0; i < 16; ++i)
         EXPECT_EQ(p.get(Part::top - 0x68 + 0x20 + 4 * i), 0x40000000 + i);
       EXPECT_EQ(p.get(Part::top - 0x68 + 0x60), 0x30000010u);
       EXPECT_EQ(p.read(fpccr) & 1, 0u);
       EXPECT_EQ(p.cpu().fpscr >> 22 & 0x1f, 4u);  // modes from FPDSCR
       EXPECT_EQ(p.cpu().s[0], 0x40000001u);
       ASSERT_TRUE(p.reach(Part::thread + 4));
       EXPECT_EQ(p.cpu().s[0], 0x40000000u);
       EXPECT_EQ(p.cpu().fpscr, 0x30000010u);
     }},
    {"WritingLspactZeroGivesTheStateUp", "B1.6",
     [](Part& p) {
       use_floats(p);
       p.enable(1, 0);
       p.code(Part::handler(Part::irq(1)), {opcode::vmov_s0_s1_high, opcode::vmov_s0_s1_low});
       p.put(Part::top - 0x68 + 0x20, 0xdeadbeef);
       p.pend(1);
       ASSERT_TRUE(p.enters(Part::irq(1)));
       p.write(fpccr, 0xc0000000);
       p.step();
       EXPECT_EQ(p.get(Part::top - 0x68 + 0x20), 0xdeadbeef);
     }},
    {"EagerStackingWritesAtOnce", "B1.6",
     [](Part& p) {
       use_floats(p);
       p.write(fpccr, 0x80000000);
       p.enable(1, 0);
       p.pend(1);
       ASSERT_TRUE(p.enters(Part::irq(1)));
       EXPECT_EQ(p.get(Part::top - 0x68 + 0x24), 0x40000001u);
       p.cpu().s[1] = 0;
       ASSERT_TRUE(p.reach(Part::thread + 4));
       EXPECT_EQ(p.cpu().s[1], 0x40000001u);
     }},
    {"FloatsWithoutAccess", "B3.2.20",
     [](Part& p) {
       p.write(shcsr, all_faults_on);
       p.code(Part::thread, {opcode::vmov_s0_s1_high, opcode::vmov_s0_s1_low});
       expect_fault(p, exception::usage_fault, 8u << 16);
     }},
    {"DivisionByZeroTrapsWhenAsked", "B1.5.14",
     [](Part& p) {
       p.write(shcsr, all_faults_on);
       p.code(Part::thread, {0xfb90, 0xf0f1, 0xfb90, 0xf0f1});  // SDIV r0, r0, r1
       p.cpu().r[0] = 5;
       p.step();
       EXPECT_EQ(p.cpu().r[0], 0u);
       p.write(ccr, 0x210);
       expect_fault(p, exception::usage_fault, 0x200u << 16);
       EXPECT_EQ(p.get(p.cpu().r[13] + 0x18), Part::thread + 4);
     }},
    {"UnalignedAccessTrapsWhenAsked", "A3.2.1",
     [](Part& p) {
       p.write(shcsr, all_faults_on);
       p.code(Part::thread, {0x6808, 0x6808});  // LDR r0, [r1]
       p.put(0x20000000, 0x44332211);
       p.put(0x20000004, 0x88776655);
       p.cpu().r[1] = 0x20000001;
       p.step();
       EXPECT_EQ(p.cpu().r[0], 0x55443322u);
       p.write(ccr, 0x208);
       expect_fault(p, exception::usage_fault, 0x100u << 16);
     }},
    {"UnalignedMultipleAlwaysTraps", "A3.2.1",
     [](Part& p) {
       p.write(shcsr, all_faults_on);
       p.code(Part::thread, {0xc906});  // LDM r1!, {r1, r2} without write-back
       p.cpu().r[1] = 0x20000002;
       expect_fault(p, exception::usage_fault, 0x100u << 16);
       EXPECT_EQ(p.get(p.cpu().r[13] + 4), 0x20000002u);  // r1 as it was
     }},
    {"WrongStateFaultsAtTheTarget", "B1.5.14",
     [](Part& p) {
       p.write(shcsr, all_faults_on);
       p.code(Part::thread, {0x4700});  // BX r0
       p.cpu().r[0] = 0x08000800;
       expect_fault(p, exception::usage_fault, 2u << 16);
       EXPECT_EQ(p.get(p.cpu().r[13] + 0x18), 0x08000800u);
       EXPECT_EQ(p.get(p.cpu().r[13] + 0x1c) >> 24 & 1, 0u);  // T
     }},
    {"WrongReturnValueFaults", "B1.5.8",
     [](Part& p) {
       p.write(shcsr, all_faults_on);
       p.enable(1, 0x80);
       p.pend(1);
       ASSERT_TRUE(p.enters(Part::irq(1)));
       p.cpu().r[14] = 0xfffffff3;
       expect_fault(p, exception::usage_fault, 4u << 16);
     }},
    {"ReturnToThreadFromNestedFaults", "B1.5.8",
     [](Part& p) {
       p.write(shcsr, all_faults_on);
       p.enable(1, 0x80);
       p.enable(2, 0x40);
       p.pend(1);
       ASSERT_TRUE(p.enters(Part::irq(1)));
       p.pend(2);
       ASSERT_TRUE(p.enters(Part::irq(2)));
       p.cpu().r[14] = 0xfffffff9;
       expect_fault(p, exception::usage_fault, 4u << 16);
     }},
    {"PermanentlyUndefinedFaults", "B1.5.14",
     [](Part& p) {
       p.write(shcsr, all_faults_on);
       p.code(Part::thread, {opcode::udf});
       expect_fault(p, exception::usage_fault, 1u << 16);
     }},
    {"LoadFromNowhereFaults", "B3.2.15",
     [](Part& p) {
       p.write(shcsr, all_faults_on);
       p.code(Part::thread, {0x6808});  // LDR r0, [r1]
       p.cpu().r[1] = 0x60000000;
       p.cpu().r[0] = 7;
       expect_fault(p, exception::bus_fault, 0x82u << 8);
       EXPECT_EQ(p.read(bfar), 0x60000000u);
       EXPECT_EQ(p.get(p.cpu().r[13]), 7u);
       p.write(cfsr, 0x82u << 8);
       EXPECT_EQ(p.read(cfsr), 0u);
     }},
    {"CodeNowhereFaults", "B3.2.15",
     [](Part& p) {
       p.write(shcsr, all_faults_on);
       p.code(Part::thread, {0x4700});
       p.cpu().r[0] = 0x09000001;
       expect_fault(p, exception::bus_fault, 1u << 8);
       EXPECT_EQ(p.get(p.cpu().r[13] + 0x18), 0x09000000u);
     }},
    {"PeripheralsAreNeverExecuted", "B3.1",
     [](Part& p) {
       p.write(shcsr, all_faults_on);
       p.code(Part::thread, {0x4700});
       p.cpu().r[0] = 0x40000001;
       expect_fault(p, exception::memory_fault, 1);
     }},
    {"StackOutsideMemoryFaultsOnTheWayIn", "B1.5.11",
     [](Part& p) {
       p.write(shcsr, all_faults_on);
       use_process_stack(p, 0x30000000);
       p.enable(1, 0x40);
       p.pend(1);
       ASSERT_TRUE(p.enters(exception::bus_fault));  // priority 0: more urgent than 0x40
       EXPECT_EQ(p.read(cfsr), 0x10u << 8);
       EXPECT_TRUE(p.exceptions().is_pending(Part::irq(1)));
     }},
    {"DisabledFaultsEscalate", "B1.5.14",
     [](Part& p) {
       p.code(Part::thread, {opcode::udf});
       EXPECT_TRUE(p.enters(exception::hard_fault));
       EXPECT_EQ(p.read(hfsr), forced);
       EXPECT_EQ(p.read(cfsr), 1u << 16);
     }},
    {"FaultInHardFaultLocksUp", "B1.5.15",
     [](Part& p) {
       p.code(Part::thread, {opcode::udf});
       p.code(Part::handler(exception::hard_fault), {opcode::nop, opcode::udf});
       p.core.run(1000);
       EXPECT_FALSE(p.core.can_go_on());
       EXPECT_NE(p.core.end().find("lockup"), std::string::npos) << p.core.end();
       EXPECT_NE(p.core.end().find("08001032"), std::string::npos) << p.core.end();
     }},
    {"BreakpointWithoutDebuggerIsAHardFault", "C1.6.1",
     [](Part& p) {
       p.code(Part::thread, {opcode::bkpt});
       EXPECT_TRUE(p.enters(exception::hard_fault));
       EXPECT_EQ(p.read(hfsr), 1u << 31);
     }},
    {"VectorThatCannotBeReadIsAHardFault", "B1.5.11",
     [](Part& p) {
       p.enable(81, 0);
       p.write(vtor, 0x20003f80);  // the table ends with the memory
       p.put(0x20003f80 + 12, Part::handler(3) | 1);
       p.pend(81);
       EXPECT_TRUE(p.enters(exception::hard_fault));
       EXPECT_EQ(p.read(hfsr), 2u);
     }},
    {"TheTableMoves", "B3.2.5",
     [](Part& p) {
       p.write(vtor, 0x20000000);
       p.put(0x20000000 + 4 * Part::irq(0), Part::handler(90) | 1);
       p.enable(0, 0);
       p.pend(0);
       EXPECT_TRUE(p.reach(Part::handler(90)));
     }},
    {"UnprivilegedCodeIsKeptOut", "B1.4.4",
     [](Part& p) {
       p.write(shcsr, all_faults_on);
       p.cpu().set_control(1);
       p.code(Part::thread, {opcode::cpsid_i, 0xf380, 0x8811, 0x6808});  // MSR BASEPRI; LDR
       p.cpu().r[0] = 0x80;
       p.cpu().r[1] = 0xE000ED00;
       p.steps(2);
       EXPECT_FALSE(p.cpu().primask);
       EXPECT_EQ(p.cpu().basepri, 0u);
       expect_fault(p, exception::bus_fault, 0x82u << 8);
       EXPECT_TRUE(p.cpu().privileged());  // handlers always are
     }},
    {"AnInterruptedItBlockGoesOn", "B1.5.6",
     [](Part& p) {
       // CMP r0, r0; ITETE EQ; ADDEQ r1, #1; ADDNE r2, #1; ADDEQ r3, #1; ADDNE r4, #1
       p.code(Part::thread, {0x4280, 0xbf0b, 0x3101, 0x3201, 0x3301, 0x3401, opcode::stay});
       p.steps(3);
       EXPECT_EQ(p.pc(), Part::thread + 6);
       p.enable(1, 0);
       p.pend(1);
       ASSERT_TRUE(p.enters(Part::irq(1)));
       EXPECT_EQ(p.cpu().it, 0u);
       const Word status = p.get(p.cpu().r[13] + 0x1c);
       EXPECT_NE(status & 0x0600fc00, 0u);
       ASSERT_TRUE(p.reach(Part::thread + 12));
       EXPECT_EQ(p.cpu().r[1], 1u);
       EXPECT_EQ(p.cpu().r[2], 0u);
       EXPECT_EQ(p.cpu().r[3], 1u);
       EXPECT_EQ(p.cpu().r[4], 0u);
     }},
    {"ALineThatStaysHighAsksAgain", "B3.4.1",
     [](Part& p) {
       p.enable(1, 0);
       p.exceptions().set_line(1, true);
       ASSERT_TRUE(p.enters(Part::irq(1)));
       const std::uint64_t taken = p.exceptions().taken;
       p.core.run(p.core.now() + 40);
       EXPECT_GT(p.exceptions().taken, taken);
       p.exceptions().set_line(1, false);
       ASSERT_TRUE(p.reach(Part::thread));
     }},
    {"EnableAndPendingBits", "B3.4",
     [](Part& p) {
       p.cpu().primask = true;
       p.write(iser + 4, 0x5);
       EXPECT_EQ(p.read(iser + 4), 5u);
       p.write(icer + 4, 0x1);
       EXPECT_EQ(p.read(icer + 4), 4u);
       p.write(ispr, 0x80000001);
       EXPECT_EQ(p.read(ispr), 0x80000001u);
       p.write(icpr, 1);
       EXPECT_EQ(p.read(ispr), 0x80000000u);
       p.write(stir, 33);
       EXPECT_EQ(p.read(ispr + 4), 2u);
       p.write(iser + 8, ~0u);  // 82 interrupts only
       EXPECT_EQ(p.read(iser + 8), 0x3ffffu);
       p.cpu().primask = false;
       p.write(iser, 1u << 31);
       ASSERT_TRUE(p.enters(Part::irq(31)));
       EXPECT_EQ(p.read(iabr), 1u << 31);
     }},
    {"EntryClearsTheExclusiveMonitor", "A3.4.4",
     [](Part& p) {
       p.cpu().exclusive = true;
       p.enable(1, 0);
       p.pend(1);
       ASSERT_TRUE(p.enters(Part::irq(1)));
       EXPECT_FALSE(p.cpu().exclusive);
     }},
    {"ExclusivePairs", "A3.4.1",
     [](Part& p) {
       // LDREX r0, [r1]; STREX r2, r3, [r1]; STREX r4, r3, [r1]
       p.code(Part::thread, {0xe851, 0x0f00, 0xe841, 0x3200, 0xe841, 0x3400});
       p.cpu().r[1] = 0x20000010;
       p.cpu().r[3] = 42;
       p.cpu().r[2] = p.cpu().r[4] = 9;
       p.steps(3);
       EXPECT_EQ(p.cpu().r[2], 0u);
       EXPECT_EQ(p.cpu().r[4], 1u);
       EXPECT_EQ(p.get(0x20000010), 42u);
     }},
    {"NmiPreemptsHardFault", "B1.5.4",
     [](Part& p) {
       p.code(Part::thread, {opcode::udf});
       ASSERT_TRUE(p.enters(exception::hard_fault));
       p.write(icsr, 1u << 31);
       EXPECT_TRUE(p.enters(exception::nmi));
     }},
};

/// Pends an interrupt at a cycle, as a peripheral would.
struct Later {
  Later(Part& p, unsigned n)
      : part(p), number(n), event(p.core.scheduler().make<&Later::fire>(this)) {}
  void fire(Cycle) { part.pend(number); }
  Part& part;
  unsigned number, event;
};

const Rule timed_rules[] = {
    {"LateArrivalIsEnteredFirst", "B1.5.6",
     [](Part& p) {
       p.enable(1, 0x80);
       p.enable(2, 0x40);
       Later later(p, 2);
       p.core.scheduler().at(later.event, p.core.now() + 5);  // within the twelve of the entry
       p.pend(1);
       const Cycle before = p.core.now();
       p.step();
       EXPECT_EQ(p.pc(), Part::handler(Part::irq(2)));
       EXPECT_EQ(p.core.now() - before, 12u);
       EXPECT_TRUE(p.exceptions().is_pending(Part::irq(1)));
       EXPECT_EQ(p.cpu().r[13], Part::top - 0x20);  // one frame for both
       EXPECT_TRUE(p.enters(Part::irq(1)));
       EXPECT_EQ(p.cpu().r[13], Part::top - 0x20);
     }},
    {"PopPreemptionAbandonsTheReturn", "B1.5.12",
     [](Part& p) {
       p.enable(1, 0x80);
       p.enable(2, 0x80);
       Later later(p, 2);
       p.pend(1);
       ASSERT_TRUE(p.reach(Part::handler(Part::irq(1)) + 8));
       const Cycle before = p.core.now();
       p.core.scheduler().at(later.event, before + 4);  // BX takes one, unstacking ten
       p.step();
       EXPECT_EQ(p.pc(), Part::handler(Part::irq(2)));
       EXPECT_EQ(p.core.now() - before, 4 + 6u);
       EXPECT_EQ(p.cpu().r[13], Part::top - 0x20);
     }},
    {"AnEventEndsTheStretchAtItsCycle", "own: io/mcu/cortexm/scheduler.hpp",
     [](Part& p) {
       p.code(Part::thread, {opcode::stay});
       p.enable(2, 0x40);
       Later later(p, 2);
       p.core.scheduler().at(later.event, 1000);
       ASSERT_TRUE(p.enters(Part::irq(2)));
       EXPECT_GE(p.core.now(), 1012u);
       EXPECT_LE(p.core.now(), 1014u);
     }},
};

class ExceptionRule : public testing::TestWithParam<Rule> {};
TEST_P(ExceptionRule, Holds) {
  Part part;
  GetParam().check(part);
}
const auto named = [](const testing::TestParamInfo<Rule>& info) {
  return std::string(info.param.name);
};
INSTANTIATE_TEST_SUITE_P(Cortex, ExceptionRule, testing::ValuesIn(rules), named);
INSTANTIATE_TEST_SUITE_P(CortexTimed, ExceptionRule, testing::ValuesIn(timed_rules), named);

}  // namespace
}  // namespace stillrotor::io::cortexm
