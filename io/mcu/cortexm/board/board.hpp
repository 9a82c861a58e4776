// The wires between a chip's pins and its partners.
//
// Each wire has a pull-up; whoever pulls it low wins, over the chip's own driver too.
// RT     safe after add().
#pragma once

#include <functional>
#include <vector>

#include "io/mcu/cortexm/board/partner.hpp"
#include "io/mcu/cortexm/ports.hpp"

namespace stillrotor::io::cortexm {

class Board {
 public:
  /// What a pin of the chip sees from its board.
  using Input = std::function<void(PinId, Level)>;
  /// pins: by the partner's wires; it outlives this. Partners may share pins.
  void add(Partner& partner, const std::vector<PinId>& pins);
  /// Supply on: the chip drives nothing yet.
  void start(Input, Time);
  /// The chip's driver at that pin.
  void driven(PinId, Level, Time) noexcept;
  bool holds(PinId pin) const noexcept;

 private:
  struct End {
    Partner* partner;
    unsigned wire;
  };
  struct Wire {
    PinId pin;
    std::vector<End> ends;
    Level by_chip = Level::released;
    Level told = Level::released;  // to the chip
    bool high = true;
  };
  void settle(Time) noexcept;
  std::vector<Wire> wires_;
  std::vector<Partner*> partners_;
  Input input_ = [](PinId, Level) {};
};

}  // namespace stillrotor::io::cortexm
