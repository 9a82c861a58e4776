// Six-step drive of the orchard cart: what it does and what not is in README.md.
#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/pgmspace.h>
#include <stdbool.h>
#include <stdint.h>

#include "board.h"
#include "bridge.h"
#include "lamp.h"
#include "sampling.h"
#include "words.h"

#define SAY(text) say(PSTR(text))

// Duty in 1/256 of a PWM step, changed once a PWM period (128 us).
#define DUTY_MOST (243u << 8)  // 95 %: a bootstrap supply needs its off time
#define DUTY_UP 16u            // 0 to 95 % in 0.5 s
#define DUTY_DOWN 128u         // and back in 62 ms
#define DUTY_LIMIT_GAIN 16u    // taken back a period for each step of current above the limit
#define WIRE_FAULT_PERIODS 4   // 0.5 ms

enum reason { NONE, OFFSETS, WIRE, HALL, CURRENT, BUS_LOW, BRAKE };  // the lamp blinks the number

static uint16_t duty;
static enum reason stopped_by = NONE;
static bool needs_rest = true;  // the throttle must be at rest before anything starts

static void stop(enum reason why) {
  bridge_off();
  duty = 0;
  bridge_set_duty(0);
  if (why != BRAKE) needs_rest = true;
  if (why == stopped_by) return;
  stopped_by = why;
  switch (why) {
    case NONE:
      break;
    case OFFSETS:
      SAY("current offset");
      break;
    case WIRE:
      SAY("throttle wire");
      break;
    case HALL:
      SAY("hall invalid");
      break;
    case CURRENT:
      SAY("over-current");
      break;
    case BUS_LOW:
      SAY("bus voltage low");
      break;
    case BRAKE:
      SAY("brake");
      break;
  }
}

/// Counts a broken wire; a single bad reading is not one.
static bool wire_is_broken(uint16_t throttle) {
  static uint8_t count;
  if (throttle >= THROTTLE_WIRE_LOW && throttle <= THROTTLE_WIRE_HIGH) {
    count = 0;
    return false;
  }
  if (count < WIRE_FAULT_PERIODS) ++count;
  return count == WIRE_FAULT_PERIODS;
}

static bool bus_is_low(uint16_t bus) {
  static bool low;
  low = bus < (low ? BUS_AGAIN : BUS_LOWEST);
  return low;
}

/// What stands against driving now.
static enum reason obstacle(uint16_t throttle) {
  if (stopped_by == OFFSETS) return OFFSETS;  // until power goes
  if (bridge_hall_failed() || !bridge_halls_valid()) return HALL;
  if (sampling_tripped()) return CURRENT;
  if (wire_is_broken(throttle)) return WIRE;
  if (bus_is_low(sampling_bus())) return BUS_LOW;
  if (PIND & _BV(BRAKE_BIT)) return BRAKE;
  return NONE;
}

static uint16_t duty_for(uint16_t throttle) {
  if (throttle <= THROTTLE_ZERO) return 0;
  if (throttle >= THROTTLE_FULL) return DUTY_MOST;
  return (uint16_t)((uint32_t)(throttle - THROTTLE_ZERO) * DUTY_MOST /
                    (THROTTLE_FULL - THROTTLE_ZERO));
}

static void less_duty(uint16_t by) { duty = duty > by ? duty - by : 0; }

static void follow(uint16_t throttle) {
  const uint16_t target = duty_for(throttle);
  const uint16_t current = sampling_take_current_peak();
  if (current > CURRENT_LIMIT)
    less_duty((current - CURRENT_LIMIT) * DUTY_LIMIT_GAIN);
  else if (duty < target)
    duty = target - duty > DUTY_UP ? duty + DUTY_UP : target;
  else
    less_duty(duty - target > DUTY_DOWN ? DUTY_DOWN : duty - target);
  bridge_set_duty((uint8_t)(duty >> 8));
  if (target == 0 && duty == 0) {
    if (bridge_is_on()) bridge_off();
  } else if (!bridge_is_on() && duty >> 8) {
    bridge_start();
  }
}

/// One PWM period.
static void period(void) {
  const uint16_t throttle = sampling_throttle();
  const enum reason why = obstacle(throttle);
  if (why != NONE && why != stopped_by) stop(why);
  const bool at_rest = throttle >= THROTTLE_WIRE_LOW && throttle <= THROTTLE_REST;
  // Latched: a trip and a bad Hall code are forgotten only with the throttle at rest.
  if (at_rest && why == CURRENT) sampling_clear_trip();
  if (at_rest && why == HALL && bridge_halls_valid()) bridge_forget_hall_failure();
  if (why != NONE) return;
  if (stopped_by != NONE) {
    if (needs_rest && !at_rest) return;
    stopped_by = NONE;
  }
  if (needs_rest && !at_rest) return;
  if (needs_rest) SAY("ready");
  needs_rest = false;
  follow(throttle);
}

static volatile bool period_due;
ISR(PERIOD_vect) { period_due = true; }

int main(void) {
  bridge_init();
  words_init();
  lamp_init();
  sei();
  if (!sampling_measure_offsets()) stop(OFFSETS);
  if (sampling_throttle() > THROTTLE_REST && sampling_throttle() <= THROTTLE_WIRE_HIGH)
    SAY("throttle open at start");
  sampling_start();
  period_interrupt_on();
  for (;;) {
    while (!period_due) {
    }
    period_due = false;
    period();
    lamp_period(stopped_by == BRAKE ? 0 : (uint8_t)stopped_by);
  }
}
