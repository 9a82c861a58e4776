// Source ATmega8/ATmega8L datasheet (2486): Register Summary, Interrupt Vectors in ATmega8, Pin
//        Configurations, Speed Grades. The test of parts holds addresses and vectors against
//        avr-libc's iom8.h. Bits and behaviour are from memory, with the section named.
//
// Unlike the ATmega328P
//   Timer/Counter0   counts only; Timer/Counter2 has one compare channel. All three share TIMSK and
//                    TIFR. "8-bit Timer/Counter0", "8-bit Timer/Counter2 with PWM".
//   SFIOR            ACME, PUD and the prescalers' resets; no halting of timers. "Special Function
//                    IO Register".
//   ADCSRA           bit 5 is free running (ADFR) where the other part has ADATE; nothing else
//                    starts a conversion. "Analog-to-Digital Converter".
//   MCUCR            sleep and the edges of INT0 and INT1; no pin changes. "External Interrupts".
//   UCSRC, UBRRH     one address. "Accessing UBRRH/UCSRC Registers".
//   SBI, CBI         write back all bits of a register, so that flags which read one are cleared.
//   PIN              ones written do nothing. No PRR, no CLKPR, no temperature sensor, no JMP.
#include "io/mcu/parts/part.hpp"
#include "io/mcu/parts/timer_modes.hpp"

namespace stillrotor::io::mcu {
namespace {

constexpr std::uint8_t port_b = 0, port_c = 1, port_d = 2;

constexpr Address TIMSK = 0x59, TIFR = 0x58, TCCR1A = 0x4f, TCCR1B = 0x4e, TCCR2 = 0x45,
                  SFIOR = 0x50, MCUCR = 0x55, UCSRC_UBRRH = 0x40;

constexpr TimerLayout timer0 = {.name = '0',
                                .is_16_bit = false,
                                .mode = {},
                                .clock_select = 0x53,
                                .count = 0x52,
                                .mask = TIMSK,
                                .flags = TIFR,
                                .interrupts = 0x01,
                                .overflow_vector = 9,
                                .compare = {},
                                .capture = {},
                                .power_reduction = {},
                                .divisors = divisors_0_and_1,
                                .modes = modes_8_bit};

// The tables of compare output modes contradict each other on COM1A = 1 in mode 14 and leave out
// mode 11; both are taken as on the ATmega328P.
constexpr TimerLayout timer1 = {
    .name = '1',
    .is_16_bit = true,
    .mode = {{{TCCR1A, 0x01}, {TCCR1A, 0x02}, {TCCR1B, 0x08}, {TCCR1B, 0x10}}},
    .clock_select = TCCR1B,
    .count = 0x4c,
    .mask = TIMSK,
    .flags = TIFR,
    .interrupts = 0x3c,
    .overflow_vector = 8,
    .compare = {{{0x4a, TCCR1A, 6, {TCCR1A, 0x08}, {port_b, 1}, 6},
                 {0x48, TCCR1A, 4, {TCCR1A, 0x04}, {port_b, 2}, 7}}},
    .capture = {0x46, {TCCR1B, 0x40}, {TCCR1B, 0x80}, {port_b, 0}, 0x20, 5},
    .power_reduction = {},
    .divisors = divisors_0_and_1,
    .modes = modes_16_bit};

constexpr TimerLayout timer2 = {.name = '2',
                                .is_16_bit = false,
                                .mode = {{{TCCR2, 0x40}, {TCCR2, 0x08}, {}, {}}},  // WGM20, WGM21
                                .clock_select = TCCR2,
                                .count = 0x44,
                                .mask = TIMSK,
                                .flags = TIFR,
                                .interrupts = 0xc0,
                                .overflow_vector = 4,
                                .compare = {{{0x43, TCCR2, 4, {TCCR2, 0x80}, {port_b, 3}, 3}, {}}},
                                .capture = {},
                                .power_reduction = {},
                                .divisors = divisors_2,
                                .modes = modes_8_bit};

}  // namespace

constexpr Part atmega8 = {
    .name = "atmega8",
    .compiled = "atmega8a",
    .architecture = 4,
    .has_jump = false,
    .bits_write_all = true,  // Register Summary, note on status flags
    .flash_bytes = 8192,
    .eeprom_bytes = 512,
    .speed = {4.5, 16e6, 4.5, 16e6, 5.5},
    .pins = {.usable = {0x3f, 0x3f, 0xff},
             .analog = {Pin{port_c, 0},
                        Pin{port_c, 1},
                        Pin{port_c, 2},
                        Pin{port_c, 3},
                        Pin{port_c, 4},
                        Pin{port_c, 5},
                        {},
                        {},
                        Pin{port_d, 6},
                        Pin{port_d, 7}},
             .registers = {0x36, 0x33, 0x30},
             .writing_toggles = false,
             .pull_up_disable = {SFIOR, 0x04}},
    .external = {.mask = 0x5b,
                 .flags = 0x5a,
                 .in = {0x40, 0x80},
                 .sense = MCUCR,
                 .first_vector = 1,
                 .change = {}},
    .prescalers = {.at = SFIOR, .reset_01 = 0x01, .reset_2 = 0x02, .hold = 0},
    .timers = {timer0, timer1, timer2},
    .converter = {.low = 0x24,
                  .high = 0x25,
                  .control = 0x26,
                  .multiplexer = 0x27,
                  .trigger = {},
                  .vector = 14,
                  .trigger_vectors = {},
                  .bandgap_V = 1.30,
                  .internal_V = 2.56,
                  .temperature_V = 0.0},
    .comparator = {.control = 0x28,
                   .multiplexer_enable = {SFIOR, 0x08},
                   .vector = 16,
                   .bandgap_V = 1.30},
    .usart = {.status = 0x2b,
              .control = 0x2a,
              .format = UCSRC_UBRRH,
              .rate_low = 0x29,
              .rate_high = UCSRC_UBRRH,
              .data = 0x2c,
              .format_shares_rate = true,
              .empty_vector = 12,
              .complete_vector = 13,
              .receive = {port_d, 0},
              .transmit = {port_d, 1}},
    .power = {.sleep_enable = {MCUCR, 0x80},
              .sleep_mode = {MCUCR, 0x70},
              .reset_flags = 0x54,
              .watchdog = {0x41, 0x08},
              .reduction = no_register,
              .clock_divisor = {},
              .asynchronous = {0x42, 0x08},
              .serial_interface = 0x2d,
              .serial_pins = {Pin{port_b, 2}, Pin{port_b, 3}, Pin{port_b, 4}, Pin{port_b, 5}}}};

}  // namespace stillrotor::io::mcu
