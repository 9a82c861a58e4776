#include "io/mcu/usart.hpp"

namespace stillrotor::io::mcu {
namespace {
constexpr std::size_t longest_line = 240;
}

Usart::Usart(const UsartLayout& layout, Core& core, Interrupts& interrupts, Outside& outside,
             const Ports& ports)
    : layout_(layout),
      core_(core),
      interrupts_(interrupts),
      outside_(outside),
      ports_(ports),
      empty_(interrupts.vector(layout.empty_vector)),
      complete_(interrupts.vector(layout.complete_vector)) {
  line_.reserve(longest_line + 1);
  core.on_write<&Usart::write_status>(layout_.status, this);
  core.on_write<&Usart::write_control>(layout_.control, this);
  core.on_write<&Usart::write_data>(layout_.data, this);
  core.on_read<&Usart::read_data>(layout_.data, this);
  core.avr()->io[layout_.status - first_register].r = {nullptr, nullptr};
  core.avr()->io[layout_.rate_low - first_register].w = {nullptr,
                                                         nullptr};  // read when a byte starts
  if (layout.format_shares_rate) {
    core.on_write<&Usart::write_shared>(layout.format, this);
    core.on_read<&Usart::read_shared>(layout.format, this);
  }
  avr_irq_register_notify(empty_->irq + AVR_INT_IRQ_RUNNING, &Usart::on_handler, this);
}

void Usart::reset() noexcept {
  busy_ = buffered_ = false;
  line_.clear();
  core_.reg(layout_.status) = bits::UDRE;
  core_.reg(layout_.control) = 0;
  format_ = core_.reg(layout_.format) = 0x06;  // 8 data bits, no parity, 1 stop bit
  rate_high_ = 0;
}

// "Data register empty" is a level: it interrupts again as long as it holds.
void Usart::on_handler(avr_irq_t*, std::uint32_t running, void* self) {
  auto* usart = static_cast<Usart*>(self);
  if (running == 0) usart->interrupts_.raise_if_due(usart->empty_);
}

void Usart::write_status(const Write& write) noexcept {
  if (write.ones() & bits::TXC) interrupts_.clear(complete_);
  constexpr std::uint8_t settable = bits::U2X | 0x01;
  core_.reg(layout_.status) =
      static_cast<std::uint8_t>((core_.reg(layout_.status) & ~settable) | (write.value & settable));
}

void Usart::write_control(const Write& write) noexcept {
  core_.reg(layout_.control) = write.value;
  if (((write.value & bits::TXEN) && ports_.is_output(layout_.transmit)) ||
      ((write.value & bits::RXEN) && ports_.is_output(layout_.receive)))
    core_.fail("The firmware gives a gate's pin (PD0 or PD1) to the USART, " + core_.where() + ".");
  interrupts_.raise_if_due(empty_);
  interrupts_.raise_if_due(complete_);
}

Cycle Usart::cycles_per_byte() const noexcept {
  const bool shares = layout_.format_shares_rate;
  const unsigned c = shares ? format_ : core_.reg(layout_.format);
  const bool nine = core_.reg(layout_.control) & 0x04;
  const unsigned data = nine ? 9 : 5 + (c >> 1 & 3);
  const unsigned frame = 1 + data + (c & 0x20 ? 1 : 0) + (c & 0x08 ? 2 : 1);
  const unsigned rate_high = shares ? rate_high_ : core_.reg(layout_.rate_high);
  const unsigned rate = core_.reg(layout_.rate_low) | (rate_high & 0x0fu) << 8;
  return Cycle{frame} * (rate + 1) * (core_.reg(layout_.status) & bits::U2X ? 8 : 16);
}

void Usart::write_shared(const Write& write) noexcept {
  (write.value & bits::URSEL ? format_ : rate_high_) = write.value;
}

/// UBRRH; read again by the very next instruction, UCSRC (datasheet, Accessing UBRRH/UCSRC).
std::uint8_t Usart::read_shared(Address, Cycle at) noexcept {
  if (at == rate_read_at_ + 1) return format_ | bits::URSEL;
  rate_read_at_ = at;
  return rate_high_ & 0x0f;
}

void Usart::write_data(const Write& write) noexcept {
  if (!(core_.reg(layout_.control) & bits::TXEN) || buffered_) return;  // the part ignores it
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
