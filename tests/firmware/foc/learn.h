// The learning routine: what a new machine on a bench tells about itself. It needs a shaft that is
// free to turn, and turns it. Then the gates go off; what it has found stands in its words:
//   resistance 28.0 mohm     of a phase and its switch, by two direct currents
//   inductance_d 150.0 uH    by voltage pulses, along the magnets
//   inductance_q 250.0 uH    ... and across them
//   pole_pairs 4             turns of the vector in one of the shaft, from index to index
//   encoder_counts 256.0     in one turn; negative: it counts down forward
//   index 30.0 deg           mechanical, electrical turns left out
//   hall_order 0.0, hall_inverted 0.0, hall_spacing 120.0   as settings.h has them
//   flux 25.0 mWb            by the voltage that a machine without current needs
//   learnt
#pragma once

#include <stdbool.h>

#include "current.h"
#include "foc.h"

struct learning {
  enum { LEARN_AMPERES, LEARN_VOLTS, LEARN_DONE, LEARN_FAILED } wants;
  struct axes give;  // along and across ...
  float rad, rad_s;  // ... this angle, electrical, which turns
  const char* say;   // lines, or NULL
};

void learn_reset(void);
/// Once a period. Along and across the last answer's angle: the current measured there, and the
/// voltage that current control gave.
struct learning learn_step(const struct foc_inputs*, struct axes measured_A, struct axes given_V);
