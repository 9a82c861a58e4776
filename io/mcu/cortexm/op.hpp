// One instruction, decoded: what runs it and with what.
//
// A stretch of code is an array of these, one for each halfword of memory, so that the next
// instruction is the next element or the next but one, and a branch within the stretch is a hop.
//
// RT     plain data, left open where nothing is said: a flash of them is 20 MB, seldom looked at.
#pragma once

#include <cstdint>

namespace stillrotor::io::cortexm {

using Word = std::uint32_t;
class Cpu;
struct Op;

/// Executes the instruction and returns the one to execute next; itself when it could not be
/// completed (Cpu::trap says why).
using Handler = const Op* (*)(Cpu&, const Op*);

/// What a run has found out about the instructions from one on; all 0: nothing.
struct Findings {
  std::uint32_t entry;    // of the host's code for them, in its memory; 0: there is none
  std::uint8_t met;       // how often the run has come here, weighted
  bool is_inside;         // some of the host's code stands for what lies here
  std::int8_t leans;      // above 0: what came next was mostly not what lies next
  std::uint8_t computes;  // its loop does not wait, for so many more times (Cpu::hop_back())
};

struct Op {
  Handler execute;
  Handler in_it;     // inside an IT block: 16-bit data processing then leaves the flags alone
  Word imm;          // immediate, absolute address, or list of registers
  std::int32_t hop;  // to the branch's target, in elements, where that lies in the same stretch
  std::uint8_t d, n, m, a;
  std::uint8_t shift;
  std::uint8_t cycles;     // before anything that depends on data or on what ran before
  std::uint8_t halfwords;  // 0: not decoded yet
  std::uint8_t carry;      // of an immediate's rotation: 0, 1, or keep_carry
  mutable Findings found;
};
static_assert(sizeof(Op) == 40);

inline constexpr std::uint8_t keep_carry = 2;

inline const Op* next(const Op* op) noexcept { return op + op->halfwords; }

}  // namespace stillrotor::io::cortexm
