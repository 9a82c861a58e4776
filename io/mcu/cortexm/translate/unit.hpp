// A unit: the instructions that are translated together. They follow one another in time, not
// always in memory: over branches that are always taken, into functions and back out of them, and
// the way that conditional branches have mostly gone so far; the other way leaves by the side.
//
// RT     allocates.
#pragma once

#include <vector>

#include "io/mcu/cortexm/translate/kinds.hpp"

namespace stillrotor::io::cortexm::translate {

/// Parts of the state that an instruction asks for or replaces.
namespace flag {
inline constexpr std::uint8_t nz = 1, carry = 2, overflow = 4, float_status = 8;
inline constexpr std::uint8_t core = nz | carry | overflow;
}  // namespace flag

struct Step {
  const Op* op = nullptr;
  Kind kind;
  const Op* then = nullptr;     // what the unit goes on with
  std::uint8_t condition = 14;  // inside an IT block
  std::uint8_t it = 0;          // and EPSR.IT there
  std::uint8_t in_block = 0;    // of IT: how many of the next steps are
  /// IT: what is done of the block is written out, the one way or the other; or one condition for
  /// all of it, and then its handler does it.
  enum class Block : std::uint8_t { joined, parted, all_or_none } block = Block::joined;
  bool follows = false;  // the unit goes on with the branch's target
  bool ends = false;     // nothing of the unit comes after it
  bool leaves = false;   // the unit may be left with it: all flags have to be known
  bool asks_fp_ready = false, asks_fp_mode = false;
  std::uint8_t replaces = 0, reads = 0;  // flags
  unsigned most = 0;                     // cycles
  bool looks = false;                    // before it, at the clock, for all up to the next look
  /// Cycles at most to the start of the last one before the next look.
  unsigned ahead = 0;
};

struct Unit {
  std::vector<Step> steps;
  const Op* falls_to = nullptr;  // behind the last step, where that does not end it
  /// Somebody asks for the flag behind that step before it is replaced.
  bool lives(std::size_t step, std::uint8_t flags) const noexcept;
};

/// Only what has been decoded. After so many steps it ends where another unit begins. Empty:
/// nothing there can be translated.
Unit find_unit(Cpu&, const Op* first, std::size_t long_enough);

/// A hop that may close a loop which waits.
inline bool is_short_way_back(const Op& op) noexcept {
  return static_cast<Word>(op.hop) + Cpu::short_way < Cpu::short_way;
}

}  // namespace stillrotor::io::cortexm::translate
