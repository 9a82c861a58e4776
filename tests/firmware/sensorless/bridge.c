#include "bridge.h"

#include <avr/io.h>
#include <util/delay.h>

#include "board.h"

#define DEAD_TIME_US 1.5
#define LOW_B (_BV(UL_BIT) | _BV(VL_BIT) | _BV(WL_BIT))
// Phase correct, 16 MHz / 510: on-times lie about BOTTOM in both timers.
#define PWM_0 _BV(WGM00)
#define PWM_2 _BV(WGM20)

struct leg {
  uint8_t connect_0, connect_2;  // compare output of the high switch
  uint8_t low;                   // bit of the low switch
  uint8_t input;                 // of the converter's multiplexer
};
enum { U, V, W, LEGS };
static const struct leg legs[LEGS] = {
    {_BV(COM0B1), 0, _BV(UL_BIT), ADC_U},
    {0, _BV(COM2B1), _BV(VL_BIT), ADC_V},
    {0, _BV(COM2A1), _BV(WL_BIT), ADC_W},
};

// Driven forward, the back-EMF of the floating terminal falls through zero in the middle of an even
// step and rises through it in an odd one.
struct step {
  uint8_t high, low, floating;
};
static const struct step steps[STEPS] = {
    {V, W, U}, {V, U, W}, {W, U, V}, {W, V, U}, {U, V, W}, {U, W, V},
};

static uint8_t passed;  // ACO once zero has been passed

void bridge_init(void) {
  DDRD |= _BV(UH_BIT) | _BV(VH_BIT);
  DDRB |= _BV(WH_BIT) | LOW_B;
  bridge_off();
  bridge_set_duty(0);
  // Both timers from one edge of the clock.
  GTCCR = _BV(TSM) | _BV(PSRASY) | _BV(PSRSYNC);
  TCCR0B = _BV(CS00);
  TCCR2B = _BV(CS20);
  TCNT0 = TCNT2 = 0;
  GTCCR = 0;
  ADCSRB = _BV(ACME);
}

static void connect(uint8_t high, uint8_t low) {
  PORTB = (uint8_t)((PORTB & ~LOW_B) | low);
  TCCR0A = PWM_0 | legs[high].connect_0;
  TCCR2A = PWM_2 | legs[high].connect_2;
}

static void watch(uint8_t leg) { ADMUX = _BV(REFS0) | legs[leg].input; }

void bridge_off(void) {
  // With the compare outputs disconnected the pins show their PORT bits, which are 0.
  TCCR0A = PWM_0;
  TCCR2A = PWM_2;
  PORTB &= (uint8_t)~LOW_B;
  _delay_us(DEAD_TIME_US);
}

void bridge_step(uint8_t step) {
  // From step to step a leg goes from on to floating or back: no dead time is needed.
  const struct step s = steps[step];
  connect(s.high, legs[s.low].low);
  watch(s.floating);
  // AIN0 is the star point: the output is high while the floating terminal lies below it.
  passed = step & 1 ? 0 : _BV(ACO);
#ifdef COMPARATOR_INVERTED
  passed ^= _BV(ACO);
#endif
}

void bridge_hold(uint8_t even_step) {
  const uint8_t high = steps[even_step].floating;
  bridge_off();
  connect(high, (uint8_t)(LOW_B & ~legs[high].low));
}

void bridge_set_duty(uint8_t duty) { OCR0B = OCR2A = OCR2B = duty; }

bool bridge_sample_passed(void) {
  TIFR0 = _BV(TOV0);
  while (!(TIFR0 & _BV(TOV0))) {
  }
  return (ACSR & _BV(ACO)) == passed;
}

bool bridge_sign_of_U(void) {
  watch(U);
  return ACSR & _BV(ACO);
}

uint16_t bridge_throttle(void) {
  const uint8_t multiplexer = ADMUX;
  ADMUX = _BV(REFS0) | ADC_THROTTLE;
  ADCSRA = _BV(ADEN) | _BV(ADSC) | _BV(ADPS2);  // 1 MHz: 25 us, good for eight bits
  while (ADCSRA & _BV(ADSC)) {
  }
  const uint16_t reading = ADC;
  ADCSRA = 0;
  ADMUX = multiplexer;
  return reading;
}
