// Where a timer's registers, pins, vectors and clock divisors are, and what its modes mean.
#pragma once

#include <array>
#include <cstdint>

#include "io/mcu/parts/pin.hpp"

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

/// A compare channel. No compare register: the timer has none of it.
struct CompareLayout {
  Address compare = no_register;  // OCRnx(L)
  Address mode = no_register;     // with COMnx
  std::uint8_t mode_shift = 0;    // of its lower bit
  Bits force;                     // FOCnx
  Pin pin;                        // OCnx
  unsigned vector = 0;
};

/// The input capture. No register: the timer has none.
struct CaptureLayout {
  Address value = no_register;  // ICRn(L)
  Bits rising, cancel_noise;    // ICESn, ICNCn
  Pin pin;                      // ICPn
  std::uint8_t interrupt = 0;   // its bit in the mask register
  unsigned vector = 0;
};

struct TimerLayout {
  char name;
  bool is_16_bit;
  std::array<Bits, 4> mode;  // WGM, lowest bit first
  Address clock_select;      // with CS in bits 2 to 0
  Address count;             // TCNTn(L)
  Address mask, flags;       // TIMSKn, TIFRn; shared among timers or not
  std::uint8_t interrupts;   // this timer's bits in them
  unsigned overflow_vector;
  std::array<CompareLayout, 2> compare;
  CaptureLayout capture;
  Bits power_reduction;
  std::array<std::uint16_t, 8> divisors;  // by CS; 0: stopped; external_clock
  std::array<TimerMode, 16> modes;        // by WGM
};
inline constexpr std::uint16_t external_clock = 0xffff;

}  // namespace stillrotor::io::mcu
