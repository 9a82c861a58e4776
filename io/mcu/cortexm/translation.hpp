// The processor's instructions in the host's own machine code: what makes a run fast.
//
// Whoever goes without it, Cpu's own loop, is what it has to equal, to the cycle and to the bit.
//
// RT     execute() allocates where instructions have come up often enough to be translated, and
//        where a translated one goes a seldom way for the first time: mostly in the first moments
//        of a program, and after its code was changed.
#pragma once

#include <memory>

#include "io/mcu/cortexm/code.hpp"

namespace stillrotor::io::cortexm {

class Translation : public CodeFollower {
 public:
  /// From Cpu::ip on until Cpu::stop or a trap.
  virtual void execute() noexcept = 0;

  struct Count {
    std::uint64_t units = 0;    // made, the dropped ones too
    std::uint64_t detours = 0;  // of theirs that were ever taken
    std::uint64_t entered = 0;  // from outside
    std::uint64_t alone = 0;    // instructions that were interpreted
    std::uint64_t dropped = 0;  // times that everything was
  };
  const Count& count() const noexcept { return count_; }
  /// So many arrivals, at most 254 and a jump counting five times, before what begins there is
  /// translated. What it is from the start is what pays in a run of seconds; a test wants more to
  /// be translated sooner.
  void set_patience(std::uint8_t arrivals) noexcept { patience_ = arrivals; }

 protected:
  Count count_;
  std::uint8_t patience_ = 250;
};

/// nullptr: not on this kind of host, not in this build, or not by this kernel's rules.
std::unique_ptr<Translation> make_translation(Cpu&);

}  // namespace stillrotor::io::cortexm
