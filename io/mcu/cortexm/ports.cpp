#include "io/mcu/cortexm/ports.hpp"

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
enum Mode : Word { input, output, alternate, analog };

}  // namespace

Port::Port(const PortBlock& block, std::uint8_t index) : block_(block), index_(index) {
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
  tell_configured(0, pins - 1, at);
  settle_all(at);
}

void Port::tell_configured(unsigned first, unsigned last, Cycle at) noexcept {
  for (unsigned pin = first; pin <= last; ++pin)
    for (PinFollower* f : followers_) f->configured({index_, static_cast<std::uint8_t>(pin)}, at);
}

Level Port::driver(unsigned pin) const noexcept {
  const Word mode = mode_ >> (2 * pin) & 3;
  Level level = Level::released;
  if (mode == output) level = output_ >> pin & 1 ? Level::high : Level::low;
  if (mode == alternate) level = by_peripheral_[pin];
  const bool open_drain = type_ >> pin & 1;
  return open_drain && level == Level::high ? Level::released : level;
}

/// What that pin drives and reads, after any change; followers are told of what is different.
void Port::settle(unsigned pin, Cycle at) noexcept {
  const PinId id{index_, static_cast<std::uint8_t>(pin)};
  const Level level = driver(pin);
  if (level != driven_[pin]) {
    driven_[pin] = level;
    for (PinFollower* f : driven_to_) f->driven(id, level, at);
  }
  // The chip's own driver against the outside: the stronger is not known; its own is read.
  const Level wire = level != Level::released ? level : outside_[pin];
  const bool pulled_up = (pull_ >> (2 * pin) & 3) == 1;
  const bool is_analog = (mode_ >> (2 * pin) & 3) == analog;
  const bool high = !is_analog && (wire == Level::released ? pulled_up : wire == Level::high);
  if (high == (seen_ >> pin & 1)) return;
  seen_ ^= Word{1} << pin;
  for (const Onlooker& o : seen_by_)
    if (*o.pins >> pin & 1) o.who->seen(id, high, at);
}
void Port::settle_all(Cycle at) noexcept {
  for (unsigned pin = 0; pin < pins; ++pin) settle(pin, at);
}

void Port::set_input(unsigned pin, Level level, Cycle at) noexcept {
  outside_[pin] = level;
  settle(pin, at);
}
void Port::set_alternate(unsigned pin, Level level, Cycle at) noexcept {
  if (by_peripheral_[pin] == level) return;
  by_peripheral_[pin] = level;
  settle(pin, at);
}

Word Port::read(Word offset, Cycle) noexcept {
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
  switch (offset) {
    case MODER: {
      const Word before = mode_;
      merge(mode_, ~Word{0});
      for (unsigned pin = 0; pin < pins; ++pin)
        if ((before ^ mode_) >> (2 * pin) & 3) tell_configured(pin, pin, at);
      break;
    }
    case OTYPER:
      merge(type_, 0xffff);
      break;
    case OSPEEDR:
      merge(speed_, ~Word{0});
      break;
    case PUPDR:
      merge(pull_, ~Word{0});
      break;
    case ODR:
      merge(output_, 0xffff);
      break;
    case BSRR:
      output_ = (output_ & ~(value >> 16)) | (value & 0xffff);
      break;  // set wins
    case LCKR:
      merge(lock_, 0x1ffff);
      break;
    case AFRL:
    case AFRH: {
      const unsigned half = offset == AFRH;
      const Word before = alternate_[half];
      merge(alternate_[half], ~Word{0});
      for (unsigned pin = 0; pin < pins / 2; ++pin)
        if ((before ^ alternate_[half]) >> (4 * pin) & 0xf)
          tell_configured(8 * half + pin, 8 * half + pin, at);
      break;
    }
    default:
      return;
  }
  settle_all(at);
}

}  // namespace stillrotor::io::cortexm
