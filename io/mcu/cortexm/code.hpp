// The memory that code can run from, decoded instruction by instruction as it is first met.
//
// What is written over is forgotten and decoded anew: code in RAM and programmed flash run as they
// stand in memory at that cycle. A part whose pipeline or prefetch still held the old instruction
// would run that; only code without the barriers that the architecture asks for can tell (DDI
// 0403E, A3.7.3).
//
// RT     a stretch that code enters for the first time allocates, a page of it touches memory for
//        the first time; nothing else.
#pragma once

#include <memory>
#include <vector>

#include "io/mcu/clock.hpp"
#include "io/mcu/cortexm/op.hpp"
#include "io/mcu/cortexm/timing.hpp"

namespace stillrotor::io::cortexm {

/// Told when what was decoded is so no more.
class CodeFollower {
 public:
  virtual ~CodeFollower() = default;
  /// Of something that Findings::is_inside says, or of everything.
  virtual void forgotten() noexcept = 0;
};

class Code {
 public:
  CodeFollower* follower = nullptr;

  /// bytes outlives this and its size is a multiple of 4; in_flash: fetches wait for the flash.
  void add(Word base, const std::uint8_t* bytes, Word size, bool in_flash);

  /// The place of that (even) address; nullptr: nothing can be executed there.
  const Op* find(Word address);
  Word address_of(const Op*) const noexcept;

  /// These bytes have changed.
  void forget(Word address, Word size) noexcept;
  void forget_all() noexcept;
  /// RAM whose stores ask which pages may hold decoded instructions.
  void watch(Word base, Word size);
  /// By page of that RAM; not 0: it may.
  const std::uint8_t* ram_pages() const noexcept { return ram_pages_.data(); }
  /// Any of these pages does. The follower is told when the first one does.
  bool runs_from_ram() const noexcept { return runs_from_ram_; }
  static constexpr unsigned page_bits = 8;

  static bool is_decoded(const Op*) noexcept;
  /// Decodes the instruction there, in place.
  const Op* decode(const Op*);

  Timing timing;

 private:
  struct Stretch {
    Word base, size;
    const std::uint8_t* bytes;
    bool in_flash;
    /// One for each halfword and two to fall off the end, in one piece. Pages of them are made when
    /// something first looks: most of a flash is never run from.
    std::unique_ptr<Op[]> ops;
    std::vector<bool> made;

    Word count() const noexcept { return size / 2; }
    /// What stands for that place, and the page it lies on, are there from now on.
    Op& at(Word place);
  };
  static constexpr Word page_ops = 2048;
  const Stretch& of(const Op*) const noexcept;

  std::vector<Stretch> stretches_;
  Word ram_base_ = 0;
  std::vector<std::uint8_t> ram_pages_;
  bool runs_from_ram_ = false;
};

}  // namespace stillrotor::io::cortexm
