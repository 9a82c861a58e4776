#include "io/mcu/usart.hpp"

namespace stillrotor::io::mcu {
namespace {
constexpr std::size_t longest_line = 240;
}

Usart::Usart(Core& core, Interrupts& interrupts, Outside& outside, const Ports& ports)
    : core_(core),
      interrupts_(interrupts),
      outside_(outside),
      ports_(ports),
      empty_(interrupts.vector(vect::USART_UDRE)),
      complete_(interrupts.vector(vect::USART_TX)) {
  line_.reserve(longest_line + 1);
  core.on_write<&Usart::write_status>(reg::UCSR0A, this);
  core.on_write<&Usart::write_control>(reg::UCSR0B, this);
  core.on_write<&Usart::write_data>(reg::UDR0, this);
  core.on_read<&Usart::read_data>(reg::UDR0, this);
  core.avr()->io[reg::UCSR0A - 32].r = {nullptr, nullptr};
  core.avr()->io[reg::UBRR0L - 32].w = {nullptr, nullptr};  // read when a byte starts
  avr_irq_register_notify(empty_->irq + AVR_INT_IRQ_RUNNING, &Usart::on_handler, this);
}

void Usart::reset() noexcept {
  busy_ = buffered_ = false;
  line_.clear();
  core_.reg(reg::UCSR0A) = bits::UDRE;
  core_.reg(reg::UCSR0B) = 0;
  core_.reg(reg::UCSR0C) = 0x06;  // 8 data bits, no parity, 1 stop bit
}

// "Data register empty" is a level: it interrupts again as long as it holds.
void Usart::on_handler(avr_irq_t*, std::uint32_t running, void* self) {
  auto* usart = static_cast<Usart*>(self);
  if (running == 0) usart->interrupts_.raise_if_due(usart->empty_);
}

void Usart::write_status(const Write& write) noexcept {
  if (write.ones() & bits::TXC) interrupts_.clear(complete_);
  constexpr std::uint8_t settable = bits::U2X | 0x01;
  core_.reg(reg::UCSR0A) =
      static_cast<std::uint8_t>((core_.reg(reg::UCSR0A) & ~settable) | (write.value & settable));
}

void Usart::write_control(const Write& write) noexcept {
  core_.reg(reg::UCSR0B) = write.value;
  constexpr Pin receive{2, 0}, transmit{2, 1};
  if (((write.value & bits::TXEN) && ports_.is_output(transmit)) ||
      ((write.value & bits::RXEN) && ports_.is_output(receive)))
    core_.fail("The firmware gives a gate's pin (PD0 or PD1) to the USART, " + core_.where() + ".");
  interrupts_.raise_if_due(empty_);
  interrupts_.raise_if_due(complete_);
}

Cycle Usart::cycles_per_byte() const noexcept {
  const unsigned c = core_.reg(reg::UCSR0C);
  const bool nine = core_.reg(reg::UCSR0B) & 0x04;
  const unsigned data = nine ? 9 : 5 + (c >> 1 & 3);
  const unsigned frame = 1 + data + (c & 0x20 ? 1 : 0) + (c & 0x08 ? 2 : 1);
  const unsigned rate = core_.reg(reg::UBRR0L) | (core_.reg(reg::UBRR0H) & 0x0fu) << 8;
  return Cycle{frame} * (rate + 1) * (core_.reg(reg::UCSR0A) & bits::U2X ? 8 : 16);
}

void Usart::write_data(const Write& write) noexcept {
  if (!(core_.reg(reg::UCSR0B) & bits::TXEN) || buffered_) return;  // the part ignores it
  if (!busy_) {
    shift(write.value, write.at);
    return;
  }
  buffer_ = write.value;
  buffered_ = true;
  interrupts_.clear(empty_);
}

void Usart::shift(std::uint8_t byte, Cycle at) noexcept {
  shifting_ = byte;
  busy_ = true;
  core_.schedule<&Usart::on_sent>(at + cycles_per_byte(), this);
}

void Usart::on_sent(Cycle at) noexcept {
  if (shifting_ == '\n' || line_.size() >= longest_line) {
    flush(at);
  }
  if (shifting_ != '\n' && shifting_ != '\r') line_.push_back(static_cast<char>(shifting_));
  busy_ = false;
  if (!buffered_) {
    interrupts_.raise(complete_);
    return;
  }
  buffered_ = false;
  shift(buffer_, at);
  interrupts_.raise(empty_);
}

void Usart::flush(Cycle at) noexcept {
  if (!line_.empty()) outside_.text(line_, at);
  line_.clear();
}

}  // namespace stillrotor::io::mcu
