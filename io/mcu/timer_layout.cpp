#include "io/mcu/timer_layout.hpp"

namespace stillrotor::io::mcu {
namespace {

using enum Counting;
using enum TopSource;

constexpr TimerMode not_a_mode{reserved, fixed, 0xff, false};

constexpr std::array<TimerMode, 16> modes_8_bit = {{
    {normal, fixed, 0xff, false},
    {phase_correct, fixed, 0xff, false},
    {clear_on_compare, compare_a, 0, false},
    {fast_pwm, fixed, 0xff, false},
    not_a_mode,
    {phase_correct, compare_a, 0, true},
    not_a_mode,
    {fast_pwm, compare_a, 0, true},
}};

constexpr std::array<TimerMode, 16> modes_16_bit = {{
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

constexpr std::array<std::uint16_t, 8> divisors_0_and_1 = {
    0, 1, 8, 64, 256, 1024, external_clock, external_clock};
constexpr std::array<std::uint16_t, 8> divisors_2 = {0, 1, 8, 32, 64, 128, 256, 1024};

constexpr std::uint8_t port_b = 0, port_d = 2;

}  // namespace

const TimerLayout timer0_layout = {.name = '0',
                                   .is_16_bit = false,
                                   .control_a = reg::TCCR0A,
                                   .control_b = reg::TCCR0B,
                                   .force = reg::TCCR0B,
                                   .count = reg::TCNT0,
                                   .mask = reg::TIMSK0,
                                   .flags = reg::TIFR0,
                                   .compare = {reg::OCR0A, reg::OCR0B},
                                   .pins = {{{port_d, 6}, {port_d, 5}}},
                                   .overflow_vector = vect::TIMER0_OVF,
                                   .compare_vector = {vect::TIMER0_COMPA, vect::TIMER0_COMPB},
                                   .power_reduction = 0x20,
                                   .divisors = divisors_0_and_1,
                                   .modes = modes_8_bit};

const TimerLayout timer1_layout = {.name = '1',
                                   .is_16_bit = true,
                                   .control_a = reg::TCCR1A,
                                   .control_b = reg::TCCR1B,
                                   .force = reg::TCCR1C,
                                   .count = reg::TCNT1L,
                                   .mask = reg::TIMSK1,
                                   .flags = reg::TIFR1,
                                   .compare = {reg::OCR1AL, reg::OCR1BL},
                                   .pins = {{{port_b, 1}, {port_b, 2}}},
                                   .overflow_vector = vect::TIMER1_OVF,
                                   .compare_vector = {vect::TIMER1_COMPA, vect::TIMER1_COMPB},
                                   .power_reduction = 0x08,
                                   .divisors = divisors_0_and_1,
                                   .modes = modes_16_bit};

const TimerLayout timer2_layout = {.name = '2',
                                   .is_16_bit = false,
                                   .control_a = reg::TCCR2A,
                                   .control_b = reg::TCCR2B,
                                   .force = reg::TCCR2B,
                                   .count = reg::TCNT2,
                                   .mask = reg::TIMSK2,
                                   .flags = reg::TIFR2,
                                   .compare = {reg::OCR2A, reg::OCR2B},
                                   .pins = {{{port_b, 3}, {port_d, 3}}},
                                   .overflow_vector = vect::TIMER2_OVF,
                                   .compare_vector = {vect::TIMER2_COMPA, vect::TIMER2_COMPB},
                                   .power_reduction = 0x40,
                                   .divisors = divisors_2,
                                   .modes = modes_8_bit};

}  // namespace stillrotor::io::mcu
