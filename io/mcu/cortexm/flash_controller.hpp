// The flash interface: wait states, prefetch and caches; programming and erasing.
//
// The core stands still while the flash is busy, as it does on the part when it fetches from flash;
// code in RAM, which would run on there, stands still here too. Times: datasheet, typical, from
// memory.
//
// Option bytes can be read and programmed. nWRP protects sectors, WDG_SW starts the watchdog,
// BOR_LEV is the supply's to obey; RDP is refused: it would close the flash, or on its way back
// erase it, for good on its highest level.
//
// Source RM0090, 3; 3.6 (option bytes), 3.9.10 (OPTCR). How long OPTSTRT takes: taken as an erase.
// RT     set_timing() walks over what is decoded; nothing allocates.
#pragma once

#include <functional>
#include <span>
#include <string_view>

#include "io/mcu/cortexm/clock_tree.hpp"

namespace stillrotor::io::cortexm {

class FlashController final : public Peripheral {
 public:
  FlashController(Core&, const ClockTree&, std::span<const Word> sector_bytes, bool unit_timing);
  Word read(Word offset, Cycle at) noexcept override;
  void write(Word offset, Word value, Word mask, Cycle at) noexcept override;
  void reset(Cycle at) noexcept override;
  /// Option bytes as they are stored (OPTCR without its lowest two bits); they outlast the supply.
  Word stored_options() const noexcept { return stored_options_; }
  void store_options(Word options) noexcept;
  static constexpr Word factory_options = 0x0fffaaec;
  /// BOR_LEV: below that supply the part is held in reset, above the rising level it starts; 0:
  /// off.
  double brown_out_V(bool rising) const noexcept;
  /// Where they lie in memory.
  Peripheral& option_bytes() noexcept { return option_bytes_; }
  /// Told what is refused, and why.
  using Refused = std::function<void(std::string_view)>;
  void tell_refused_by(Refused refused) { refused_ = std::move(refused); }
  /// WDG_SW is 0: the independent watchdog runs from the start.
  bool watchdog_from_start() const noexcept { return !(stored_options_ & 0x20); }

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
  class OptionBytes final : public Peripheral {
   public:
    explicit OptionBytes(const FlashController& owner) : owner_(owner) {}
    Word read(Word offset, Cycle) noexcept override;
    void write(Word, Word, Word, Cycle) noexcept override {}

   private:
    const FlashController& owner_;
  };
  void write_options(Word value, Word mask) noexcept;
  bool is_protected(Word offset) const noexcept;
  void program(Word offset, Word value, Word mask) noexcept;
  void erase() noexcept;
  void busy(double seconds) noexcept;
  void take_access_control() noexcept;

  Core& core_;
  const ClockTree& clocks_;
  std::span<const Word> sector_bytes_;
  bool unit_;
  Programmer programmer_{*this};
  OptionBytes option_bytes_{*this};
  Refused refused_ = [](std::string_view) {};
  Word access_ = 0, status_ = 0, control_ = 0, options_ = 0;
  Word stored_options_ = factory_options;
  unsigned keys_ = 0, option_keys_ = 0;  // of the sequence, written so far
};

}  // namespace stillrotor::io::cortexm
