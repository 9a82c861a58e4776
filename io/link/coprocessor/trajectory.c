#include "io/link/coprocessor/trajectory.h"

static uint32_t distance(int32_t x) { return x < 0 ? 0U - (uint32_t)x : (uint32_t)x; }

void cp_track_start(struct cp_track* t, const struct cp_track_parameters* p, uint32_t theta) {
  *t = (struct cp_track){.p = p, .angle = (uint64_t)theta << 32, .theta = theta};
}

void cp_track_join(struct cp_track* t, const struct cp_piece* piece, uint32_t now) {
  /* Products wrap modulo a turn, as the angle does. Signed sums go through unsigned for that. */
  const uint32_t missed = (now - piece->at) / t->p->step_ticks;
  const uint64_t pairs = (uint64_t)missed * (missed - 1U) / 2U;
  t->angle = ((uint64_t)piece->theta << 32) + missed * (uint64_t)piece->rate +
             (missed ? pairs * (uint64_t)piece->change : 0U);
  t->rate = (int64_t)((uint64_t)piece->rate + missed * (uint64_t)piece->change);
  t->change = piece->change;
  if (missed) ++t->late_pieces;
  t->lag = (int32_t)(t->theta - (uint32_t)(t->angle >> 32));
  const uint32_t gap = distance(t->lag);
  if (gap > t->p->join) {
    ++t->gaps;
    if (gap > t->worst_gap) t->worst_gap = gap;
  }
}

void cp_track_step(struct cp_track* t) {
  const struct cp_track_parameters* p = t->p;
  t->angle += (uint64_t)t->rate;
  t->rate = (int64_t)((uint64_t)t->rate + (uint64_t)t->change);
  if (t->lag) {
    const int32_t slew = (int32_t)p->slew;
    t->lag = t->lag > slew ? t->lag - slew : t->lag < -slew ? t->lag + slew : 0;
  }
  const uint32_t aim = (uint32_t)(t->angle >> 32) + (uint32_t)t->lag;
  int32_t moved = (int32_t)(aim - t->theta);
  if (distance(moved) > p->fastest) {
    /* Held back, not lost: the rest stays in lag and follows at the same limit. */
    moved = moved < 0 ? -(int32_t)p->fastest : (int32_t)p->fastest;
    t->lag = (int32_t)(t->theta + (uint32_t)moved - (uint32_t)(t->angle >> 32));
    ++t->too_fast_steps;
  }
  t->moved = moved;
  t->theta += (uint32_t)moved;
}
