// Where each timer's registers, pins, vectors and clock divisors are, and what its modes mean.
//
// Source ATmega48A/PA/88A/PA/168A/PA/328/P datasheet: Waveform Generation Mode Bit Description and
//        Clock Select Bit Description of each timer.
#pragma once

#include <array>
#include <cstdint>

#include "io/mcu/registers.hpp"

namespace stillrotor::io::mcu {

enum class Counting : std::uint8_t {
  normal,
  clear_on_compare,
  fast_pwm,
  phase_correct,                // OCR taken over at TOP
  phase_and_frequency_correct,  // OCR taken over at BOTTOM
  reserved
};
enum class TopSource : std::uint8_t { fixed, compare_a, capture_register };

struct TimerMode {
  Counting counting = Counting::normal;
  TopSource top_source = TopSource::fixed;
  std::uint16_t fixed_top = 0xff;
  bool toggles_a = false;  // COMnA = 1 toggles in this PWM mode, else the pin stays a port
};

struct TimerLayout {
  char name;
  bool is_16_bit;
  Address control_a, control_b, force;  // TCCRnA, TCCRnB, the register with FOCnx
  Address count, mask, flags;           // TCNTn(L), TIMSKn, TIFRn
  std::array<Address, 2> compare;       // OCRnA(L), OCRnB(L)
  std::array<Pin, 2> pins;              // OCnA, OCnB
  unsigned overflow_vector;
  std::array<unsigned, 2> compare_vector;
  std::uint8_t power_reduction;           // its bit in PRR
  std::array<std::uint16_t, 8> divisors;  // by CS; 0: stopped; external_clock
  std::array<TimerMode, 16> modes;        // by WGM
};
inline constexpr std::uint16_t external_clock = 0xffff;

extern const TimerLayout timer0_layout, timer1_layout, timer2_layout;

}  // namespace stillrotor::io::mcu
