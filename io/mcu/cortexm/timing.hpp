// What instructions cost.
//
// Table  the core's technical reference manual (ARM 100166, Cortex-M4 TRM r0p1, 3.3.1 instruction
//        set summary, 3.3.3 load/store timings, 7.2.3 floating-point instructions), by zero wait
//        states. It leaves ranges; taken here: a branch to a fixed target refills in 1 cycle, one
//        to a target from a register or from memory in 2, one more where a 32-bit instruction is
//        not word-aligned; a division takes 2 to 12 cycles by the quotient's bits; IT is not
//        folded.
// Flash  a model after the part's description of its accelerator: lines of 128 bits, 64 of them
// kept
//        (here direct-mapped) for instructions. A jump to a line that is not kept waits the wait
//        states. Lines met in sequence come in time with the prefetch on, and wait without it.
//        Data reads from flash do not wait.
// Unit   every instruction costs one cycle, entries and returns too.
#pragma once

#include "io/mcu/cortexm/op.hpp"

namespace stillrotor::io::cortexm {

struct Timing {
  bool unit = false;
  unsigned wait_states = 0;
  bool prefetch = false, instruction_cache = false;
};

inline constexpr unsigned entry_cycles = 12, tail_chain_cycles = 6, return_cycles = 10;
inline constexpr unsigned extended_frame_cycles = 17;  // S0 to S15 and FPSCR
inline constexpr Word flash_line_bits = 4, flash_lines = 64;

}  // namespace stillrotor::io::cortexm
