// Waveform generation modes and clock divisors that the family's timers share.
//
// Source ATmega48A/PA/88A/PA/168A/PA/328/P datasheet: Waveform Generation Mode Bit Description and
//        Clock Select Bit Description of each timer.
#pragma once

#include "io/mcu/parts/timer_layout.hpp"

namespace stillrotor::io::mcu {

namespace timer_modes {
using enum Counting;
using enum TopSource;
inline constexpr TimerMode not_a_mode{reserved, fixed, 0xff, false};
}  // namespace timer_modes

inline constexpr std::array<TimerMode, 16> modes_8_bit = [] {
  using namespace timer_modes;
  return std::array<TimerMode, 16>{{
      {normal, fixed, 0xff, false},
      {phase_correct, fixed, 0xff, false},
      {clear_on_compare, compare_a, 0, false},
      {fast_pwm, fixed, 0xff, false},
      not_a_mode,
      {phase_correct, compare_a, 0, true},
      not_a_mode,
      {fast_pwm, compare_a, 0, true},
  }};
}();

inline constexpr std::array<TimerMode, 16> modes_16_bit = [] {
  using namespace timer_modes;
  return std::array<TimerMode, 16>{{
      {normal, fixed, 0xffff, false},
      {phase_correct, fixed, 0x00ff, false},
      {phase_correct, fixed, 0x01ff, false},
      {phase_correct, fixed, 0x03ff, false},
      {clear_on_compare, compare_a, 0, false},
      {fast_pwm, fixed, 0x00ff, false},
      {fast_pwm, fixed, 0x01ff, false},
      {fast_pwm, fixed, 0x03ff, false},
      {phase_and_frequency_correct, capture_register, 0, false},
      {phase_and_frequency_correct, compare_a, 0, true},
      {phase_correct, capture_register, 0, false},
      {phase_correct, compare_a, 0, true},
      {clear_on_compare, capture_register, 0, false},
      not_a_mode,
      {fast_pwm, capture_register, 0, true},
      {fast_pwm, compare_a, 0, true},
  }};
}();

inline constexpr std::array<std::uint16_t, 8> divisors_0_and_1 = {
    0, 1, 8, 64, 256, 1024, external_clock, external_clock};
inline constexpr std::array<std::uint16_t, 8> divisors_2 = {0, 1, 8, 32, 64, 128, 256, 1024};

}  // namespace stillrotor::io::mcu
