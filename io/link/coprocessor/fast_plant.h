/* The fast part of the plant: bridge, winding and DC link between two gate edges, in integers.
 *
 * State  the flux that currents make, seen between two terminals: P of U-W, Q of V-W. Volts times
 *        ticks are whole numbers, so what the bridge applies is summed without loss. Currents
 *        follow from it at once, i_U = g_UU P + g_UV Q and i_V = g_UV P + g_VV Q, with
 *          g_UU = m + s cos 2 theta_e,   g_VV = m + s cos(2 theta_e + 120 deg),
 *          g_UV = -m/2 + s cos(2 theta_e - 120 deg),
 *          m = (1/L_d + 1/L_q) / 3,      s = (1/L_d - 1/L_q) / 3,
 *        so a turning salient machine needs no term of its own for dL/dt.
 * Step   P += (v_U - v_W - e_UW - R (i_U - i_W)) n for n ticks in which no gate moves. Every gate
 *        edge ends such a piece at its own tick: an edge inside a step counts to the tick.
 * Legs   high or low switch on; both off: off_legs.h; both on: half the bus, and the bus shorted.
 * Link   v_bus = v_C - ESR' (i_dc - j), dv_C/dt = -(i_dc - j) R_s / (C (R_s + ESR)), with
 *        ESR' = ESR R_s / (R_s + ESR) and j = (E - v_C) / R_s: a capacitor with series resistance
 *        at a source E behind R_s, which Linux moves. v_C stands in the middle of a piece, and
 *        from one middle to the next gives the mean of the current at both ends of each half: of
 *        second order, so that link and windings gain no energy by ringing.
 * Signs  currents into the machine; volts to the negative rail; as docs/notation.md.
 * Units  by the host's scale (host/parameters.hpp): volts, amperes, flux per unit; time in ticks.
 * Ranges |P|, |Q| <= 2^30 (held there and flagged), currents within 57344, volts within 2^19, and
 *        every product within 32 bits: README.md has the sums, a test tries them.
 * Source the machine's and the bridge's equations as in plant/; projection: see off_legs.h.
 * RT     no allocation, division, 64-bit product or loop over data. Signed >> is arithmetic, as in
 *        every compiler this is built with. */
#ifndef STILLROTOR_COPROCESSOR_FAST_PLANT_H
#define STILLROTOR_COPROCESSOR_FAST_PLANT_H

#include <stdint.h>

#ifdef __cplusplus
extern "C" {
#endif

enum {
  CP_STEP_TICKS_MAX = 256,
  CP_REFRESH_STEPS = 8, /* steps between two looks at the angle */
  CP_SHAPE_POINTS = 256
};

enum { CP_UH = 1, CP_UL = 2, CP_VH = 4, CP_VL = 8, CP_WH = 16, CP_WL = 32 };

/* x * factor >> shift stands for a real factor; factor below 2^13. */
struct cp_gain {
  int32_t factor;
  uint32_t shift;
};

/* Made by the host, which refuses what does not fit. Constant while the plant runs, but for what
 * cp_plant_heat() and cp_plant_supply() set. */
struct cp_plant_parameters {
  uint32_t step_ticks; /* 16 to CP_STEP_TICKS_MAX */
  uint32_t flux_shift; /* a unit of flux is 2^flux_shift units of volts times ticks; 1 to 7 */
  int32_t per_refresh; /* 2^18 / (CP_REFRESH_STEPS * step_ticks) */
  uint32_t pole_pairs;
  int32_t inverse_mean;      /* m, 2^28 to a unit of current per 2^15 units of flux */
  int32_t inverse_swing;     /* s, 2^14 likewise */
  struct cp_gain resistance; /* winding and one switch: volts per current */
  int32_t flux_scale; /* of flux_shape to flux: * flux_scale >> flux_scale_shift; below 2^15 */
  uint32_t flux_scale_shift;
  int32_t diode_V;
  struct cp_gain diode_resistance; /* beyond the switch's; may be negative */
  struct cp_gain link_resistance;  /* ESR' */
  struct cp_gain link_charge;      /* 2^-10 volts a tick per 2^-8 current */
  struct cp_gain
      source_conductance; /* 1 / R_s: current per volt; factor below 2^12; 0: no supply */
  int32_t source_V;
  int32_t short_share;         /* of the bus that a shorted leg leaves, 2^13 to the whole */
  struct cp_gain short_charge; /* what a short takes from v_C a tick, * 2^4, per 4 volts */
  /* Flux of the magnets between U and V over one electrical turn, its peak 32767. */
  int16_t flux_shape[CP_SHAPE_POINTS + 1];
};

enum { CP_FLUX_LIMIT = (1 << 30) - 1 };

enum {
  CP_PLANT_OVER_RANGE = 1, /* a flux, an EMF, the link's voltage or its source's current was held
                              at its limit, or the link was empty: wrong from here on */
  CP_PLANT_SHOOT_THROUGH = 2
};

struct cp_plant {
  /* what every piece reads, in the order it does */
  int32_t i[3];         /* of U, V, W */
  int32_t link_i;       /* i_dc, with the gates as they are */
  int32_t source;       /* j */
  int32_t cap;          /* v_C in the middle of the last piece, 2^-10 */
  int32_t owed;         /* charge of that piece's second half and what was too little for cap,
                           doubled: current times ticks */
  int32_t bus_share[2]; /* of the bus in v_U - v_W, v_V - v_W: -1, 0, 1 */
  int32_t against[2];   /* EMF of U-W, V-W less what off_V gives */
  int32_t resistance_factor;
  uint32_t resistance_shift;
  int32_t flux[2];          /* P, Q */
  int32_t g_UU, g_VV, g_UV; /* 2^28, at the end of the step under way */
  int32_t bus;              /* v_bus over the last piece */
  int32_t high[3];          /* all ones: the leg's terminal hangs on the bus */
  const struct cp_plant_parameters* p;
  uint32_t off_legs, shorted_legs; /* bit k: leg k */
  int32_t off_V[3];                /* of the terminal, above what `high` gives */
  int32_t emf[2];                  /* of U-W, V-W */
  int32_t rail[3];                 /* of a leg that is off: -1 low diode, 1 high diode, 0 floats */
  uint32_t flags;
  uint32_t gates;
  int32_t source_V;
  int32_t flux_scale;
  /* the refresh, see rotor_field.h */
  uint32_t slice;
  uint32_t theta_e;       /* at the end of the next interval */
  int32_t magnet_flux[2]; /* applied so far, up to the interval's end */
  int32_t next_emf[2];
  int32_t cos_0, cos_1;
  int32_t slope_UU, slope_VV, slope_UV; /* of g, a step */
  int32_t next_slope[3];
  int32_t inverse_g[3]; /* 2^27 / g_kk */
  int32_t cap_before;   /* at the last look at the source */
};

/* All off, no current, link at the source's voltage, rotor at theta and turning by `moved` a step
 * (2^32 to a mechanical turn). Parameters must outlive the plant. */
void cp_plant_start(struct cp_plant*, const struct cp_plant_parameters*, uint32_t theta,
                    int32_t moved);
/* The six gates from now on: CP_UH | ... */
void cp_plant_gates(struct cp_plant*, uint32_t gates);
/* `ticks` on, 1 to step_ticks. */
void cp_plant_advance(struct cp_plant*, uint32_t ticks);
/* What pieces read of the legs, after high, off_V or emf have changed. */
void cp_plant_legs(struct cp_plant*);
/* Fluxes back to their limits, flagged. */
void cp_hold_fluxes(struct cp_plant*);

/* Inputs from Linux; they act from now on (flux from the next refresh). A source outside its range
 * is held to it; heat that does not fit the format is ignored. */
void cp_plant_supply(struct cp_plant*, int32_t source_V);
void cp_plant_heat(struct cp_plant*, struct cp_gain resistance, int32_t flux_scale);

static inline int32_t cp_times(struct cp_gain g, int32_t x) { return (x * g.factor) >> g.shift; }
/* Currents from the fluxes. */
static inline void cp_plant_currents(struct cp_plant* s) {
  /* Either flux beyond 2^30: its two highest bits differ. */
  const uint32_t P = (uint32_t)s->flux[0], Q = (uint32_t)s->flux[1];
  if (((P ^ (P << 1)) | (Q ^ (Q << 1))) >> 31) cp_hold_fluxes(s);
  const int32_t flux_U = (s->flux[0] + 0x4000) >> 15, flux_V = (s->flux[1] + 0x4000) >> 15;
  const int32_t g_UV = s->g_UV >> 14;
  const int32_t i_U = ((s->g_UU >> 14) * flux_U + g_UV * flux_V) >> 14;
  const int32_t i_V = (g_UV * flux_U + (s->g_VV >> 14) * flux_V) >> 14;
  const int32_t i_W = -(i_U + i_V);
  s->i[0] = i_U;
  s->i[1] = i_V;
  s->i[2] = i_W;
  s->link_i = (i_U & s->high[0]) + (i_V & s->high[1]) + (i_W & s->high[2]);
}

#ifdef __cplusplus
}
#endif

#endif
