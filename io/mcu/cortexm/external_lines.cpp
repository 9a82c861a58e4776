#include "io/mcu/cortexm/external_lines.hpp"

namespace stillrotor::io::cortexm {
namespace {

enum : Word { IMR = 0x00, EMR = 0x04, RTSR = 0x08, FTSR = 0x0c, SWIER = 0x10, PR = 0x14 };
constexpr Word all_lines = 0x7fffff;

}  // namespace

void ExternalLines::reset(Cycle at) noexcept {
  mask_ = events_ = rising_ = falling_ = pending_ = 0;
  choice_.reset(at);
  tell();
}

void ExternalLines::seen(PinId pin, bool high, Cycle) noexcept {
  if (!((high ? rising_ : falling_) >> pin.number & 1)) return;
  pending_ |= Word{1} << pin.number;
  tell();
}

void ExternalLines::choose_pins(Cycle at) noexcept {
  std::array<Pins, 16> chosen{};
  for (unsigned line = 0; line < 16; ++line)
    chosen[choice_.port_of(line)] |= (rising_ | falling_) & Word{1} << line;
  if (chosen == pins_) return;
  late_edges_.listeners_change(at);
  pins_ = chosen;
}

void ExternalLines::tell() noexcept {
  for (const LineInterrupt& l : lines_) {
    const Word range = ((Word{2} << l.last) - 1) & ~((Word{1} << l.first) - 1);
    exceptions_.set_line(l.interrupt, (pending_ & mask_ & range) != 0);
  }
}

Word ExternalLines::read(Word offset, Cycle) noexcept {
  switch (offset) {
    case IMR:
      return mask_;
    case EMR:
      return events_;
    case RTSR:
      return rising_;
    case FTSR:
      return falling_;
    case PR:
      return pending_;
    default:
      return 0;  // SWIER is cleared with its pending bit: nothing is left to see
  }
}

void ExternalLines::write(Word offset, Word value, Word mask, Cycle at) noexcept {
  const auto merge = [&](Word& kept) { kept = ((kept & ~mask) | value) & all_lines; };
  switch (offset) {
    case IMR:
      merge(mask_);
      break;
    case EMR:
      merge(events_);
      break;
    case RTSR:
      merge(rising_);
      break;
    case FTSR:
      merge(falling_);
      break;
    case SWIER:
      pending_ |= value & all_lines & mask_;
      break;
    case PR:
      pending_ &= ~value;
      break;
    default:
      return;
  }
  choose_pins(at);
  tell();
}

}  // namespace stillrotor::io::cortexm
