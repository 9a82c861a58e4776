/* Analog channels of what the plant knows, as codes for a converter.
 * One that is told (throttle, temperature) shows what Linux says, through CP_TELL.
 * A low-side shunt carries its phase's current only while the low switch or its diode does; a leg
 * with both switches on drives it to the end of its range. Sign and gain are the channel's.
 * RT  integers only, O(1). */
#ifndef STILLROTOR_COPROCESSOR_SENSE_H
#define STILLROTOR_COPROCESSOR_SENSE_H

#include <stdint.h>

#include "io/link/coprocessor/fast_plant.h"

#ifdef __cplusplus
extern "C" {
#endif

enum {
  CP_SENSE_PHASE_U,
  CP_SENSE_PHASE_V,
  CP_SENSE_PHASE_W,
  CP_SENSE_SHUNT_U,
  CP_SENSE_SHUNT_V,
  CP_SENSE_SHUNT_W,
  CP_SENSE_LINK, /* current out of the link */
  CP_SENSE_BUS,  /* volts */
  CP_SENSE_TOLD  /* codes; its gain is 1 */
};

struct cp_sense_channel {
  uint32_t what;
  struct cp_gain gain; /* codes per unit; signed, factor below 2^12 */
  int32_t offset;      /* code at nothing: also the safe level */
  int32_t most;        /* highest code */
};

/* A channel and where in the plant its quantity stands. */
struct cp_sense {
  const int32_t* value;
  const int32_t* hidden; /* all ones: nothing to see */
  const struct cp_sense_channel* p;
};
/* told: of this channel; outlives it. */
struct cp_sense cp_sense_start(const struct cp_sense_channel*, const struct cp_plant*,
                               const int32_t* told);

static inline int32_t cp_sense_code(const struct cp_sense* s) {
  const struct cp_sense_channel* p = s->p;
  const int32_t code = p->offset + cp_times(p->gain, *s->value & ~*s->hidden);
  return code < 0 ? 0 : code > p->most ? p->most : code;
}
/* While a leg shorts the bus. */
int32_t cp_sense_code_shorted(const struct cp_sense*, const struct cp_plant*);

#ifdef __cplusplus
}
#endif

#endif
