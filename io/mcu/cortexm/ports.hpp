// GPIO ports: what each pin's driver does, and what the pin reads.
//
// Modes  input, output (push-pull, open drain), alternate function, analog; pull-up, pull-down.
//        A write to ODR or BSRR changes the pin at that cycle. An input is read as it stands (the
//        part samples it a bus cycle earlier or so); analog pins read 0.
// Source RM0090, 8.
// Not    LCKR, speed.
// RT     safe after construction.
#pragma once

#include <array>

#include "io/connector.hpp"
#include "io/mcu/cortexm/parts/part.hpp"

namespace stillrotor::io::cortexm {

struct PinId {
  std::uint8_t port;  // 0: A
  std::uint8_t number;
  bool operator==(const PinId&) const = default;
};

/// Told of what a pin drives (released: nothing), and of the level that its input sees.
class PinFollower {
 public:
  virtual ~PinFollower() = default;
  virtual void driven(PinId, Level, Cycle) noexcept {}
  virtual void seen(PinId, bool /*high*/, Cycle) noexcept {}
  /// Its mode or alternate function may have changed: whoever drives it says so anew.
  virtual void configured(PinId, Cycle) noexcept {}
};

class Port final : public Peripheral {
 public:
  Port(const PortBlock&, std::uint8_t index);
  void follow(PinFollower& follower) { followers_.push_back(&follower); }

  Word read(Word offset, Cycle at) noexcept override;
  void write(Word offset, Word value, Word mask, Cycle at) noexcept override;
  void reset(Cycle at) noexcept override;

  /// From outside; released: the pull decides.
  void set_input(unsigned pin, Level, Cycle at) noexcept;
  /// By a peripheral, for pins in alternate function; released: it drives nothing.
  void set_alternate(unsigned pin, Level, Cycle at) noexcept;
  unsigned alternate_function(unsigned pin) const noexcept {
    return alternate_[pin / 8] >> (4 * (pin % 8)) & 0xf;
  }
  bool is_alternate(unsigned pin) const noexcept { return (mode_ >> (2 * pin) & 3) == 2; }
  Level driven(unsigned pin) const noexcept { return driven_[pin]; }
  /// What set_input() has said.
  Level outside(unsigned pin) const noexcept { return outside_[pin]; }
  bool reads_high(unsigned pin) const noexcept { return seen_ >> pin & 1; }

 private:
  Level driver(unsigned pin) const noexcept;
  static constexpr Word every_pin = 0xffff;
  void settle(Word changed, Cycle at) noexcept;
  void tell_configured(unsigned first, unsigned last, Cycle at) noexcept;

  const PortBlock& block_;
  std::uint8_t index_;
  std::vector<PinFollower*> followers_;
  Word mode_ = 0, type_ = 0, speed_ = 0, pull_ = 0, output_ = 0, lock_ = 0, seen_ = 0;
  std::array<Word, 2> alternate_{};
  std::array<Level, 16> outside_{}, by_peripheral_{}, driven_{};
};

}  // namespace stillrotor::io::cortexm
