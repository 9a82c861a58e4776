#include "io/mcu/cortexm/serial/spi.hpp"

namespace stillrotor::io::cortexm {
namespace {

enum : Word { CR1 = 0, CR2 = 4, SR = 8, DR = 0xc, CRCPR = 0x10, I2SCFGR = 0x1c, I2SPR = 0x20 };
// CR1
constexpr Word CPHA = 1, CPOL = 2, MSTR = 4, SPE = 0x40, LSBFIRST = 0x80, SSI = 0x100, SSM = 0x200,
               RXONLY = 0x400, DFF = 0x800, CRCEN = 0x2000, BIDIOE = 0x4000, BIDIMODE = 0x8000;
// CR2
constexpr Word RXDMAEN = 1, TXDMAEN = 2, ERRIE = 0x20, RXNEIE = 0x40, TXEIE = 0x80;
// SR
constexpr Word RXNE = 1, TXE = 2, MODF = 0x20, OVR = 0x40, BSY = 0x80;

}  // namespace

Spi::Spi(const SpiBlock& block, Core& core, const ClockTree& clocks, SerialLink link)
    : block_(block),
      core_(core),
      clocks_(clocks),
      link_(std::move(link)),
      event_(core.scheduler().make<&Spi::on_edge>(this)) {
  reset(0);
}

void Spi::reset(Cycle at) noexcept {
  control_ = control_2_ = i2s_ = received_ = 0;
  status_ = TXE;
  polynomial_ = 7;
  shifting_ = data_read_ = status_read_ = false;
  core_.scheduler().at(event_, never);
  idle_pins(at);
  tell();
}

bool Spi::sends() const noexcept { return is(BIDIMODE) ? is(BIDIOE) : !is(RXONLY); }
bool Spi::receives() const noexcept { return !is(BIDIMODE) || !is(BIDIOE); }
unsigned Spi::bits() const noexcept { return is(DFF) ? 16 : 8; }

/// Disabled, the block lets go of its pins.
void Spi::idle_pins(Cycle at) noexcept {
  const bool drives = is(SPE) && is(MSTR);
  link_.drive(SerialPin::clock,
              !drives    ? Level::released
              : is(CPOL) ? Level::high
                         : Level::low,
              at);
  if (!drives || !sends()) link_.drive(SerialPin::out, Level::released, at);
}

void Spi::start_frame(Cycle at) noexcept {
  shifting_ = true;
  if (sends()) {
    shifted_out_ = buffer_;
    status_ |= TXE;
  }
  status_ |= BSY;
  shifted_in_ = 0;
  edge_ = put_ = 0;
  if (!is(CPHA)) put_bit(at);
  if (!link_.is_at_a_pin(SerialPin::clock)) link_.undone("a frame, and no pin carries its clock");
  core_.scheduler().at(event_,
                       at + (Cycle{1} << (control_ >> 3 & 7)) * clocks_.bus_divider(block_.fast));
}

void Spi::start_if_due(Cycle at) noexcept {
  if (shifting_ || (control_ & (SPE | MSTR)) != (SPE | MSTR)) return;
  if (sends() ? !(status_ & TXE) : true) start_frame(at);
}

void Spi::put_bit(Cycle at) noexcept {
  if (!sends() || put_ >= bits()) return;
  const unsigned place = is(LSBFIRST) ? put_ : bits() - 1 - put_;
  ++put_;
  link_.drive(SerialPin::out, shifted_out_ >> place & 1 ? Level::high : Level::low, at);
}

/// Leading edges are even. The first of a pair takes the input with CPHA 0, the second with 1.
void Spi::on_edge(Cycle at) noexcept {
  const bool leading = edge_ % 2 == 0;
  const bool takes = leading != is(CPHA);
  if (takes) {
    // One line: what comes in stands at the master's output.
    const bool high = link_.reads_high(is(BIDIMODE) ? SerialPin::out : SerialPin::in);
    const unsigned place = is(LSBFIRST) ? edge_ / 2 : bits() - 1 - edge_ / 2;
    shifted_in_ |= Word{high} << place;
  }
  link_.drive(SerialPin::clock, leading != is(CPOL) ? Level::high : Level::low, at);
  if (!takes) put_bit(at);
  if (++edge_ < 2 * bits()) {
    core_.scheduler().at(event_,
                         at + (Cycle{1} << (control_ >> 3 & 7)) * clocks_.bus_divider(block_.fast));
    return;
  }
  end_frame(at);
}

void Spi::end_frame(Cycle at) noexcept {
  shifting_ = false;
  if (receives()) {
    if (status_ & RXNE) {
      status_ |= OVR;  // what has come last is lost
      data_read_ = false;
    } else {
      received_ = shifted_in_;
      status_ |= RXNE;
    }
  }
  start_if_due(at);
  if (!shifting_) status_ &= ~BSY;
  serve(at);
  tell();
}

void Spi::tell() noexcept {
  const bool high = ((control_2_ & TXEIE) && (status_ & TXE)) ||
                    ((control_2_ & RXNEIE) && (status_ & RXNE)) ||
                    ((control_2_ & ERRIE) && (status_ & (OVR | MODF)));
  link_.interrupt(block_.interrupt, high);
}

/// What is carried comes back as a read or a write of DR, and that asks again.
void Spi::serve(Cycle at) noexcept {
  if (serving_) return;
  serving_ = true;
  for (bool moved = true; moved;) {
    moved = (control_2_ & RXDMAEN) && (status_ & RXNE) && link_.carry(false, at);
    moved |= (control_2_ & TXDMAEN) && (status_ & TXE) && link_.carry(true, at).has_value();
  }
  serving_ = false;
}

Word Spi::read(Word offset, Cycle at) noexcept {
  switch (offset) {
    case CR1:
      return control_;
    case CR2:
      return control_2_;
    case SR: {
      const Word seen = status_;
      if (data_read_) status_ &= ~OVR;  // DR, then SR
      status_read_ = true;
      tell();
      return seen;
    }
    case DR: {
      const Word seen = received_;
      status_ &= ~RXNE;
      data_read_ = true;
      serve(at);
      tell();
      return seen;
    }
    case CRCPR:
      return polynomial_;
    case I2SCFGR:
      return i2s_;
    case I2SPR:
      return 2;
    default:
      return 0;
  }
}

void Spi::write_control(Word value, Cycle at) noexcept {
  if (status_read_) status_ &= ~MODF;  // SR, then CR1
  const Word before = control_;
  control_ = value & 0xffff;
  // 28.3.10: a master whose select input is low is none.
  if (is(MSTR) && is(SSM) && !is(SSI)) {
    control_ &= ~(MSTR | SPE);
    status_ |= MODF;
    status_read_ = false;
  }
  if (is(SPE) && !is(MSTR) && !(status_ & MODF)) link_.undone("slave mode");
  if (is(SPE) && is(CRCEN)) link_.undone("CRC behind its frames");
  if (!is(SPE) && (before & SPE) && shifting_) {
    // Cut off in its middle: what was received is lost.
    shifting_ = false;
    status_ &= ~BSY;
    core_.scheduler().at(event_, never);
  }
  if (!shifting_) idle_pins(at);
  start_if_due(at);
}

void Spi::write(Word offset, Word value, Word mask, Cycle at) noexcept {
  const auto merged = [&](Word kept) { return (kept & ~mask) | value; };
  switch (offset) {
    case CR1:
      write_control(merged(control_), at);
      break;
    case CR2:
      control_2_ = merged(control_2_) & 0xf7;
      break;
    case DR:
      buffer_ = value & (is(DFF) ? 0xffff : 0xff);
      status_ &= ~TXE;
      start_if_due(at);
      break;
    case CRCPR:
      polynomial_ = merged(polynomial_) & 0xffff;
      break;
    case I2SCFGR:
      i2s_ = merged(i2s_) & 0xfbf;
      if (i2s_ & 0x800) link_.undone("I2S");
      break;
    default:
      return;
  }
  serve(at);
  tell();
}

}  // namespace stillrotor::io::cortexm
