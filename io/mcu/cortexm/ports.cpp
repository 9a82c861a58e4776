#include "io/mcu/cortexm/ports.hpp"

#include <bit>

namespace stillrotor::io::cortexm {
namespace {

enum : Word {
  MODER = 0x00,
  OTYPER = 0x04,
  OSPEEDR = 0x08,
  PUPDR = 0x0c,
  IDR = 0x10,
  ODR = 0x14,
  BSRR = 0x18,
  LCKR = 0x1c,
  AFRL = 0x20,
  AFRH = 0x24
};
constexpr unsigned pins = 16;
constexpr Pins all = (Pins{1} << pins) - 1;
enum Mode : Word { input, output, alternate, analog };

template <class Visit>
void for_each(Pins which, Visit visit) noexcept {
  for (; which != 0; which &= which - 1) visit(static_cast<unsigned>(std::countr_zero(which)));
}

/// Of registers with so many bits a pin, the pins for which they differ.
template <unsigned bits>
Pins different(Word one, Word other) noexcept {
  Pins which = 0;
  for (unsigned pin = 0; pin < 32 / bits; ++pin)
    which |= Pins{((one ^ other) >> (bits * pin) & ((1u << bits) - 1)) != 0} << pin;
  return which;
}

}  // namespace

Port::Port(const PortBlock& block, std::uint8_t index, PinFollower& driven_to,
           LateEdges& late_edges)
    : block_(block), index_(index), driven_to_(driven_to), late_edges_(late_edges) {
  outside_.fill(Level::released);
  by_peripheral_.fill(Level::released);
  driven_.fill(Level::released);
  reset(0);
}

void Port::reset(Cycle at) noexcept {
  mode_ = block_.mode;
  pull_ = block_.pull;
  speed_ = block_.speed;
  type_ = output_ = lock_ = 0;
  alternate_ = {};
  by_peripheral_.fill(Level::released);
  sort_pins();
  tell_configured(all, at);
  settle_those(all, at);
}

void Port::tell_configured(Pins which, Cycle at) noexcept {
  for_each(which, [&](unsigned pin) {
    for (PinFollower* f : followers_) f->configured({index_, static_cast<std::uint8_t>(pin)}, at);
  });
}

/// After a change of mode or pull.
void Port::sort_pins() noexcept {
  const auto where = [](Word two_bits_each, Word are) {
    Pins which = 0;
    for (unsigned pin = 0; pin < pins; ++pin)
      which |= Pins{(two_bits_each >> (2 * pin) & 3) == are} << pin;
    return which;
  };
  outputs_ = where(mode_, output);
  alternates_ = where(mode_, alternate);
  analogs_ = where(mode_, analog);
  pulled_up_ = where(pull_, 1);
}

Level Port::driver(unsigned pin) const noexcept {
  const Pins bit = Pins{1} << pin;
  Level level = Level::released;
  if (alternates_ & bit)
    level = by_peripheral_[pin];
  else if (outputs_ & bit)
    level = output_ & bit ? Level::high : Level::low;
  return (type_ & bit) && level == Level::high ? Level::released : level;  // open drain
}

/// What that pin drives and reads, after any change; followers are told of what is different.
void Port::settle(unsigned pin, Cycle at) noexcept {
  const PinId id{index_, static_cast<std::uint8_t>(pin)};
  const Pins bit = Pins{1} << pin;
  const Level level = driver(pin);
  if (level != driven_[pin]) {
    driven_[pin] = level;
    driven_to_.driven(id, level, at);
  }
  // The chip's own driver against the outside: the stronger is not known; its own is read.
  const Level wire = level != Level::released ? level : outside_[pin];
  const Pins high = wire == Level::released ? pulled_up_ : Pins{wire == Level::high} << pin;
  if (!(((high & ~analogs_) ^ seen_) & bit)) return;
  seen_ ^= bit;
  const bool rises = seen_ & bit;
  for (const Onlooker& o : seen_by_)
    if (*o.pins & bit) o.who->seen(id, rises, at);
}
void Port::settle_those(Pins which, Cycle at) noexcept {
  for_each(which, [&](unsigned pin) { settle(pin, at); });
}

void Port::set_input(unsigned pin, Level level, Cycle at) noexcept {
  outside_[pin] = level;
  settle(pin, at);
}

Word Port::read(Word offset, Cycle at) noexcept {
  if (late_ != 0 && offset == IDR) late_edges_.catch_up(at);
  switch (offset) {
    case MODER:
      return mode_;
    case OTYPER:
      return type_;
    case OSPEEDR:
      return speed_;
    case PUPDR:
      return pull_;
    case IDR:
      return seen_;
    case ODR:
      return output_;
    case LCKR:
      return lock_;
    case AFRL:
      return alternate_[0];
    case AFRH:
      return alternate_[1];
    default:
      return 0;
  }
}

void Port::write(Word offset, Word value, Word mask, Cycle at) noexcept {
  const auto merge = [&](Word& kept, Word settable) { kept = ((kept & ~mask) | value) & settable; };
  Pins moved = 0;
  if (offset == MODER || offset == PUPDR || offset == AFRL || offset == AFRH)
    late_edges_.listeners_change(at);
  switch (offset) {
    case MODER: {
      const Word before = mode_;
      merge(mode_, ~Word{0});
      sort_pins();
      moved = different<2>(before, mode_);
      tell_configured(moved, at);
      break;
    }
    case OTYPER: {
      const Word before = type_;
      merge(type_, all);
      moved = before ^ type_;
      break;
    }
    case OSPEEDR:
      merge(speed_, ~Word{0});
      break;
    case PUPDR: {
      const Word before = pull_;
      merge(pull_, ~Word{0});
      sort_pins();
      moved = different<2>(before, pull_);
      break;
    }
    case ODR:
    case BSRR: {
      const Word before = output_;
      if (offset == ODR)
        merge(output_, all);
      else
        output_ = (output_ & ~(value >> 16)) | (value & all);  // set wins
      moved = before ^ output_;
      break;
    }
    case LCKR:
      merge(lock_, 0x1ffff);
      break;
    case AFRL:
    case AFRH: {
      const unsigned half = offset == AFRH;
      const Word before = alternate_[half];
      merge(alternate_[half], ~Word{0});
      tell_configured(different<4>(before, alternate_[half]) << (8 * half), at);
      break;
    }
    default:
      return;
  }
  settle_those(moved, at);
}

}  // namespace stillrotor::io::cortexm
