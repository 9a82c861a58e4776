// The serial blocks of a chip, as data: where they stand, their pins, who carries their items.
//
// Source the part's reference manual and datasheet; from memory.
#pragma once

#include <cstdint>
#include <span>

#include "io/mcu/cortexm/op.hpp"

namespace stillrotor::io::cortexm {

struct SpiBlock {
  const char* name;
  Word base;
  std::uint8_t interrupt;
  bool fast;  // on APB2
};
struct I2cBlock {
  const char* name;
  Word base;
  std::uint8_t event_interrupt, error_interrupt;
};
/// Of SPI: clock, MISO, MOSI; of I2C: clock and data.
enum class SerialPin : std::uint8_t { clock, in, out, data };
/// An alternate function of a pin; block: its base.
struct SerialWire {
  Word block;
  SerialPin signal;
  char port;
  std::uint8_t pin, function;
};
/// Where a block's requests stand; controller 0: DMA1.
struct SerialRequest {
  Word block;
  bool transmits;
  std::uint8_t controller, stream, channel;
};
struct SerialPart {
  std::span<const SpiBlock> spis;
  std::span<const I2cBlock> i2cs;
  std::span<const SerialWire> wires;
  std::span<const SerialRequest> requests;  // USARTs' too
};

extern const SerialPart stm32f405_serial;

}  // namespace stillrotor::io::cortexm
