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
#include "io/mcu/cortexm/late_edges.hpp"
#include "io/mcu/cortexm/parts/part.hpp"

namespace stillrotor::io::cortexm {

struct PinId {
  std::uint8_t port;  // 0: A
  std::uint8_t number;
  bool operator==(const PinId&) const = default;
};

class PinFollower {
 public:
  virtual ~PinFollower() = default;
  /// What the pin drives has changed; released: nothing.
  virtual void driven(PinId, Level, Cycle) noexcept {}
  /// The level that its input sees has changed.
  virtual void seen(PinId, bool /*high*/, Cycle) noexcept {}
  /// Its mode or alternate function may have changed: whoever drives it says so anew.
  virtual void configured(PinId, Cycle) noexcept {}
};
/// Which pins of a port, a bit each: kept by the follower, who changes them as it likes.
using Pins = Word;

class Port final : public Peripheral {
 public:
  /// driven_to: told of what its pins drive.
  Port(const PortBlock&, std::uint8_t index, PinFollower& driven_to, LateEdges&);
  /// Told in the order of these calls.
  void follow(PinFollower& follower) { followers_.push_back(&follower); }
  /// Two at most.
  void follow_seen(PinFollower& follower, const Pins& pins) {
    seen_by_[seen_by_[0].who != nullptr] = {&follower, &pins};
  }

  Word read(Word offset, Cycle at) noexcept override;
  void write(Word offset, Word value, Word mask, Cycle at) noexcept override;
  void reset(Cycle at) noexcept override;

  /// Edges of these may be on their way (late_edges.hpp).
  void hear_late(Pins late) noexcept { late_ = late; }
  /// From outside; released: the pull decides.
  void set_input(unsigned pin, Level, Cycle at) noexcept;
  /// By a peripheral, for pins in alternate function; released: it drives nothing.
  void set_alternate(unsigned pin, Level level, Cycle at) noexcept {
    if (by_peripheral_[pin] == level) return;
    by_peripheral_[pin] = level;
    const Pins bit = Pins{1} << pin;
    if (level == Level::released || !(alternates_ & ~type_ & ~heard() & bit)) {
      settle(pin, at);
      return;
    }
    // Push-pull, and nobody within the chip hears of it.
    driven_[pin] = level;
    seen_ = (seen_ & ~bit) | Pins{level == Level::high} << pin;
    driven_to_.driven({index_, static_cast<std::uint8_t>(pin)}, level, at);
  }
  unsigned alternate_function(unsigned pin) const noexcept {
    return alternate_[pin / 8] >> (4 * (pin % 8)) & 0xf;
  }
  bool is_alternate(unsigned pin) const noexcept { return alternates_ >> pin & 1; }
  bool has_function(unsigned pin, unsigned function) const noexcept {
    return is_alternate(pin) && alternate_function(pin) == function;
  }
  Level driven(unsigned pin) const noexcept { return driven_[pin]; }
  /// What set_input() has said.
  Level outside(unsigned pin) const noexcept { return outside_[pin]; }
  bool reads_high(unsigned pin) const noexcept { return seen_ >> pin & 1; }

 private:
  Pins heard() const noexcept { return *seen_by_[0].pins | *seen_by_[1].pins; }
  Level driver(unsigned pin) const noexcept;
  void settle(unsigned pin, Cycle at) noexcept;
  void settle_those(Pins, Cycle at) noexcept;
  void sort_pins() noexcept;
  void tell_configured(Pins, Cycle at) noexcept;

  const PortBlock& block_;
  std::uint8_t index_;
  PinFollower& driven_to_;
  LateEdges& late_edges_;
  Pins late_ = 0;
  static constexpr Pins none = 0;
  struct Onlooker {
    PinFollower* who = nullptr;
    const Pins* pins = &none;
  };
  std::vector<PinFollower*> followers_;
  std::array<Onlooker, 2> seen_by_;
  Word mode_ = 0, type_ = 0, speed_ = 0, pull_ = 0, output_ = 0, lock_ = 0, seen_ = 0;
  std::array<Word, 2> alternate_{};
  Pins outputs_ = 0, alternates_ = 0, analogs_ = 0, pulled_up_ = 0;  // by mode_ and pull_
  std::array<Level, 16> outside_{}, by_peripheral_{}, driven_{};
};

}  // namespace stillrotor::io::cortexm
