#include "io/link/coprocessor/trip.h"

void cp_trip_start(struct cp_trip* t, const struct cp_trip_parameters* p) {
  *t = (struct cp_trip){.p = p, .phases = p->watches == CP_TRIP_PHASES};
  /* Never, or not again, is a limit that no current reaches. */
  t->near = p->watches == CP_TRIP_NONE ? INT32_MAX : p->limit - p->rise;
}

static uint32_t trip(struct cp_trip* t, uint32_t at) {
  if (t->near == INT32_MAX) return 0U;
  t->near = INT32_MAX;
  t->tripped = 1U;
  t->due = at + t->p->delay_ticks;
  return 1U;
}

int32_t cp_trip_largest(const struct cp_plant* s) {
  int32_t most = 0;
  for (uint32_t leg = 0; leg < 3U; ++leg) {
    const int32_t i = s->i[leg] < 0 ? -s->i[leg] : s->i[leg];
    if (i > most) most = i;
  }
  return most;
}

uint32_t cp_trip_jump(struct cp_trip* t, const struct cp_plant* s, uint32_t at) {
  t->before = t->phases ? cp_trip_largest(s) : s->link_i;
  return s->shorted_legs || t->before >= t->p->limit ? trip(t, at) : 0U;
}

/* When it was crossed, or will be if the current goes on like this. */
uint32_t cp_trip_near(struct cp_trip* t, int32_t from, int32_t to, uint32_t end, uint32_t ticks) {
  const int32_t limit = t->p->limit;
  if (to >= limit && from >= limit) return trip(t, end - ticks);
  const int32_t rise = to - from;
  if (rise <= 0 || (to < limit && ticks < t->p->sure_ticks)) return 0U;
  const uint32_t way = (uint32_t)(limit - from);
  /* A piece's rise is below 2^17 and `way` at most a step's rise more: 25 bits with the ticks. */
  const uint32_t after = way * ticks / (uint32_t)rise;
  if (after > ticks + t->p->step_ticks) return 0U;
  return trip(t, end - ticks + after);
}
