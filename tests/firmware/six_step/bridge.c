#include "bridge.h"

#include <avr/interrupt.h>
#include <avr/io.h>
#include <util/atomic.h>
#include <util/delay.h>

#include "board.h"
#include "settings.h"

#define DEAD_TIME_US 1.5
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

/// The same by the lines and for the terminals that are there.
static struct step wired[8];

static void learn_wiring(void) {
  settings_read();
  for (uint8_t lines = 0; lines < 8; ++lines) {
    struct step s = steps[settings_hall_code(lines)];
#ifdef WRONG_HALL_TABLE
    const uint8_t high = s.high;
    s.high = s.low;
    s.low = high;
#endif
    if (s.low != LEG_NONE) {
      s.high = settings_terminal(s.high);
      s.low = settings_terminal(s.low);
    }
    wired[lines] = s;
  }
}

static void all_low(void) {
  // With the compare outputs disconnected the pins show their PORT bits, which are 0.
  pwm_disconnect();
  PORTD &= (uint8_t)~LOW_D;
  PORTB &= (uint8_t)~_BV(WL_BIT);
  low_leg = LEG_NONE;
}

/// Interrupts off.
static bool commutate(void) {
  const struct step s = wired[hall_code()];
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
  if (s.high == LEG_U) pwm_connect_u();
  if (s.high == LEG_V) pwm_connect_v();
  if (s.high == LEG_W) pwm_connect_w();
  return true;
}

// A chip that looks at its Halls again and again commutates only when they have changed.
ISR(HALL_vect) {
#ifdef __AVR_ATmega8__
  static uint8_t seen;
  const uint8_t code = hall_code();
  if (code == seen) return;
  seen = code;
#endif
  if (on) commutate();
}

void bridge_init(void) {
  DDRD |= HIGH_D | LOW_D;
  DDRB |= HIGH_B | _BV(WL_BIT);
  all_low();
  learn_wiring();
  pwm_duty(0);
  pwm_start();
  halls_watch(HALL_MASK);
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

void bridge_set_duty(uint8_t duty) { pwm_duty(duty); }

enum leg bridge_low_leg(void) { return (enum leg)low_leg; }
bool bridge_is_on(void) { return on; }
bool bridge_hall_failed(void) { return hall_failed; }
void bridge_forget_hall_failure(void) { hall_failed = false; }
bool bridge_halls_valid(void) { return wired[hall_code()].low != LEG_NONE; }
