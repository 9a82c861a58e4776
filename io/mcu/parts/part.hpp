// What one simulated part has that its neighbours have not, as data: memories, clocks, pins,
// registers, vectors. Behaviour is the same for all of them, in io/mcu; a part is one row here.
//
// Units  bytes, V, Hz. Addresses are those of data space (0x20 above the I/O space).
#pragma once

#include <array>
#include <optional>
#include <span>
#include <string>
#include <string_view>

#include "io/mcu/parts/pin.hpp"
#include "io/mcu/parts/timer_layout.hpp"

namespace stillrotor::io::mcu {

/// A straight line from one point to the other, flat beyond them.
struct SpeedGrade {
  double low_V, low_Hz, high_V, high_Hz;
  double most_V;
};

/// Analog inputs: 0 to 7 the converter's, then the comparator's own two.
inline constexpr unsigned ain0 = 8, ain1 = 9;
inline constexpr std::size_t analog_input_count = 10;

struct PinLayout {
  std::array<std::uint8_t, port_count> usable;  // brought out, and neither crystal nor reset
  std::array<std::optional<Pin>, analog_input_count> analog;  // nullopt: no port behind that input
  std::array<Address, port_count> registers;                  // PIN of B, C, D; DDR and PORT follow
  bool writing_toggles;                                       // ones written to PIN toggle PORT
  Bits pull_up_disable;                                       // PUD
};

/// Interrupts of pins.
struct ExternalLayout {
  Address mask, flags;             // EIMSK, EIFR
  std::array<std::uint8_t, 2> in;  // bits of INT0 and INT1 in both
  Address sense;                   // ISC11 to ISC00 in bits 3 to 0
  unsigned first_vector;           // INT0; INT1 follows
  struct PinChange {
    Address control = no_register, flags = no_register;  // PCICR, PCIFR; none: not on this part
    Address first_mask = no_register;                    // PCMSK of B; C and D follow
    unsigned first_vector = 0;
  } change;
};

struct ConverterLayout {
  Address low, high, control, multiplexer;  // ADCL, ADCH, ADCSRA, ADMUX
  Bits trigger;                             // ADTS; none: free running alone, by ADATE's bit
  unsigned vector;
  std::array<unsigned, 8> trigger_vectors;  // whose flag starts it, by ADTS; 0: not modelled
  double bandgap_V;                         // input 14
  double internal_V;                        // reference 3
  double temperature_V;                     // input 8; 0: none
};

struct ComparatorLayout {
  Address control;          // ACSR
  Bits multiplexer_enable;  // ACME
  unsigned vector;
  double bandgap_V;
};

struct UsartLayout {
  Address status, control, format, rate_low, rate_high, data;
  bool format_shares_rate;  // one address, told apart by bit 7 (URSEL)
  unsigned empty_vector, complete_vector;
  Pin receive, transmit;
};

struct PrescalerLayout {
  Address at;
  std::uint8_t reset_01, reset_2, hold;  // hold 0: none
};

struct PowerLayout {
  Bits sleep_enable, sleep_mode;  // SE, SM
  Address reset_flags;            // with PORF in bit 0
  Bits watchdog;                  // any of them: it runs
  Address reduction;              // PRR
  Bits clock_divisor;             // CLKPS
  Bits asynchronous;              // AS2, EXCLK
  Address serial_interface;       // SPCR
  std::array<Pin, 4> serial_pins;
};

struct Part {
  std::string_view name;      // as benches, compiler and simavr call it
  std::string_view compiled;  // another name for the compiler, with the same memories and registers
  unsigned architecture;      // of its instructions, as in an ELF file's flags: 5 is avr5
  bool has_jump;              // JMP and CALL, and with them vectors of two words
  bool bits_write_all;        // SBI and CBI write back all eight bits, flags that read one too
  std::size_t flash_bytes, eeprom_bytes;
  SpeedGrade speed;
  PinLayout pins;
  ExternalLayout external;
  PrescalerLayout prescalers;  // one of timers 0 and 1, one of timer 2
  std::array<TimerLayout, 3> timers;
  ConverterLayout converter;
  ComparatorLayout comparator;
  UsartLayout usart;
  PowerLayout power;
};

/// All of them, in the order in which messages name them.
std::span<const Part* const> parts() noexcept;
const Part* find_part(std::string_view name) noexcept;
/// "atmega328p, atmega8"
std::string part_names();

extern const Part atmega328p, atmega8;

}  // namespace stillrotor::io::mcu
