/* Over-current comparator of the power stage: one line, latched.
 * When it is crossed is found in a straight line through the last piece, and looked for one step
 * ahead: the computation runs a step behind its edges, and the line shall not. It falls due at the
 * crossing plus the comparator's delay; where that has passed, at once.
 *
 * Looking ahead costs exactness: a current that a gate edge turns round less than a step before it
 * would have reached the limit trips all the same. That is a limit too low by one step's rise
 * (0.32 A a microsecond on 72 V and 150 uH).
 *
 * A bus shorted by a leg trips whatever the limit: no machine holds that current back.
 *
 * RT  integers only; 32-bit divisions near the limit. */
#ifndef STILLROTOR_COPROCESSOR_TRIP_H
#define STILLROTOR_COPROCESSOR_TRIP_H

#include <stdint.h>

#include "io/link/coprocessor/fast_plant.h"

#ifdef __cplusplus
extern "C" {
#endif

enum { CP_TRIP_NONE, CP_TRIP_LINK, CP_TRIP_PHASES };

struct cp_trip_parameters {
  uint32_t watches;     /* CP_TRIP_LINK: current out of the link; CP_TRIP_PHASES: any, either way */
  int32_t limit;        /* current, > 0 */
  uint32_t delay_ticks; /* of the comparator and its filter */
  int32_t rise;         /* most that a current rises in a step */
  uint32_t step_ticks;
  uint32_t sure_ticks; /* shortest piece whose slope is believed */
};

struct cp_trip {
  uint32_t phases;
  const struct cp_trip_parameters* p;
  uint32_t tripped;
  uint32_t due;   /* tick at which the line moves, or should have */
  int32_t before; /* what it watches, at the last look */
  int32_t near;   /* from where it looks ahead */
};

void cp_trip_start(struct cp_trip*, const struct cp_trip_parameters*);
/* Nonzero: it trips now; see due. After the gates have moved at tick `at`: */
uint32_t cp_trip_jump(struct cp_trip*, const struct cp_plant*, uint32_t at);
/* Within reach of the limit, the current having gone `from`, `to`. For cp_trip_look(). */
uint32_t cp_trip_near(struct cp_trip*, int32_t from, int32_t to, uint32_t end, uint32_t ticks);
int32_t cp_trip_largest(const struct cp_plant*);

/* After a piece of `ticks` that ended at tick `end`. */
static inline uint32_t cp_trip_look(struct cp_trip* t, const struct cp_plant* s, uint32_t end,
                                    uint32_t ticks) {
  const int32_t from = t->before, to = t->phases ? cp_trip_largest(s) : s->link_i;
  t->before = to;
  return to >= t->near ? cp_trip_near(t, from, to, end, ticks) : 0U;
}

#ifdef __cplusplus
}
#endif

#endif
