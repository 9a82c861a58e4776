// What of a chip drives a motor, as data: timers, converters, DMA, and the wires between them and
// the pins.
//
// Source the part's reference manual and datasheet; from memory.
#pragma once

#include <array>
#include <cstdint>
#include <span>

#include "io/mcu/cortexm/timer/timer.hpp"

namespace stillrotor::io::cortexm {

struct TimerBlock {
  const char* name;
  TimerLayout layout;
  Word base;
  bool fast;                            // on APB2
  std::array<std::uint8_t, 5> vectors;  // by TimerInterrupt; of a simple timer the first
  std::array<std::uint8_t, 4> masters;  // the timer's number at each of ITR0 to ITR3; 0: none
};
enum class TimerPin : std::uint8_t {
  channel1,
  channel2,
  channel3,
  channel4,
  complement1,
  complement2,
  complement3,
  stop,
  trigger
};
/// An alternate function of a pin.
struct TimerWire {
  char port;
  std::uint8_t pin, function, timer;
  TimerPin signal;
};
/// A code of JEXTSEL or EXTSEL. channel 0: TRGO, else CC1 to CC4.
struct ConverterTrigger {
  std::uint8_t code, timer, channel;
};
/// An input: its pin, or port 0 for one within the chip.
struct ConverterInput {
  std::uint8_t converters;  // a bit each
  std::uint8_t channel;
  char port;
  std::uint8_t pin;
};
/// Who asks at a stream's channel: a timer, or (timer 0) a converter.
struct RequestWire {
  std::uint8_t controller, stream, channel, timer;
  TimerRequest request;
  std::uint8_t converter;
};

struct MotorPart {
  std::span<const TimerBlock> timers;
  std::span<const TimerWire> wires;
  Word converters;
  std::uint8_t converters_vector;
  std::span<const ConverterTrigger> injected, regular;
  std::span<const ConverterInput> inputs;
  std::array<Word, 2> dma;
  std::array<std::array<std::uint8_t, 8>, 2> dma_vectors;
  std::span<const RequestWire> requests;
};

extern const MotorPart stm32f405_motor;

}  // namespace stillrotor::io::cortexm
