// Source ATmega48A/PA/88A/PA/168A/PA/328/P datasheet: Register Summary, Interrupt Vectors, Pin
//        Configurations, Speed Grades; each timer's Waveform Generation Mode Bit Description and
//        Clock Select Bit Description. The test of parts holds addresses and vectors against
//        avr-libc's iom328p.h.
#include "io/mcu/parts/part.hpp"
#include "io/mcu/parts/timer_modes.hpp"

namespace stillrotor::io::mcu {
namespace {

constexpr std::uint8_t port_b = 0, port_c = 1, port_d = 2;

constexpr Address TCCR0A = 0x44, TCCR0B = 0x45, TCCR1A = 0x80, TCCR1B = 0x81, TCCR1C = 0x82,
                  TCCR2A = 0xb0, TCCR2B = 0xb1, PRR = 0x64;
constexpr unsigned TIMER0_COMPA = 14, TIMER0_OVF = 16, TIMER1_CAPT = 10, TIMER1_COMPB = 12,
                   TIMER1_OVF = 13;

constexpr TimerLayout timer0 = {
    .name = '0',
    .is_16_bit = false,
    .mode = {{{TCCR0A, 0x01}, {TCCR0A, 0x02}, {TCCR0B, 0x08}, {}}},
    .clock_select = TCCR0B,
    .count = 0x46,
    .mask = 0x6e,
    .flags = 0x35,
    .interrupts = 0x07,
    .overflow_vector = TIMER0_OVF,
    .compare = {{{0x47, TCCR0A, 6, {TCCR0B, 0x80}, {port_d, 6}, TIMER0_COMPA},
                 {0x48, TCCR0A, 4, {TCCR0B, 0x40}, {port_d, 5}, 15}}},
    .capture = {},
    .power_reduction = {PRR, 0x20},
    .divisors = divisors_0_and_1,
    .modes = modes_8_bit};

constexpr TimerLayout timer1 = {
    .name = '1',
    .is_16_bit = true,
    .mode = {{{TCCR1A, 0x01}, {TCCR1A, 0x02}, {TCCR1B, 0x08}, {TCCR1B, 0x10}}},
    .clock_select = TCCR1B,
    .count = 0x84,
    .mask = 0x6f,
    .flags = 0x36,
    .interrupts = 0x27,
    .overflow_vector = TIMER1_OVF,
    .compare = {{{0x88, TCCR1A, 6, {TCCR1C, 0x80}, {port_b, 1}, 11},
                 {0x8a, TCCR1A, 4, {TCCR1C, 0x40}, {port_b, 2}, TIMER1_COMPB}}},
    .capture = {0x86, {TCCR1B, 0x40}, {TCCR1B, 0x80}, {port_b, 0}, 0x20, TIMER1_CAPT},
    .power_reduction = {PRR, 0x08},
    .divisors = divisors_0_and_1,
    .modes = modes_16_bit};

constexpr TimerLayout timer2 = {.name = '2',
                                .is_16_bit = false,
                                .mode = {{{TCCR2A, 0x01}, {TCCR2A, 0x02}, {TCCR2B, 0x08}, {}}},
                                .clock_select = TCCR2B,
                                .count = 0xb2,
                                .mask = 0x70,
                                .flags = 0x37,
                                .interrupts = 0x07,
                                .overflow_vector = 9,
                                .compare = {{{0xb3, TCCR2A, 6, {TCCR2B, 0x80}, {port_b, 3}, 7},
                                             {0xb4, TCCR2A, 4, {TCCR2B, 0x40}, {port_d, 3}, 8}}},
                                .capture = {},
                                .power_reduction = {PRR, 0x40},
                                .divisors = divisors_2,
                                .modes = modes_8_bit};

}  // namespace

constexpr Part atmega328p = {
    .name = "atmega328p",
    .compiled = "atmega328",
    .architecture = 5,
    .has_jump = true,
    .bits_write_all = false,
    .flash_bytes = 32768,
    .eeprom_bytes = 1024,
    .speed = {2.7, 10e6, 4.5, 20e6, 5.5},
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
             .registers = {0x23, 0x26, 0x29},
             .writing_toggles = true,
             .pull_up_disable = {0x55, 0x10}},
    .external = {.mask = 0x3d,
                 .flags = 0x3c,
                 .in = {0x01, 0x02},
                 .sense = 0x69,
                 .first_vector = 1,
                 .change = {.control = 0x68, .flags = 0x3b, .first_mask = 0x6b, .first_vector = 3}},
    .prescalers = {.at = 0x43, .reset_01 = 0x01, .reset_2 = 0x02, .hold = 0x80},
    .timers = {timer0, timer1, timer2},
    .converter = {.low = 0x78,
                  .high = 0x79,
                  .control = 0x7a,
                  .multiplexer = 0x7c,
                  .trigger = {0x7b, 0x07},
                  .vector = 21,
                  .trigger_vectors = {0, 0, 0, TIMER0_COMPA, TIMER0_OVF, TIMER1_COMPB, TIMER1_OVF,
                                      TIMER1_CAPT},
                  .bandgap_V = 1.1,
                  .internal_V = 1.1,
                  .temperature_V = 0.314},  // at 25 degC (datasheet, Temperature Measurement)
    .comparator = {.control = 0x50,
                   .multiplexer_enable = {0x7b, 0x40},
                   .vector = 23,
                   .bandgap_V = 1.1},
    .usart = {.status = 0xc0,
              .control = 0xc1,
              .format = 0xc2,
              .rate_low = 0xc4,
              .rate_high = 0xc5,
              .data = 0xc6,
              .format_shares_rate = false,
              .empty_vector = 19,
              .complete_vector = 20,
              .receive = {port_d, 0},
              .transmit = {port_d, 1}},
    .power = {.sleep_enable = {0x53, 0x01},
              .sleep_mode = {0x53, 0x0e},
              .reset_flags = 0x54,
              .watchdog = {0x60, 0x48},
              .reduction = PRR,
              .clock_divisor = {0x61, 0x0f},
              .asynchronous = {0xb6, 0x60},
              .serial_interface = 0x4c,
              .serial_pins = {Pin{port_b, 2}, Pin{port_b, 3}, Pin{port_b, 4}, Pin{port_b, 5}}}};

}  // namespace stillrotor::io::mcu
