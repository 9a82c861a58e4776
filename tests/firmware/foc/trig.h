// Angles in single precision, the same on every processor.
#pragma once

#define PI 3.14159265f
#define TWO_PI 6.28318531f

/// Into -pi to pi, from within a few turns.
static inline float wrapped(float rad) {
  while (rad > PI) rad -= TWO_PI;
  while (rad < -PI) rad += TWO_PI;
  return rad;
}

/// rad within -pi to pi; error below 2e-6.
static inline void sin_cos(float rad, float* s, float* c) {
  // Into -pi/2 to pi/2, where the series ends soon.
  float sign = 1.0f;
  if (rad > 0.5f * PI) {
    rad -= PI;
    sign = -1.0f;
  } else if (rad < -0.5f * PI) {
    rad += PI;
    sign = -1.0f;
  }
  const float x = rad * rad;
  *s = sign * rad *
       (1.0f +
        x * (-1.6666667e-1f +
             x * (8.3333333e-3f + x * (-1.9841270e-4f + x * (2.7557319e-6f - x * 2.5052108e-8f)))));
  *c = sign *
       (1.0f +
        x * (-0.5f + x * (4.1666667e-2f +
                          x * (-1.3888889e-3f +
                               x * (2.4801587e-5f + x * (-2.7557319e-7f + x * 2.0876757e-9f))))));
}

static inline float clamped(float x, float least, float most) {
  return x < least ? least : x > most ? most : x;
}
static inline float magnitude(float x) { return x < 0.0f ? -x : x; }

/// 0 below 0. One instruction with -fno-math-errno, rounded alike everywhere (IEEE 754).
static inline float square_root(float x) { return x > 0.0f ? __builtin_sqrtf(x) : 0.0f; }
