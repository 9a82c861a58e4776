#include "io/mcu/cortexm/board/board.hpp"

#include <algorithm>

namespace stillrotor::io::cortexm {

void Board::add(Partner& partner, const std::vector<PinId>& pins) {
  partners_.push_back(&partner);
  for (unsigned i = 0; i < pins.size(); ++i) {
    auto wire =
        std::find_if(wires_.begin(), wires_.end(), [&](const Wire& w) { return w.pin == pins[i]; });
    if (wire == wires_.end()) wire = wires_.insert(wire, Wire{pins[i], {}});
    wire->ends.push_back({&partner, i});
  }
}

void Board::start(Input input, Time at) {
  input_ = std::move(input);
  for (Partner* p : partners_) p->start();
  for (Wire& w : wires_) {
    w.by_chip = Level::released;
    w.told = Level::high;
    w.high = true;
    input_(w.pin, w.told);
  }
  settle(at);
}

bool Board::holds(PinId pin) const noexcept {
  return std::any_of(wires_.begin(), wires_.end(), [&](const Wire& w) { return w.pin == pin; });
}

void Board::driven(PinId pin, Level level, Time at) noexcept {
  for (Wire& w : wires_)
    if (w.pin == pin) {
      w.by_chip = level;
      settle(at);
      return;
    }
}

/// A partner that sees a change may pull another wire: again, until nothing moves. Few wires, and
/// each answer follows an edge of the chip's, so it ends.
void Board::settle(Time at) noexcept {
  for (bool moved = true; moved;) {
    moved = false;
    for (Wire& w : wires_) {
      const bool pulled = std::any_of(w.ends.begin(), w.ends.end(), [](const End& e) {
        return e.partner->pulls(e.wire) == Level::low;
      });
      const Level outside = pulled ? Level::low : Level::high;
      const bool high = w.by_chip != Level::low && !pulled;
      if (outside != w.told) input_(w.pin, w.told = outside);
      if (high == w.high) continue;
      w.high = high;
      moved = true;
      for (const End& e : w.ends) e.partner->seen(e.wire, high, at);
    }
  }
}

}  // namespace stillrotor::io::cortexm
