// What the fast steps with currents as states gather from their stages.
// Source textbook (Heun's third order, classical fourth order), from memory; their order is tested.
// RT     plain data.
#pragma once

#include "plant/pair.hpp"

namespace stillrotor::plant {

/// Rates of currents, capacitor voltage and speed, and what flows into the legs; or, times a time,
/// what these gain.
struct StageRates {
  Pair i;
  double v, w, legs_A;
};

inline StageRates gained_by_third_order(const StageRates& k1, const StageRates& k3,
                                        double h) noexcept {
  const double a = 0.25 * h, b = 0.75 * h;
  return {both(a) * k1.i + both(b) * k3.i, a * k1.v + b * k3.v, a * k1.w + b * k3.w,
          a * k1.legs_A + b * k3.legs_A};
}

inline StageRates gained_by_fourth_order(const StageRates& k1, const StageRates& k2,
                                         const StageRates& k3, const StageRates& k4,
                                         double h) noexcept {
  const double sixth = h / 6.0;
  return {both(sixth) * (k1.i + both(2.0) * (k2.i + k3.i) + k4.i),
          sixth * (k1.v + 2.0 * (k2.v + k3.v) + k4.v), sixth * (k1.w + 2.0 * (k2.w + k3.w) + k4.w),
          sixth * (k1.legs_A + 2.0 * (k2.legs_A + k3.legs_A) + k4.legs_A)};
}

}  // namespace stillrotor::plant
