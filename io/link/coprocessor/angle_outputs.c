#include "io/link/coprocessor/angle_outputs.h"

/* Crossing of a whole number by a value that stands at `from` / 2^32 above one and moves by
 * `way` / 2^32 in `ticks`: the first tick after it, 1 to ticks; 0: none. */
static uint32_t crossing(uint32_t from, uint32_t way, int forward, uint32_t ticks) {
  uint32_t to_go;
  if (forward) {
    to_go = 0U - from; /* 0 stands for a whole unit, which no step reaches */
    if (to_go == 0U || way < to_go) return 0U;
  } else {
    to_go = from;
    if (way <= to_go) return 0U;
  }
  /* 24 bits are enough for a tick of 256, and leave room for the product. */
  const uint32_t shift = way >> 24 ? 8U : 0U;
  const uint32_t scaled = (to_go >> shift) * ticks, divisor = way >> shift;
  const uint32_t at = scaled / divisor;
  if (!forward) return at + 1U > ticks ? ticks : at + 1U;
  return at * divisor == scaled && at != 0U ? at : at + 1U > ticks ? ticks : at + 1U;
}

/* In order of time. */
static uint32_t insert(struct cp_line_edge* edges, uint32_t n, struct cp_line_edge edge) {
  uint32_t place = n;
  for (; place != 0U && (int32_t)(edges[place - 1U].at - edge.at) > 0; --place)
    edges[place] = edges[place - 1U];
  edges[place] = edge;
  return n + 1U;
}

static uint32_t encoder_levels(const struct cp_angle_parameters* p, uint32_t count) {
  /* As in plant/sensors: of the four counts of a line, A is high in 1 and 2, B in 2 and 3. */
  const uint32_t phase = count & 3U;
  const uint32_t lead = phase == 1U || phase == 2U, follow = phase >= 2U;
  uint32_t levels = 0;
  if (p->reversed ? follow : lead) levels |= CP_ENCODER_A;
  if (p->reversed ? lead : follow) levels |= CP_ENCODER_B;
  uint32_t past_index = count - p->index_count;
  if (count < p->index_count) past_index += p->encoder_counts;
  if (past_index < p->index_counts) levels |= CP_ENCODER_Z;
  return levels;
}

void cp_angle_start(struct cp_angle_outputs* o, const struct cp_angle_parameters* p,
                    uint32_t theta) {
  *o = (struct cp_angle_outputs){.p = p};
  if (p->halls)
    for (uint32_t k = 0; k < 3U; ++k)
      if (!((theta * p->pole_pairs - p->hall_rise[k]) >> 31)) o->levels |= CP_HALL_U << k;
  if (p->encoder_counts) {
    o->count = (uint32_t)(((uint64_t)theta * p->encoder_counts) >> 32);
    o->levels |= encoder_levels(p, o->count);
  }
}

/* Half turns of a Hall's angle and counts of the encoder are the same to crossing(). */
static uint32_t hall_edges(struct cp_angle_outputs* o, uint32_t before, uint32_t way, int forward,
                           uint32_t begin, struct cp_line_edge* edges, uint32_t n) {
  const struct cp_angle_parameters* p = o->p;
  const uint32_t theta_e = before * p->pole_pairs, way_e = way * p->pole_pairs * 2U;
  for (uint32_t k = 0; k < 3U; ++k) {
    const uint32_t from = (theta_e - p->hall_rise[k]) << 1;
    const uint32_t after = crossing(from, way_e, forward, p->step_ticks);
    if (after == 0U) continue;
    const uint32_t line = (uint32_t)CP_HALL_U << k;
    o->levels ^= line;
    n = insert(edges, n, (struct cp_line_edge){begin + after, line, (o->levels & line) != 0U});
  }
  return n;
}

static uint32_t encoder_edges(struct cp_angle_outputs* o, uint32_t before, uint32_t way,
                              int forward, uint32_t begin, struct cp_line_edge* edges, uint32_t n) {
  const struct cp_angle_parameters* p = o->p;
  const uint32_t counts = p->encoder_counts;
  const uint32_t after = crossing(before * counts, way * counts, forward, p->step_ticks);
  if (after == 0U) return n;
  if (forward)
    o->count = o->count + 1U == counts ? 0U : o->count + 1U;
  else
    o->count = (o->count == 0U ? counts : o->count) - 1U;
  const uint32_t mask = CP_ENCODER_A | CP_ENCODER_B | CP_ENCODER_Z;
  const uint32_t levels = encoder_levels(p, o->count), changed = (levels ^ o->levels) & mask;
  o->levels = (o->levels & ~mask) | levels;
  for (uint32_t line = CP_ENCODER_A; line <= CP_ENCODER_Z; line <<= 1)
    if (changed & line)
      n = insert(edges, n, (struct cp_line_edge){begin + after, line, (levels & line) != 0U});
  return n;
}

uint32_t cp_angle_step(struct cp_angle_outputs* o, const struct cp_track* track, uint32_t begin,
                       struct cp_line_edge edges[CP_ANGLE_EDGES]) {
  const int32_t moved = track->moved;
  if (moved == 0) return 0U;
  const int forward = moved > 0;
  const uint32_t before = track->theta - (uint32_t)moved;
  const uint32_t way = forward ? (uint32_t)moved : 0U - (uint32_t)moved;
  uint32_t n = 0;
  if (o->p->halls) n = hall_edges(o, before, way, forward, begin, edges, n);
  if (o->p->encoder_counts) n = encoder_edges(o, before, way, forward, begin, edges, n);
  return n;
}

uint32_t cp_angle_word(const struct cp_angle_parameters* p, const struct cp_track* track,
                       uint32_t reached, uint32_t at) {
  /* Sixteenths are left out so that 2^24 times 2^10 ticks fit. */
  const uint32_t way = track->moved < 0 ? 0U - (uint32_t)track->moved : (uint32_t)track->moved;
  const uint32_t part = (way >> 4) * (reached - at) / p->step_ticks * 16U;
  const uint32_t theta = track->moved < 0 ? track->theta + part : track->theta - part;
  return (theta * p->word_turns - p->word_zero) >> (32U - p->word_bits);
}
