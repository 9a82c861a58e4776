// The flash interface: wait states, prefetch and caches; programming and erasing.
//
// The core stands still while the flash is busy, as it does on the part when it fetches from flash;
// code in RAM, which would run on there, stands still here too. Times: datasheet, typical, from
// memory.
//
// Source RM0090, 3.
// RT     set_timing() walks over what is decoded; nothing allocates.
#pragma once

#include <span>

#include "io/mcu/cortexm/clock_tree.hpp"

namespace stillrotor::io::cortexm {

class FlashController final : public Peripheral {
 public:
  FlashController(Core&, const ClockTree&, std::span<const Word> sector_bytes, bool unit_timing);
  Word read(Word offset, Cycle at) noexcept override;
  void write(Word offset, Word value, Word mask, Cycle at) noexcept override;
  void reset() noexcept;
  /// Stores to the flash's own addresses.
  Peripheral& programmer() noexcept { return programmer_; }

 private:
  class Programmer final : public Peripheral {
   public:
    explicit Programmer(FlashController& owner) : owner_(owner) {}
    Word read(Word, Cycle) noexcept override { return 0; }
    void write(Word offset, Word value, Word mask, Cycle) noexcept override {
      owner_.program(offset, value, mask);
    }

   private:
    FlashController& owner_;
  };
  void program(Word offset, Word value, Word mask) noexcept;
  void erase() noexcept;
  void busy(double seconds) noexcept;
  void take_access_control() noexcept;

  Core& core_;
  const ClockTree& clocks_;
  std::span<const Word> sector_bytes_;
  bool unit_;
  Programmer programmer_{*this};
  Word access_ = 0, status_ = 0, control_ = 0, options_ = 0;
  unsigned keys_ = 0;
};

}  // namespace stillrotor::io::cortexm
