#include "io/mcu/cortexm/dma/dma.hpp"

namespace stillrotor::io::cortexm {

namespace {
constexpr Word LISR = 0x00, HISR = 0x04, LIFCR = 0x08, HIFCR = 0x0C, first_stream = 0x10,
               stream_window = 0x18;
constexpr Word EN = 1u << 0, DMEIE = 1u << 1, CIRC = 1u << 8, PINC = 1u << 9, MINC = 1u << 10,
               PINCOS = 1u << 15, DBM = 1u << 18, CT = 1u << 19;
constexpr Word DMEIF = 1u << 2, TEIF = 1u << 3, HTIF = 1u << 4, TCIF = 1u << 5;
enum Direction : unsigned { to_memory, to_peripheral, memory_to_memory };
Direction direction(Word control) { return static_cast<Direction>(control >> 6 & 3); }
unsigned item_size(Word control) { return 1u << std::min<Word>(control >> 11 & 3, 2); }  // PSIZE
unsigned channel(Word control) { return control >> 25 & 7; }
/// Where a stream's five flags stand in its register.
unsigned flag_place(unsigned stream) {
  constexpr std::array<std::uint8_t, 4> places{0, 6, 16, 22};
  return places[stream & 3];
}
/// Flags that raise the interrupt, in the order of their enables.
Word enabled_flags(Word control) {
  Word flags = 0;
  if (control & DMEIE) flags |= DMEIF;
  return flags | (control & 0x1c) << 1;  // TEIE, HTIE, TCIE
}
constexpr Cycle copy_cycles =
    4;  // an item from memory to memory; invented, the bus is not modelled
}  // namespace

Dma::Dma(Scheduler& scheduler, DmaListener& listener, bool moves_memory)
    : scheduler_(scheduler),
      listener_(listener),
      moves_memory_(moves_memory),
      copy_event_(scheduler.make<&Dma::on_copy>(this)) {}

void Dma::reset(Cycle at) noexcept {
  for (unsigned i = 0; i < streams_.size(); ++i) {
    const bool high = streams_[i].high;
    streams_[i] = {};
    streams_[i].high = high;
    show(i, at);
  }
  scheduler_.at(copy_event_, never);
}

std::optional<Word> Dma::request(unsigned i, unsigned from, Cycle at) noexcept {
  const Stream& s = streams_[i];
  if (!(s.control & EN) || channel(s.control) != from || direction(s.control) == memory_to_memory)
    return std::nullopt;
  return move_one(i, at);
}

void Dma::enable(unsigned i, Cycle at) noexcept {
  Stream& s = streams_[i];
  s.reload = s.items;
  s.peripheral_at = s.peripheral;
  s.memory_at = s.memory[(s.control & DBM) && (s.control & CT) ? 1 : 0];
  if (s.items == 0 || (direction(s.control) == memory_to_memory && !moves_memory_)) {
    s.control &= ~EN;
    return;
  }
  if (direction(s.control) == memory_to_memory) scheduler_.at(copy_event_, at + copy_cycles);
}

/// One item between peripheral and memory; false: the bus refused.
bool Dma::carry(Stream& s, Cycle at) noexcept {
  // Whatever the memory's size, the items lie side by side there: packing makes no difference.
  const unsigned size = item_size(s.control);
  const bool out = direction(s.control) == to_peripheral;
  const Word from = out ? s.memory_at : s.peripheral_at, to = out ? s.peripheral_at : s.memory_at;
  Word value = 0;
  if (!listener_.load(from, size, value, at) || !listener_.store(to, size, value, at)) return false;
  if (s.control & PINC) s.peripheral_at += s.control & PINCOS ? 4 : size;
  if (s.control & MINC) s.memory_at += size;
  return true;
}

std::optional<Word> Dma::move_one(unsigned i, Cycle at) noexcept {
  Stream& s = streams_[i];
  if (!carry(s, at)) {
    s.control &= ~EN;
    s.flags |= TEIF;
    show(i, at);
    return std::nullopt;
  }
  const Word left = --s.items;
  if (left == s.reload / 2 && left != 0) s.flags |= HTIF;
  if (left == 0) over(i, at);
  show(i, at);
  return left;
}

void Dma::over(unsigned i, Cycle) noexcept {
  Stream& s = streams_[i];
  s.flags |= TCIF;
  if (!(s.control & (CIRC | DBM))) {
    s.control &= ~EN;
    return;
  }
  s.items = s.reload;
  if (s.control & DBM) s.control ^= CT;
  s.peripheral_at = s.peripheral;
  s.memory_at = s.memory[(s.control & DBM) && (s.control & CT) ? 1 : 0];
}

void Dma::on_copy(Cycle at) noexcept {
  bool more = false;
  for (unsigned i = 0; i < streams_.size(); ++i) {
    if (!(streams_[i].control & EN) || direction(streams_[i].control) != memory_to_memory) continue;
    move_one(i, at);
    more |= (streams_[i].control & EN) != 0;
  }
  if (more) scheduler_.at(copy_event_, at + copy_cycles);
}

void Dma::show(unsigned i, Cycle at) noexcept {
  Stream& s = streams_[i];
  const bool high = s.flags & enabled_flags(s.control);
  if (high != s.high) listener_.interrupt(i, s.high = high, at);
}

Word Dma::read(Word offset, Cycle) noexcept {
  if (offset == LISR || offset == HISR) {
    const unsigned first = offset == HISR ? 4 : 0;
    Word value = 0;
    for (unsigned i = first; i < first + 4; ++i) value |= streams_[i].flags << flag_place(i);
    return value;
  }
  if (offset < first_stream) return 0;
  const unsigned i = (offset - first_stream) / stream_window;
  if (i >= streams_.size()) return 0;
  const Stream& s = streams_[i];
  switch ((offset - first_stream) % stream_window) {
    case 0x00:
      return s.control;
    case 0x04:
      return s.items;
    case 0x08:
      return s.peripheral;
    case 0x0C:
      return s.memory[0];
    case 0x10:
      return s.memory[1];
    default:
      return s.fifo;
  }
}

void Dma::write(Word offset, Word value, Word mask, Cycle at) noexcept {
  if (offset == LIFCR || offset == HIFCR) {
    const unsigned first = offset == HIFCR ? 4 : 0;
    for (unsigned i = first; i < first + 4; ++i) {
      streams_[i].flags &= ~((value & mask) >> flag_place(i) & 0x3d);
      show(i, at);
    }
    return;
  }
  if (offset < first_stream) return;
  const unsigned i = (offset - first_stream) / stream_window;
  if (i >= streams_.size()) return;
  Stream& s = streams_[i];
  const auto put = [&](Word& old, Word bits) { old = ((old & ~mask) | (value & mask)) & bits; };
  const bool on = s.control & EN;
  switch ((offset - first_stream) % stream_window) {
    case 0x00: {
      // While it runs only the interrupts and the stream itself can be switched.
      const Word old = s.control;
      put(s.control, 0x0fefffff);
      if (on) s.control = (old & ~Word{0x1f}) | (s.control & 0x1f);
      if (!on && (s.control & EN)) enable(i, at);
      // Switched off before its end: the flag says that it has come to rest.
      if (on && !(s.control & EN)) s.flags |= TCIF;
      show(i, at);
      if (!on && (s.control & EN)) listener_.enabled(i, at);
      break;
    }
    case 0x04:
      if (!on) put(s.items, 0xffff);
      break;
    case 0x08:
      if (!on) put(s.peripheral, 0xffffffff);
      break;
    case 0x0C:
    case 0x10: {
      // In double-buffer mode the one that is not in use may be changed on the way.
      const unsigned which = (offset - first_stream) % stream_window == 0x10;
      const bool free = (s.control & DBM) && which != ((s.control & CT) ? 1u : 0u);
      if (!on || free) put(s.memory[which], 0xffffffff);
      break;
    }
    default:
      put(s.fifo, 0x87);
  }
}

}  // namespace stillrotor::io::cortexm
