#include "bridge.h"

#include <avr/interrupt.h>
#include <avr/io.h>
#include <util/atomic.h>
#include <util/delay.h>

#include "board.h"

#define DEAD_TIME_US 1.5
#define HIGH_D (_BV(UH_BIT) | _BV(VH_BIT))
#define LOW_D (_BV(UL_BIT) | _BV(VL_BIT))

struct step {
  uint8_t high, low;
};

// By Hall code, bit 0 U, bit 1 V, bit 2 W. Hall k is high while the electrical angle less k * 120
// deg lies within 90 deg of 0; the back-EMF of phase k, driven forward, is -sin of that angle, so
// current into phase k gives torque while it lies in -150 to -30 deg and current out of it in 30 to
// 150 deg.
static const struct step steps[8] = {
    [0] = {LEG_NONE, LEG_NONE}, [1] = {LEG_V, LEG_W},  // -30 to  30 deg
    [3] = {LEG_V, LEG_U},                              //  30 to  90
    [2] = {LEG_W, LEG_U},                              //  90 to 150
    [6] = {LEG_W, LEG_V},                              // 150 to 210
    [4] = {LEG_U, LEG_V},                              // 210 to 270
    [5] = {LEG_U, LEG_W},                              // 270 to 330
    [7] = {LEG_NONE, LEG_NONE},
};

static volatile bool on, hall_failed;
static volatile uint8_t low_leg = LEG_NONE;

static uint8_t hall_code(void) { return PINC & HALL_MASK; }

static struct step step_for(uint8_t code) {
  struct step s = steps[code];
#ifdef WRONG_HALL_TABLE
  const uint8_t high = s.high;
  s.high = s.low;
  s.low = high;
#endif
  return s;
}

static void all_low(void) {
  // With the compare outputs disconnected the pins show their PORT bits, which are 0.
  TCCR0A = _BV(WGM01) | _BV(WGM00);
  TCCR2A = _BV(WGM21) | _BV(WGM20);
  PORTD &= (uint8_t)~LOW_D;
  PORTB &= (uint8_t)~_BV(WL_BIT);
  low_leg = LEG_NONE;
}

/// Interrupts off.
static bool commutate(void) {
  const struct step s = step_for(hall_code());
  all_low();
  if (s.low == LEG_NONE) {
    hall_failed = true;
    on = false;
    return false;
  }
  _delay_us(DEAD_TIME_US);
  if (s.low == LEG_U) PORTD |= _BV(UL_BIT);
  if (s.low == LEG_V) PORTD |= _BV(VL_BIT);
  if (s.low == LEG_W) PORTB |= _BV(WL_BIT);
  low_leg = s.low;
  if (s.high == LEG_U) TCCR0A |= _BV(COM0A1);
  if (s.high == LEG_V) TCCR0A |= _BV(COM0B1);
  if (s.high == LEG_W) TCCR2A |= _BV(COM2A1);
  return true;
}

ISR(PCINT1_vect) {
  if (on) commutate();
}

void bridge_init(void) {
  DDRD |= HIGH_D | LOW_D;
  DDRB |= _BV(WH_BIT) | _BV(WL_BIT);
  all_low();
  OCR0A = OCR0B = OCR2A = 0;
  // Both timers from one edge of the clock: 16 MHz / 8 / 256 = 7812.5 Hz.
  GTCCR = _BV(TSM) | _BV(PSRASY) | _BV(PSRSYNC);
  TCCR0B = _BV(CS01);
  TCCR2B = _BV(CS21);
  TCNT0 = TCNT2 = 0;
  GTCCR = 0;
  PCMSK1 = HALL_MASK;
  PCICR = _BV(PCIE1);
}

void bridge_off(void) {
  ATOMIC_BLOCK(ATOMIC_RESTORESTATE) {
    on = false;
    all_low();
  }
}

bool bridge_start(void) {
  bool started;
  ATOMIC_BLOCK(ATOMIC_RESTORESTATE) {
    on = true;
    started = commutate();
  }
  return started;
}

void bridge_set_duty(uint8_t duty) { OCR0A = OCR0B = OCR2A = duty; }

enum leg bridge_low_leg(void) { return (enum leg)low_leg; }
bool bridge_is_on(void) { return on; }
bool bridge_hall_failed(void) { return hall_failed; }
void bridge_forget_hall_failure(void) { hall_failed = false; }
bool bridge_halls_valid(void) { return steps[hall_code()].low != LEG_NONE; }
