#include "io/mcu/interrupts.hpp"

namespace stillrotor::io::mcu {

Interrupts::Interrupts(Core& core, const ExternalLayout& pins) : core_(core) {
  const auto& table = core.avr()->interrupts;
  for (unsigned i = 0; i < table.vector_count; ++i)
    vectors_[table.vector[i]->vector] = table.vector[i];
  core.on_write<&Interrupts::write_flags>(pins.flags, this);
  core.on_write<&Interrupts::write_flags>(pins.change.flags, this);
  core.on_write<&Interrupts::write_mask>(pins.change.control, this);
}

void Interrupts::clear(Vector v) noexcept {
  avr_t* avr = core_.avr();
  avr_clear_interrupt(avr, v);
  avr_regbit_clear(avr, v->raised);
  // simavr keeps a cleared entry queued; many of them would fill its queue of 64.
  auto& queue = avr->interrupts.pending;
  constexpr unsigned size = avr_int_pending_fifo_size;
  unsigned kept = queue.read;
  for (unsigned i = queue.read; i != queue.write; i = (i + 1) % size)
    if (queue.buffer[i] != v) {
      queue.buffer[kept] = queue.buffer[i];
      kept = (kept + 1) % size;
    }
  queue.write = static_cast<decltype(queue.write)>(kept);
}

void Interrupts::write_flags(const Write& write) noexcept {
  for (Vector v : vectors_)
    if (v != nullptr && v->raised.reg == write.address && (write.ones() >> v->raised.bit & 1))
      clear(v);
}

void Interrupts::write_mask(const Write& write) noexcept {
  core_.reg(write.address) = write.value;
  for (Vector v : vectors_)
    if (v != nullptr && v->enable.reg == write.address) raise_if_due(v);
}

}  // namespace stillrotor::io::mcu
