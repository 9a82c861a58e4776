#include "io/mcu/cortexm/usart.hpp"

namespace stillrotor::io::cortexm {
namespace {

enum : Word { SR = 0x00, DR = 0x04, BRR = 0x08, CR1 = 0x0c, CR2 = 0x10, CR3 = 0x14, GTPR = 0x18 };
constexpr Word overrun = 8, idle = 0x10, received_flag = 0x20, complete = 0x40, empty = 0x80;
constexpr Word enabled = 0x2000, nine_bits = 0x1000, over_8 = 0x8000, transmits = 8, receives = 4;
constexpr Word empty_interrupt = 0x80, complete_interrupt = 0x40, received_interrupt = 0x20;
constexpr Word asks_to_receive = 0x40, asks_to_transmit = 0x80;  // CR3: DMAR, DMAT
constexpr std::size_t longest_line = 240;

}  // namespace

Usart::Usart(const UsartBlock& block, Core& core, const ClockTree& clocks, Text text, Carry carry)
    : block_(block),
      core_(core),
      clocks_(clocks),
      text_(std::move(text)),
      carry_(std::move(carry)),
      event_(core.scheduler().make<&Usart::on_sent>(this)) {
  line_.reserve(longest_line + 1);
  reset(0);
}

void Usart::reset(Cycle) noexcept {
  status_ = empty | complete;
  rate_ = received_ = guard_ = 0;
  control_ = {};
  busy_ = buffered_ = false;
  line_.clear();
  core_.scheduler().at(event_, never);
  tell();
}

/// BRR counts bus cycles a bit: 16 samples by default; with OVER8 its low three bits count for
/// eight.
Cycle Usart::byte_cycles() const noexcept {
  const Word per_bit = control_[0] & over_8 ? (rate_ >> 4) * 8 + (rate_ & 7) : rate_;
  const unsigned bits = 1 + (control_[0] & nine_bits ? 9 : 8);
  // STOP: 1, 0.5, 2, 1.5 bits; in halves.
  constexpr unsigned stop_halves[] = {2, 1, 4, 3};
  const unsigned halves = 2 * bits + stop_halves[control_[1] >> 12 & 3];
  return Cycle{std::max<Word>(per_bit, 1)} * halves * clocks_.bus_divider(block_.fast) / 2;
}

void Usart::start_byte(Cycle at) noexcept {
  shifting_ = buffer_;
  buffered_ = false;
  busy_ = true;
  status_ |= empty;
  core_.scheduler().at(event_, at + byte_cycles());
}

void Usart::on_sent(Cycle at) noexcept {
  busy_ = false;
  line_.push_back(static_cast<char>(shifting_));
  if (shifting_ == '\n' || line_.size() >= longest_line) {
    text_(at, line_);
    line_.clear();
  }
  if (buffered_)
    start_byte(at);
  else
    status_ |= complete;
  serve(at);
  tell();
}

/// What is carried comes back as a read or a write of DR.
void Usart::serve(Cycle at) noexcept {
  if (serving_ || !(control_[0] & enabled)) return;
  serving_ = true;
  for (bool moved = true; moved;) {
    moved = (control_[2] & asks_to_receive) && (status_ & received_flag) && carry_(false, at);
    moved |= (control_[2] & asks_to_transmit) && (control_[0] & transmits) && (status_ & empty) &&
             carry_(true, at);
  }
  serving_ = false;
}

void Usart::receive(std::uint8_t byte) noexcept {
  if ((control_[0] & (enabled | receives)) != (enabled | receives)) return;
  if (status_ & received_flag) {
    status_ |= overrun;
  } else {
    received_ = byte;
    status_ |= received_flag;
  }
  serve(core_.now());
  tell();
}

void Usart::tell() noexcept {
  const Word c = control_[0];
  core_.exceptions().set_line(
      block_.interrupt,
      (c & enabled) && (((status_ & empty) && (c & empty_interrupt)) ||
                        ((status_ & complete) && (c & complete_interrupt)) ||
                        ((status_ & (received_flag | overrun)) && (c & received_interrupt))));
}

Word Usart::read(Word offset, Cycle) noexcept {
  switch (offset) {
    case SR:
      return status_;
    case DR:
      // SR has been read before, as the manual asks: then this clears both.
      status_ &= ~(received_flag | overrun | idle);
      tell();
      return received_;
    case BRR:
      return rate_;
    case CR1:
      return control_[0];
    case CR2:
      return control_[1];
    case CR3:
      return control_[2];
    case GTPR:
      return guard_;
    default:
      return 0;
  }
}

void Usart::write(Word offset, Word value, Word mask, Cycle at) noexcept {
  const auto merge = [&](Word& kept) { kept = ((kept & ~mask) | value) & 0xffff; };
  switch (offset) {
    case SR:
      status_ &= value | ~(mask & (complete | received_flag));
      break;
    case DR:
      if ((control_[0] & (enabled | transmits)) != (enabled | transmits)) break;
      buffer_ = static_cast<std::uint8_t>(value);
      buffered_ = true;
      status_ &= ~(empty | complete);
      if (!busy_) start_byte(at);
      break;
    case BRR:
      merge(rate_);
      break;
    case CR1:
      merge(control_[0]);
      break;
    case CR2:
      merge(control_[1]);
      break;
    case CR3:
      merge(control_[2]);
      break;
    case GTPR:
      merge(guard_);
      break;
    default:
      return;
  }
  serve(at);
  tell();
}

}  // namespace stillrotor::io::cortexm
