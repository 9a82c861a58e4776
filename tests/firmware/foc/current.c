#include "current.h"

#include "board.h"
#include "trig.h"

#define BANDWIDTH_RAD_S (TWO_PI * CURRENT_LOOP_HZ)

static struct axes integral;
static float demand;

void current_reset(void) {
  integral.d = integral.q = 0.0f;
  demand = 0.0f;
}

struct axes current_step(struct axes wanted, struct axes measured, float omega, float limit) {
  const struct axes error = {wanted.d - measured.d, wanted.q - measured.q};
  const struct axes ask = {
      BANDWIDTH_RAD_S * INDUCTANCE_D_H * error.d + integral.d - omega * INDUCTANCE_Q_H * measured.q,
      BANDWIDTH_RAD_S * INDUCTANCE_Q_H * error.q + integral.q +
          omega * (INDUCTANCE_D_H * measured.d + FLUX_WB)};
  demand = square_root(ask.d * ask.d + ask.q * ask.q);
  const float step = BANDWIDTH_RAD_S * RESISTANCE_OHM * PERIOD_S;
  if (demand <= limit) {
    integral.d += step * error.d;
    integral.q += step * error.q;
    return ask;
  }
  const float share = limit / demand;
  const struct axes give = {share * ask.d, share * ask.q};
  // What was cut off is taken back from the integrators, as far as the gain says.
  integral.d += step * (error.d + (give.d - ask.d) / (BANDWIDTH_RAD_S * INDUCTANCE_D_H));
  integral.q += step * (error.q + (give.q - ask.q) / (BANDWIDTH_RAD_S * INDUCTANCE_Q_H));
  return give;
}

float current_demand_V(void) { return demand; }

struct axes most_torque(float length) {
  const float twice = 2.0f * (INDUCTANCE_Q_H - INDUCTANCE_D_H);
  const float a = FLUX_WB / (2.0f * twice);
  const float d = a - square_root(a * a + 0.5f * length * length);
  const float q = square_root(length * length - d * d);
  const struct axes best = {d, length < 0.0f ? -q : q};
  return best;
}

void duties_for(float alpha, float beta, float bus, float duty[3]) {
  const float u = alpha, v = -0.5f * alpha + 0.8660254f * beta,
              w = -0.5f * alpha - 0.8660254f * beta;
  const float most = u > v ? (u > w ? u : w) : (v > w ? v : w);
  const float least = u < v ? (u < w ? u : w) : (v < w ? v : w);
  const float middle = 0.5f * (most + least);
  duty[0] = 0.5f + (u - middle) / bus;
  duty[1] = 0.5f + (v - middle) / bus;
  duty[2] = 0.5f + (w - middle) / bus;
}
