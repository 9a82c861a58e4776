// What stands outside the chip, shared by the parts that touch it.
#pragma once

#include "io/connector.hpp"
#include "io/mcu/clock.hpp"

namespace stillrotor::io::mcu {

struct Outside {
  World* world = nullptr;  // null before the first power()
  Clock clock;
  double supply_V = 0.0;  // VCC and AVCC
};

}  // namespace stillrotor::io::mcu
