#include "io/link/coprocessor/rotor_field.h"

#include "io/link/coprocessor/sine_table.h"

enum { third = 0x55555555 /* of a turn */, volt_limit = 1 << 19 };

/* On a table of one turn: 2^8 to its unit. */
static int32_t on_table(const int16_t* table, uint32_t angle) {
  const uint32_t at = angle >> 24;
  const int32_t rest = (int32_t)((angle >> 9) & 0x7fffU);
  const int32_t here = table[at], next = table[at + 1U];
  return here * 256 + (((next - here) * rest) >> 7);
}

/* Magnets' flux between U and V, with the rotor's electrical angle. In two products of 31 bits. */
static int32_t magnet_flux(const struct cp_plant* s, uint32_t theta_e) {
  const int32_t shape = on_table(s->p->flux_shape, theta_e);
  const int32_t flux = (shape >> 8) * s->flux_scale + (((shape & 0xff) * s->flux_scale) >> 8);
  return flux >> s->p->flux_scale_shift;
}
static int32_t magnet_flux_UW(const struct cp_plant* s, uint32_t theta_e) {
  return -magnet_flux(s, theta_e + third);
}
static int32_t magnet_flux_VW(const struct cp_plant* s, uint32_t theta_e) {
  return magnet_flux(s, theta_e - third);
}

/* Of an angle, 2^14 to one. */
static int32_t cosine(uint32_t angle) { return on_table(cp_sine_table, angle + 0x40000000U) >> 9; }
static int32_t g_UU(const struct cp_plant* s) {
  return s->p->inverse_mean + s->p->inverse_swing * s->cos_0;
}
static int32_t g_UV(const struct cp_plant* s) {
  return -(s->p->inverse_mean >> 1) + s->p->inverse_swing * s->cos_1;
}
/* The three cosines sum to nothing. */
static int32_t g_VV(const struct cp_plant* s) {
  return s->p->inverse_mean - s->p->inverse_swing * (s->cos_0 + s->cos_1);
}

/* What the running interval still leaves to the next one of this flux, as its EMF. */
static int32_t emf_to(struct cp_plant* s, uint32_t line, int32_t target) {
  const int32_t most =
      (int32_t)((volt_limit >> s->p->flux_shift) * CP_REFRESH_STEPS * s->p->step_ticks);
  int32_t gap = target - s->magnet_flux[line];
  if (gap > most || gap < -most) {
    gap = gap < 0 ? -most : most;
    s->flags |= CP_PLANT_OVER_RANGE;
  }
  return ((gap >> 7) * s->p->per_refresh) >> (11U - s->p->flux_shift);
}
/* From what g will be at the interval's end. */
static int32_t slope_to(const struct cp_plant* s, int32_t target, int32_t g, int32_t slope) {
  return (target - (g + slope * (int32_t)(CP_REFRESH_STEPS - s->slice))) / CP_REFRESH_STEPS;
}

/* One step of Newton's division: 2^27 / g. */
static int32_t inverse(int32_t g_28, int32_t guess) {
  const int32_t g = g_28 >> 14;
  const int32_t off = (1 << 12) - ((g * (guess >> 1)) >> 14); /* 2^12 to one */
  const int32_t better = guess + ((guess * off) >> 12);
  return better < 1 ? 1 : better > 65535 ? 65535 : better;
}

enum { current_limit = 65535 };

/* The source's current until the next look: it follows the link half of that time ahead, in a
 * straight line from the last look. */
static void draw_from_source(struct cp_plant* s) {
  const int32_t ahead = s->cap + ((s->cap - s->cap_before) >> 1);
  int32_t i = cp_times(s->p->source_conductance, s->source_V - (ahead >> 10));
  if (i > current_limit || i < -current_limit) {
    i = i < 0 ? -current_limit : current_limit;
    s->flags |= CP_PLANT_OVER_RANGE;
  }
  s->source = i;
  s->cap_before = s->cap;
}

/* The link's voltage is held within its range, whatever a command makes of it. An emptied link,
 * too: below zero the bridge's diodes would hold it, which this plant does not know. */
static void look_at_link(struct cp_plant* s) {
  enum { most = 1 << 28 };
  const int32_t cap = s->cap, least_V = -s->p->diode_V;
  if (s->bus < least_V || cap > most || cap < least_V * 1024) {
    s->flags |= CP_PLANT_OVER_RANGE;
    s->cap = cap > most ? most : cap < least_V * 1024 ? least_V * 1024 : cap;
  }
  draw_from_source(s);
}

/* Applied by the interval that begins with these EMFs. */
static void commit(struct cp_plant* s) {
  for (uint32_t line = 0; line < 2U; ++line) {
    const int32_t emf = s->next_emf[line];
    s->emf[line] = emf;
    s->magnet_flux[line] +=
        ((emf * (int32_t)s->p->step_ticks) >> s->p->flux_shift) * CP_REFRESH_STEPS;
  }
  cp_plant_legs(s);
  s->slope_UU = s->next_slope[0];
  s->slope_VV = s->next_slope[1];
  s->slope_UV = s->next_slope[2];
}

/* To the end of the step that begins now. */
static void turn_saliency(struct cp_plant* s) {
  s->g_UU += s->slope_UU;
  s->g_VV += s->slope_VV;
  s->g_UV += s->slope_UV;
}

void cp_field_start(struct cp_plant* s, uint32_t theta, int32_t moved) {
  s->theta_e = theta * s->p->pole_pairs;
  s->cos_0 = cosine(2U * s->theta_e);
  s->cos_1 = cosine(2U * s->theta_e - third);
  s->magnet_flux[0] = magnet_flux_UW(s, s->theta_e);
  s->magnet_flux[1] = magnet_flux_VW(s, s->theta_e);
  s->g_UU = g_UU(s);
  s->g_VV = g_VV(s);
  s->g_UV = g_UV(s);
  const int32_t g[3] = {s->g_UU, s->g_VV, s->g_UU + s->g_VV + 2 * s->g_UV};
  for (uint32_t leg = 0; leg < 3U; ++leg) {
    s->inverse_g[leg] = 8192;
    for (int n = 0; n < 12; ++n) s->inverse_g[leg] = inverse(g[leg], s->inverse_g[leg]);
  }
  draw_from_source(s);
  /* The first interval, which no earlier one has prepared. */
  const uint32_t end = (theta + CP_REFRESH_STEPS * (uint32_t)moved) * s->p->pole_pairs;
  s->next_emf[0] = emf_to(s, 0U, magnet_flux_UW(s, end));
  s->next_emf[1] = emf_to(s, 1U, magnet_flux_VW(s, end));
  s->cos_0 = cosine(2U * end);
  s->cos_1 = cosine(2U * end - third);
  s->slice = 0; /* slopes of a whole interval */
  s->next_slope[0] = slope_to(s, g_UU(s), s->g_UU, 0);
  s->next_slope[1] = slope_to(s, g_VV(s), s->g_VV, 0);
  s->next_slope[2] = slope_to(s, g_UV(s), s->g_UV, 0);
  commit(s);
  turn_saliency(s);
}

void cp_field_aim(struct cp_plant* s, uint32_t theta) { s->theta_e = theta * s->p->pole_pairs; }

uint32_t cp_field_step(struct cp_plant* s) {
  switch (++s->slice) {
    case 2:
      s->next_emf[0] = emf_to(s, 0U, magnet_flux_UW(s, s->theta_e));
      s->next_emf[1] = emf_to(s, 1U, magnet_flux_VW(s, s->theta_e));
      break;
    case 3:
      s->cos_0 = cosine(2U * s->theta_e);
      s->cos_1 = cosine(2U * s->theta_e - third);
      break;
    case 4:
      look_at_link(s);
      break;
    case 5:
      s->next_slope[0] = slope_to(s, g_UU(s), s->g_UU, s->slope_UU);
      s->next_slope[1] = slope_to(s, g_VV(s), s->g_VV, s->slope_VV);
      s->next_slope[2] = slope_to(s, g_UV(s), s->g_UV, s->slope_UV);
      break;
    case 6:
      s->inverse_g[0] = inverse(s->g_UU, s->inverse_g[0]);
      s->inverse_g[1] = inverse(s->g_VV, s->inverse_g[1]);
      break;
    case 7:
      s->inverse_g[2] = inverse(s->g_UU + s->g_VV + 2 * s->g_UV, s->inverse_g[2]);
      break;
    case CP_REFRESH_STEPS:
      commit(s);
      look_at_link(s);
      s->slice = 0;
      break;
    default:
      break;
  }
  turn_saliency(s);
  return s->slice == 1U;
}
