#include "io/mcu/cortexm/serial/i2c.hpp"

namespace stillrotor::io::cortexm {
namespace {

enum : Word {
  CR1 = 0,
  CR2 = 4,
  OAR1 = 8,
  OAR2 = 0xc,
  DR = 0x10,
  SR1 = 0x14,
  SR2 = 0x18,
  CCR = 0x1c,
  TRISE = 0x20
};
// CR1
constexpr Word PE = 1, SMBUS = 2, ENPEC = 0x20, START = 0x100, STOP = 0x200, ACK = 0x400,
               POS = 0x800, SWRST = 0x8000;
// CR2
constexpr Word ITERREN = 0x100, ITEVTEN = 0x200, ITBUFEN = 0x400, DMAEN = 0x800, LAST = 0x1000;
// SR1
constexpr Word SB = 1, ADDR = 2, BTF = 4, STOPF = 0x10, RXNE = 0x40, TXE = 0x80, AF = 0x400,
               errors = 0xdf00;
// SR2
constexpr Word MSL = 1, BUSY = 2, TRA = 4;
constexpr Word fast_mode = 0x8000, duty_16_9 = 0x4000;

}  // namespace

I2c::I2c(const I2cBlock& block, Core& core, const ClockTree& clocks, SerialLink link)
    : block_(block),
      core_(core),
      clocks_(clocks),
      link_(std::move(link)),
      event_(core.scheduler().make<&I2c::on_step>(this)) {
  reset(0);
}

void I2c::reset(Cycle at) noexcept {
  control_ = control_2_ = ccr_ = data_ = 0;
  own_ = {};
  rise_ = 2;
  let_go(at);
}

/// Disabled: whatever went on has ended, and both lines are free.
void I2c::let_go(Cycle at) noexcept {
  status_ = 0;
  control_ &= ~(START | STOP);
  doing_ = Doing::idle;
  master_ = transmits_ = addressing_ = data_waits_ = last_by_dma_ = status_read_ = false;
  core_.scheduler().at(event_, never);
  line(SerialPin::clock, true, at);
  line(SerialPin::data, true, at);
  tell();
}

Cycle I2c::low_cycles() const noexcept {
  const Word count = std::max<Word>(ccr_ & 0xfff, 1);
  const Word times = !(ccr_ & fast_mode) ? 1 : ccr_ & duty_16_9 ? 16 : 2;
  return Cycle{count} * times * clocks_.bus_divider(false);
}
Cycle I2c::high_cycles() const noexcept {
  const Word count = std::max<Word>(ccr_ & 0xfff, 1);
  const Word times = (ccr_ & fast_mode) && (ccr_ & duty_16_9) ? 9 : 1;
  return Cycle{count} * times * clocks_.bus_divider(false);
}

void I2c::line(SerialPin signal, bool high, Cycle at) noexcept {
  link_.drive(signal, high ? Level::high : Level::low, at);
}

void I2c::plan(Doing what, Cycle after, Cycle at) noexcept {
  if (what != doing_) phase_ = 0;
  doing_ = what;
  core_.scheduler().at(event_, at + after);
}

void I2c::on_step(Cycle at) noexcept {
  switch (doing_) {
    case Doing::starting:
      step_start(at);
      break;
    case Doing::sending:
    case Doing::receiving:
      step_bit(at);
      break;
    case Doing::stopping:
      step_stop(at);
      break;
    default:
      break;
  }
  serve(at);
  tell();
}

/// Clock high, data falls, clock falls. Again, where it was held low.
void I2c::step_start(Cycle at) noexcept {
  switch (phase_) {
    case 0:
      line(SerialPin::clock, true, at);
      break;
    case 1:
      if (link_.is_pulled_down(SerialPin::data) || link_.is_pulled_down(SerialPin::clock)) {
        plan(Doing::starting, low_cycles(), at);
        return;
      }
      line(SerialPin::data, false, at);
      break;
    default:
      line(SerialPin::clock, false, at);
      control_ &= ~START;
      if (!(status_ & RXNE)) status_ &= ~BTF;  // else a byte still waits behind DR
      status_ |= SB;
      status_read_ = false;
      master_ = true;
      transmits_ = data_waits_ = false;
      doing_ = Doing::held;
      return;
  }
  ++phase_;
  plan(Doing::starting, high_cycles(), at);
}

void I2c::step_stop(Cycle at) noexcept {
  if (phase_++ == 0) {
    line(SerialPin::clock, true, at);
    plan(Doing::stopping, high_cycles(), at);
    return;
  }
  line(SerialPin::data, true, at);
  control_ &= ~STOP;
  status_ &= status_ & RXNE ? ~TXE : ~(TXE | BTF);  // a byte may still wait behind DR
  master_ = transmits_ = false;
  doing_ = Doing::idle;
  if (is(START)) plan(Doing::starting, low_cycles(), at);
}

void I2c::begin_byte(Doing what, Word byte, Cycle at) noexcept {
  shift_ = what == Doing::sending ? byte : 0;
  bit_ = 0;
  acknowledges_ = is(ACK);
  status_ &= ~BTF;
  doing_ = what;
  phase_ = 0;
  put_bit(at);
  plan(what, low_cycles(), at);
}

void I2c::put_bit(Cycle at) noexcept {
  bool high = true;
  if (doing_ == Doing::sending && bit_ < 8) high = shift_ >> (7 - bit_) & 1;
  if (doing_ == Doing::receiving && bit_ == 8) {
    if (!is(POS)) acknowledges_ = is(ACK);
    if (last_by_dma_) acknowledges_ = false;
    high = !acknowledges_;
  }
  line(SerialPin::data, high, at);
}

void I2c::step_bit(Cycle at) noexcept {
  if (phase_ == 0) {
    line(SerialPin::clock, true, at);
    phase_ = 1;
    plan(doing_, high_cycles(), at);
    return;
  }
  if (link_.is_pulled_down(SerialPin::clock)) {  // stretched by somebody
    plan(doing_, high_cycles(), at);
    return;
  }
  const bool high = !link_.is_pulled_down(SerialPin::data);
  line(SerialPin::clock, false, at);
  phase_ = 0;
  if (doing_ == Doing::receiving && bit_ < 8) shift_ = shift_ << 1 | Word{high};
  if (++bit_ < 9) {
    put_bit(at);
    plan(doing_, low_cycles(), at);
    return;
  }
  const bool sent = doing_ == Doing::sending;
  doing_ = Doing::held;
  line(SerialPin::data, true, at);
  sent ? byte_sent(!high, at) : byte_received(at);
}

/// What the firmware has asked for while the clock was held, or a byte was under way.
void I2c::go_on(Cycle at) noexcept {
  if (doing_ != Doing::held) return;
  if (is(STOP)) {
    line(SerialPin::data, false, at);
    plan(Doing::stopping, low_cycles(), at);
  } else if (is(START)) {
    line(SerialPin::data, true, at);
    plan(Doing::starting, low_cycles(), at);
  } else if (status_ & (SB | ADDR | AF)) {
    return;
  } else if (transmits_ && data_waits_) {
    data_waits_ = false;
    status_ |= TXE;
    begin_byte(Doing::sending, data_, at);
  } else if (!transmits_ && may_receive_ && !(status_ & BTF)) {
    begin_byte(Doing::receiving, 0, at);
  }
}

void I2c::byte_sent(bool acknowledged, Cycle at) noexcept {
  if (!acknowledged) {
    status_ |= AF;
    addressing_ = false;
  } else if (addressing_) {
    addressing_ = false;
    transmits_ = !address_reads_;
    status_ |= ADDR;
    status_read_ = false;
    return;  // held until ADDR is cleared, whatever else is asked for
  } else if (!data_waits_) {
    status_ |= BTF;
  }
  go_on(at);
}

void I2c::byte_received(Cycle at) noexcept {
  may_receive_ = acknowledges_;
  last_by_dma_ = false;
  if (status_ & RXNE) {
    status_ |= BTF;  // this one waits in the shift register
  } else {
    data_ = shift_;
    status_ |= RXNE;
    serve(at);  // before the next one decides about its acknowledge
  }
  go_on(at);
}

/// EV6: SR1 and SR2 have been read.
void I2c::address_cleared(Cycle at) noexcept {
  status_ &= ~ADDR;
  may_receive_ = true;
  if (transmits_ && !data_waits_) status_ |= TXE;
  go_on(at);
}

void I2c::take_data(Word value, Cycle at) noexcept {
  if (!is(PE) || !master_) return;
  if (status_ & SB) {
    if (!status_read_) return;
    status_ &= ~SB;
    addressing_ = true;
    address_reads_ = value & 1;
    if ((value & 0xf8) == 0xf0) link_.undone("an address of ten bits");
    begin_byte(Doing::sending, value & 0xff, at);
    return;
  }
  data_ = value & 0xff;
  data_waits_ = true;
  status_ &= ~(TXE | BTF);
  if (transmits_) go_on(at);
}

Word I2c::give_data(Cycle at) noexcept {
  const Word seen = data_;
  status_ &= ~RXNE;
  if (!transmits_ && (status_ & BTF)) {
    status_ &= ~BTF;
    data_ = shift_;
    status_ |= RXNE;
    go_on(at);
  }
  return seen;
}

Word I2c::bus_state() const noexcept {
  const bool busy = doing_ != Doing::idle || link_.is_pulled_down(SerialPin::clock) ||
                    link_.is_pulled_down(SerialPin::data);
  return (master_ ? MSL : 0) | (busy ? BUSY : 0) | (transmits_ ? TRA : 0);
}

void I2c::tell() noexcept {
  const Word events = SB | ADDR | BTF | STOPF | (control_2_ & ITBUFEN ? RXNE | TXE : 0);
  link_.interrupt(block_.event_interrupt, (control_2_ & ITEVTEN) && (status_ & events));
  link_.interrupt(block_.error_interrupt, (control_2_ & ITERREN) && (status_ & errors));
}

/// What is carried comes back as a read or a write of DR, and that asks again.
void I2c::serve(Cycle at) noexcept {
  if (serving_ || !(control_2_ & DMAEN)) return;
  serving_ = true;
  for (bool moved = true; moved;) {
    moved = false;
    if (status_ & RXNE) {
      const std::optional<Word> left = link_.carry(false, at);
      moved = left.has_value();
      if (left == Word{1} && (control_2_ & LAST)) last_by_dma_ = true;
    }
    if (transmits_ && (status_ & TXE)) moved |= link_.carry(true, at).has_value();
  }
  serving_ = false;
}

Word I2c::read(Word offset, Cycle at) noexcept {
  Word seen = 0;
  switch (offset) {
    case CR1:
      return control_;
    case CR2:
      return control_2_;
    case OAR1:
    case OAR2:
      return own_[offset == OAR2];
    case DR:
      seen = give_data(at);
      break;
    case SR1:
      status_read_ = true;
      return status_;
    case SR2:
      seen = bus_state();
      if ((status_ & ADDR) && status_read_) address_cleared(at);
      break;
    case CCR:
      return ccr_;
    case TRISE:
      return rise_;
    default:
      return 0;
  }
  serve(at);
  tell();
  return seen;
}

void I2c::write_control(Word value, Cycle at) noexcept {
  if (value & SWRST) {
    reset(at);
    control_ = SWRST;
    return;
  }
  control_ = value & 0xbffb;
  if (control_ & (SMBUS | ENPEC)) link_.undone("SMBus");
  if (!is(PE)) {
    let_go(at);
    return;
  }
  if (!master_) control_ &= ~STOP;
  if (doing_ == Doing::idle && is(START)) {
    if (!link_.is_at_a_pin(SerialPin::clock)) link_.undone("a start, and no pin carries its clock");
    plan(Doing::starting, low_cycles(), at);
  } else if (control_ & (START | STOP)) {
    // A byte that is under way comes to its end first.
    go_on(at);
  }
}

void I2c::write(Word offset, Word value, Word mask, Cycle at) noexcept {
  const auto merged = [&](Word kept) { return (kept & ~mask) | value; };
  switch (offset) {
    case CR1:
      write_control(merged(control_), at);
      break;
    case CR2:
      control_2_ = merged(control_2_) & 0x1f3f;
      break;
    case OAR1:
    case OAR2:
      own_[offset == OAR2] = merged(own_[offset == OAR2]) & 0xc3ff;
      break;
    case DR:
      take_data(value, at);
      break;
    case SR1:
      status_ &= value | ~(mask & errors);  // errors are cleared by zeros
      break;
    case CCR:
      if (!is(PE)) ccr_ = merged(ccr_) & 0xcfff;
      break;
    case TRISE:
      if (!is(PE)) rise_ = merged(rise_) & 0x3f;
      break;
    default:
      return;
  }
  serve(at);
  tell();
}

}  // namespace stillrotor::io::cortexm
