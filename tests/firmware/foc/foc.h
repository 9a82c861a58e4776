// Field-oriented drive of the orchard cart: called once a PWM period, in the middle of the low
// switches' on-time, with what the converter has sampled there. Knows nothing of timers or pins, so
// that it can be built for any processor. One instance: its state is static, as on a small part.
#pragma once

#include <stdbool.h>
#include <stdint.h>

enum foc_legs { FOC_OFF, FOC_LOW, FOC_PWM };

struct foc_inputs {
  float current_V[3], bus_V, throttle_V;  // at the pins
  bool key, brake, reverse, speed_limit, driver_fault;
  uint8_t hall;         // bit 0 U, 1 V, 2 W
  int32_t count;        // of the encoder, four a line
  int32_t index_seen;   // indices passed so far
  int32_t index_count;  // the count at the last one
  // Without an encoder, of the Halls' edges: since the last one, and from the one before to it.
  float edge_s, edges_apart_s;  // very long ones end at 1 s
};

struct foc_outputs {
  float duty[3];  // of the next period, of the high side
  enum foc_legs legs;
  const char* say;  // a line of text, or NULL
};

void foc_reset(const struct foc_inputs*);
void foc_period(const struct foc_inputs*, struct foc_outputs*);
