#include "io/link/coprocessor/fast_plant.h"

#include "io/link/coprocessor/off_legs.h"
#include "io/link/coprocessor/rotor_field.h"

static int32_t held(int32_t flux) {
  return flux > CP_FLUX_LIMIT ? CP_FLUX_LIMIT : flux < -CP_FLUX_LIMIT ? -CP_FLUX_LIMIT : flux;
}

void cp_hold_fluxes(struct cp_plant* s) {
  s->flux[0] = held(s->flux[0]);
  s->flux[1] = held(s->flux[1]);
  s->flags |= CP_PLANT_OVER_RANGE;
}

/* A shorted leg: its terminal at half of what is left of the bus, and the capacitor drains. */
static int32_t short_the_bus(struct cp_plant* s, int32_t bus, int32_t ticks) {
  const struct cp_plant_parameters* p = s->p;
  bus = (bus * (p->short_share >> 2)) >> 11;
  const int32_t taken = (cp_times(p->short_charge, s->cap >> 12) * ticks) >> 4;
  s->cap -= taken < s->cap ? taken : s->cap;
  for (uint32_t leg = 0; leg < 3U; ++leg)
    if (s->shorted_legs & (1U << leg)) s->off_V[leg] = bus >> 1;
  cp_plant_legs(s);
  return bus;
}

void cp_plant_legs(struct cp_plant* s) {
  s->bus_share[0] = s->high[2] - s->high[0];
  s->bus_share[1] = s->high[2] - s->high[1];
  s->against[0] = s->emf[0] - s->off_V[0] + s->off_V[2];
  s->against[1] = s->emf[1] - s->off_V[1] + s->off_V[2];
  s->link_i = (s->i[0] & s->high[0]) + (s->i[1] & s->high[1]) + (s->i[2] & s->high[2]);
}

void cp_plant_advance(struct cp_plant* s, uint32_t ticks) {
  const struct cp_plant_parameters* p = s->p;
  const int32_t n = (int32_t)ticks;
  const int32_t net = s->link_i - s->source;
  const int32_t drawn = s->owed + net * n, rest = drawn & 511;
  const int32_t cap = s->cap - cp_times(p->link_charge, drawn >> 9);
  s->cap = cap;
  int32_t bus = (cap >> 10) - cp_times(p->link_resistance, net);
  if (s->shorted_legs) bus = short_the_bus(s, bus, n);
  s->bus = bus;
  if (s->off_legs == 7U && cp_legs_rest(s)) {
    s->owed = rest - s->source * n;
    return;
  }

  const int32_t i_U = s->i[0], i_V = s->i[1], sum = i_U + i_V, r = s->resistance_factor;
  const uint32_t r_shift = s->resistance_shift, shift = p->flux_shift;
  const int32_t drop_U = (r * (i_U + sum)) >> r_shift, drop_V = (r * (i_V + sum)) >> r_shift;
  s->flux[0] += ((bus * s->bus_share[0] - s->against[0] - drop_U) * n) >> shift;
  s->flux[1] += ((bus * s->bus_share[1] - s->against[1] - drop_V) * n) >> shift;
  cp_plant_currents(s);
  if (s->off_legs) cp_settle_off_legs(s, n);
  s->owed = rest + (s->link_i - s->source) * n;
}

static void gate_leg(struct cp_plant* s, uint32_t leg, uint32_t pair) {
  const uint32_t bit = 1U << leg;
  s->shorted_legs &= ~bit;
  if (pair == 0U) {
    s->off_legs |= bit;
    cp_leg_turns_off(s, leg);
    return;
  }
  s->off_legs &= ~bit;
  s->high[leg] = pair == 1U ? -1 : 0;
  s->off_V[leg] = 0;
  if (pair == 3U) {
    s->shorted_legs |= bit;
    s->flags |= CP_PLANT_SHOOT_THROUGH;
  }
}

void cp_plant_gates(struct cp_plant* s, uint32_t gates) {
  const uint32_t changed = gates ^ s->gates;
  s->gates = gates;
  if (changed & 3U) gate_leg(s, 0U, gates & 3U);
  if (changed & 12U) gate_leg(s, 1U, (gates >> 2) & 3U);
  if (changed & 48U) gate_leg(s, 2U, (gates >> 4) & 3U);
  cp_plant_legs(s);
}

void cp_plant_start(struct cp_plant* s, const struct cp_plant_parameters* p, uint32_t theta,
                    int32_t moved) {
  *s = (struct cp_plant){.p = p, .off_legs = 7U};
  s->bus = p->source_V;
  s->cap = s->cap_before = p->source_V * 1024;
  for (uint32_t leg = 0; leg < 3U; ++leg) s->off_V[leg] = s->bus >> 1;
  cp_plant_supply(s, p->source_V);
  cp_plant_heat(s, p->resistance, p->flux_scale);
  cp_field_start(s, theta, moved);
  cp_plant_legs(s);
}

/* What the link brings is not trusted to keep the ranges. */
void cp_plant_supply(struct cp_plant* s, int32_t source_V) {
  enum { most = 1 << 18 };
  s->source_V = source_V < 0 ? 0 : source_V > most ? most : source_V;
}

void cp_plant_heat(struct cp_plant* s, struct cp_gain resistance, int32_t flux_scale) {
  const int32_t factor = resistance.factor;
  if (factor < 0 || factor > 8191 || resistance.shift > 31U ||
      resistance.shift + 1U < s->p->resistance.shift || flux_scale < 0 || flux_scale > 32767)
    return;
  s->resistance_factor = factor;
  s->resistance_shift = resistance.shift;
  s->flux_scale = flux_scale;
}
