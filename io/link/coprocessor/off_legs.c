#include "io/link/coprocessor/off_legs.h"

static int32_t diode_drop(const struct cp_plant* s, int32_t i) {
  return s->p->diode_V + cp_times(s->p->diode_resistance, i < 0 ? -i : i);
}

static void hang_low(struct cp_plant* s, uint32_t leg, int32_t drop) {
  s->rail[leg] = -1;
  s->high[leg] = 0;
  s->off_V[leg] = -drop;
}
static void hang_high(struct cp_plant* s, uint32_t leg, int32_t drop) {
  s->rail[leg] = 1;
  s->high[leg] = -1;
  s->off_V[leg] = drop;
}
static void hang_between(struct cp_plant* s, uint32_t leg, int32_t volts) {
  s->rail[leg] = 0;
  s->high[leg] = 0;
  s->off_V[leg] = volts;
}

void cp_leg_turns_off(struct cp_plant* s, uint32_t leg) {
  const int32_t i = s->i[leg];
  const int32_t drop = diode_drop(s, i);
  if (i > 0)
    hang_low(s, leg, drop);
  else if (i < 0)
    hang_high(s, leg, drop);
  else
    hang_between(s, leg, s->bus >> 1);
}

/* volts that make `impulse` more in a piece, in units of four fluxes; whole steps only, others keep
 * what they had: it is where the next step begins to look. */
static int32_t volts_of(const struct cp_plant* s, int32_t impulse, int32_t ticks) {
  if (ticks != (int32_t)s->p->step_ticks) return 0;
  return ((impulse >> 5) * s->p->per_refresh) >> (8U - s->p->flux_shift);
}

static void settle(struct cp_plant* s, uint32_t leg, int32_t ticks) {
  const int32_t i = s->i[leg];
  const int32_t rail = s->rail[leg];
  if (rail < 0 ? i >= 0 : rail > 0 && i <= 0) { /* its diode conducts on */
    const int32_t drop = diode_drop(s, i);
    s->off_V[leg] = rail < 0 ? -drop : drop;
    return;
  }
  /* Impulses in units of four fluxes: then every product fits. */
  const uint32_t shift = s->p->flux_shift + 2U;
  const int32_t drop = diode_drop(s, i);
  const int32_t volts = s->off_V[leg] + (s->bus & s->high[leg]);
  const int32_t given = (volts * ticks) >> shift;
  const int32_t least = (-drop * ticks) >> shift;
  const int32_t most = ((s->bus + drop) * ticks) >> shift;
  /* Beyond this current a rail decides anyway. */
  const int32_t near_i = i > 16383 ? 16383 : i < -16383 ? -16383 : i;
  int32_t impulse = given - near_i * s->inverse_g[leg];
  if (impulse <= least) {
    impulse = least;
    hang_low(s, leg, drop);
  } else if (impulse >= most) {
    impulse = most;
    hang_high(s, leg, drop);
  } else {
    const int32_t now = volts + volts_of(s, impulse - given, ticks);
    hang_between(s, leg, now < -drop ? -drop : now > s->bus + drop ? s->bus + drop : now);
  }
  const int32_t more = (impulse - given) * 4;
  if (leg == 2U) {
    s->flux[0] -= more;
    s->flux[1] -= more;
  } else {
    s->flux[leg] += more;
  }
  cp_plant_currents(s);
}

void cp_settle_off_legs(struct cp_plant* s, int32_t ticks) {
  if (s->off_legs & 1U) settle(s, 0U, ticks);
  if (s->off_legs & 2U) settle(s, 1U, ticks);
  if (s->off_legs & 4U) settle(s, 2U, ticks);
  cp_plant_legs(s);
}

uint32_t cp_legs_rest(struct cp_plant* s) {
  enum { nearly_none = 0x10000 }; /* two units of current */
  if ((uint32_t)(s->flux[0] + nearly_none) > 2U * nearly_none ||
      (uint32_t)(s->flux[1] + nearly_none) > 2U * nearly_none)
    return 0U;
  const int32_t e_U = s->emf[0], e_V = s->emf[1]; /* and none of W */
  const int32_t low = e_U < e_V ? (e_U < 0 ? e_U : 0) : (e_V < 0 ? e_V : 0);
  const int32_t high = e_U > e_V ? (e_U > 0 ? e_U : 0) : (e_V > 0 ? e_V : 0);
  if (high - low > s->bus + 2 * s->p->diode_V) return 0U;
  const int32_t middle = (s->bus - low - high) >> 1;
  hang_between(s, 0U, middle + e_U);
  hang_between(s, 1U, middle + e_V);
  hang_between(s, 2U, middle);
  s->i[0] = s->i[1] = s->i[2] = 0;
  cp_plant_legs(s);
  return 1U;
}
