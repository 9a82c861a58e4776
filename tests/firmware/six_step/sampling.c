#include "sampling.h"

#include <avr/interrupt.h>
#include <avr/io.h>
#include <util/atomic.h>

#include "board.h"
#include "bridge.h"

#define REFERENCE_AVCC _BV(REFS0)
#define CLOCK_DIV_32 (_BV(ADPS2) | _BV(ADPS0))  // 500 kHz: 26 us a conversion
#define OFFSET_READINGS 16

static const uint8_t current_input[3] = {ADC_CURRENT_U, ADC_CURRENT_V, ADC_CURRENT_W};
static uint16_t offset[3];

enum slot { CURRENT_1, THROTTLE, CURRENT_2, BUS, SLOTS };
static uint8_t slot;
static enum leg sampled_leg;

static volatile uint16_t throttle, bus, current_peak;
static volatile bool tripped;

static void start(uint8_t input) {
  ADMUX = REFERENCE_AVCC | input;
  ADCSRA |= _BV(ADSC);
}

static uint16_t read_blocking(uint8_t input) {
  start(input);
  while (ADCSRA & _BV(ADSC)) {
  }
  return ADC;
}

bool sampling_measure_offsets(void) {
  ADCSRA = _BV(ADEN) | CLOCK_DIV_32;
  read_blocking(ADC_BUS);  // the first conversion after switching on is thrown away
  bool plausible = true;
  for (uint8_t leg = 0; leg < 3; ++leg) {
    uint16_t sum = 0;
    for (uint8_t n = 0; n < OFFSET_READINGS; ++n) sum += read_blocking(current_input[leg]);
    offset[leg] = sum / OFFSET_READINGS;
    plausible &= offset[leg] >= OFFSET_LOWEST && offset[leg] <= OFFSET_HIGHEST;
  }
  throttle = read_blocking(ADC_THROTTLE);
  bus = read_blocking(ADC_BUS);
  return plausible;
}

static void start_slot(void) {
  switch (slot) {
    case THROTTLE:
      start(ADC_THROTTLE);
      break;
    case BUS:
      start(ADC_BUS);
      break;
    default:
      // Only the leg whose low switch is on shows its current.
      sampled_leg = bridge_low_leg();
      start(current_input[sampled_leg == LEG_NONE ? LEG_U : sampled_leg]);
      break;
  }
}

void sampling_start(void) {
  slot = CURRENT_1;
  ADCSRA |= _BV(ADIE);
  start_slot();
}

static void judge_current(uint16_t reading) {
  if (sampled_leg == LEG_NONE) return;
  const uint16_t zero = offset[sampled_leg];
  const uint16_t magnitude = reading > zero ? reading - zero : zero - reading;
  if (magnitude > current_peak) current_peak = magnitude;
  if (magnitude <= CURRENT_TRIP) return;
  bridge_off();
  tripped = true;
}

ISR(ADC_vect) {
  const uint16_t reading = ADC;
  switch (slot) {
    case THROTTLE:
      throttle = reading;
      break;
    case BUS:
      bus = reading;
      break;
    default:
      judge_current(reading);
      break;
  }
  slot = (slot + 1) % SLOTS;
  start_slot();
}

static uint16_t read_atomic(const volatile uint16_t* value) {
  uint16_t copy;
  ATOMIC_BLOCK(ATOMIC_RESTORESTATE) { copy = *value; }
  return copy;
}

uint16_t sampling_throttle(void) { return read_atomic(&throttle); }
uint16_t sampling_bus(void) { return read_atomic(&bus); }

uint16_t sampling_take_current_peak(void) {
  uint16_t peak;
  ATOMIC_BLOCK(ATOMIC_RESTORESTATE) {
    peak = current_peak;
    current_peak = 0;
  }
  return peak;
}

bool sampling_tripped(void) { return tripped; }
void sampling_clear_trip(void) { tripped = false; }
