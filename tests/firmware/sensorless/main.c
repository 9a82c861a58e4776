// A fan without position sensors: holds, runs up blindly, then follows the back-EMF's zeros.
#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/pgmspace.h>

#include "../six_step/words.h"
#include "board.h"
#include "bridge.h"

#define SAY(text)                             \
  do {                                        \
    static const char words[] PROGMEM = text; \
    say(words);                               \
  } while (0)

// Time in ticks of Timer1: 16 MHz / 8.
#define US(t) ((uint16_t)((t)*2UL))
#define MS(t) US((t)*1000UL)

#define REST_MS 100  // without a change of U's sign: below 75 rpm
#define HOLD_FIRST_MS 250
#define HOLD_MS 450  // each swing half the one before: 2 J / b is 0.1 s
#define HOLD_DUTY 31
#define RUN_UP_STEPS 8
#define RUN_UP_FIRST MS(26)
#define RUN_UP_DUTY_STEP 4
#define DUTY_LEAST 40
#define DUTY_MOST 230
#define DETECTION US(60)  // zero to its third sample, and to the next step: what the code takes
#define SHORTEST_STEP US(400)  // 6250 rpm: no fan of ours
#define LONGEST_STEP MS(10)    // 250 rpm
#define BLIND_MOST 6           // steps one after the other whose zero lay before the first look
#define STARTS_MOST 3

// The times at which a constant acceleration has turned the rotor by 30, 90, 150 ... degrees: one
// from the other, of 256 times the first.
static const uint8_t run_up[RUN_UP_STEPS] PROGMEM = {255, 187, 129, 105, 91, 81, 74, 68};

static uint8_t step, duty;

static uint16_t now(void) { return TCNT1; }
static uint16_t since(uint16_t then) { return now() - then; }
static void wait_until(uint16_t then, uint16_t ticks) {
  while (since(then) < ticks) {
  }
}
static void wait_ms(uint16_t ms) {
  for (; ms != 0; --ms) wait_until(now(), MS(1));
}

static void set_duty(uint8_t to) {
  duty = to;
  bridge_set_duty(to);
}
static void next_step(void) {
  step = step == STEPS - 1 ? 0 : step + 1;
  bridge_step(step);
}

static bool at_rest(uint16_t throttle) { return throttle <= THROTTLE_REST; }
static bool wire_is_broken(uint16_t throttle) {
  return throttle < THROTTLE_WIRE_LOW || throttle > THROTTLE_WIRE_HIGH;
}

static uint8_t duty_for(uint16_t throttle) {
  if (throttle <= THROTTLE_ZERO) return DUTY_LEAST;
  if (throttle >= THROTTLE_FULL) return DUTY_MOST;
  return DUTY_LEAST + (uint8_t)((uint32_t)(throttle - THROTTLE_ZERO) * (DUTY_MOST - DUTY_LEAST) /
                                (THROTTLE_FULL - THROTTLE_ZERO));
}

/// To hold a turning rotor would short it.
static void wait_for_rest(void) {
  bool sign = bridge_sign_of_U();
  for (uint8_t still_ms = 0; still_ms < REST_MS; ++still_ms) {
    wait_ms(1);
    if (bridge_sign_of_U() == sign) continue;
    sign = !sign;
    still_ms = 0;
  }
}

/// Returns how long the last step took.
static uint16_t start_from_standstill(void) {
  wait_for_rest();
  set_duty(HOLD_DUTY);
  bridge_hold(0);  // a rotor that stands right against one hold feels the other
  wait_ms(HOLD_FIRST_MS);
  bridge_hold(2);
  wait_ms(HOLD_MS);
  bridge_off();
  step = 1;
  uint16_t from = now(), lasts = 0;
  for (uint8_t n = 0; n < RUN_UP_STEPS; ++n) {
    next_step();
    lasts = (uint16_t)((uint32_t)RUN_UP_FIRST * pgm_read_byte(&run_up[n]) >> 8);
    wait_until(from, lasts);
    from += lasts;
    set_duty(duty + RUN_UP_DUTY_STEP);
  }
  return lasts;
}

enum end { AT_REST, WIRE, LOST_STEP };

static bool most_of_three(uint8_t samples) { return 0xe8 >> (samples & 7) & 1; }

/// Each step ends half a step after the zero in its middle.
static enum end follow_zeros(uint16_t lasts) {
  uint16_t stepped = now(), zero = stepped - lasts / 2;
  uint8_t blind = 0;
  next_step();
  for (;;) {
    // While the freewheeling current hides the back-EMF there is time for everything else.
    const uint16_t throttle = bridge_throttle();
    if (wire_is_broken(throttle)) return WIRE;
    if (at_rest(throttle)) return AT_REST;
    const uint8_t target = duty_for(throttle);
    if (duty != target) set_duty(duty < target ? duty + 1 : duty - 1);
    wait_until(stepped, lasts / 4 + US(50));

    uint8_t samples = bridge_sample_passed();
    samples = (uint8_t)(samples << 1 | bridge_sample_passed());
    bool saw_it_coming = false;
    for (;;) {
      samples = (uint8_t)(samples << 1 | bridge_sample_passed());
      if (most_of_three(samples)) break;
      saw_it_coming = true;
      if (since(stepped) / 3 > lasts) return LOST_STEP;
    }
    const uint16_t found = now();
    if (saw_it_coming) {
      blind = 0;
      lasts = lasts / 2 + (uint16_t)(found - zero) / 2;
      if (lasts < SHORTEST_STEP || lasts > LONGEST_STEP) return LOST_STEP;
      wait_until(found, lasts / 2 - DETECTION);
    } else {
      // The rotor is ahead: after it at once.
      if (++blind > BLIND_MOST) return LOST_STEP;
      lasts -= lasts / 8;
    }
    zero = found;
    stepped = now();
    next_step();
  }
}

int main(void) {
  bridge_init();
  words_init();
  TCCR1B = _BV(CS11);
  sei();
  if (!at_rest(bridge_throttle())) SAY("throttle open at start");
  for (;;) {
    uint16_t throttle;
    do throttle = bridge_throttle();
    while (!at_rest(throttle) || wire_is_broken(throttle));
    SAY("ready");
    do throttle = bridge_throttle();
    while (throttle < THROTTLE_ZERO || wire_is_broken(throttle));
    enum end why = LOST_STEP;
    for (uint8_t starts = 0; starts < STARTS_MOST && why == LOST_STEP; ++starts) {
      why = follow_zeros(start_from_standstill());
      bridge_off();
      if (why == LOST_STEP) SAY("lost step");
    }
    if (why == LOST_STEP) SAY("gives up");
    if (why == WIRE) SAY("throttle wire");
  }
}
