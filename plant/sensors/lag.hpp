// First-order lag: dy/dt = (a - y) / tau, with its input linear over a step. Exact, so a sensor's
// bandwidth never shortens the plant's steps; with a slew limit, |dy/dt| <= slew, still exact.
// Source  textbook (first-order lag, ramp response). RT: safe. O(1), no state.
#pragma once

#include <bit>
#include <cmath>
#include <cstdint>

#include "plant/pair.hpp"

namespace stillrotor::plant {

/// exp(-x), x >= 0, to 2e-13: two to whole sixteenths times a series about zero.
[[gnu::always_inline]] inline double decayed(double x) noexcept {
  if (x > 40.0) return 0.0;
  // 2^(-k / 16)
  static constexpr double shares[16] = {1.0,
                                        0.9576032806985737,
                                        0.9170040432046712,
                                        0.8781260801866497,
                                        0.8408964152537145,
                                        0.8052451659746271,
                                        0.7711054127039704,
                                        0.7384130729697497,
                                        0.7071067811865476,
                                        0.6771277734684463,
                                        0.6484197773255048,
                                        0.620928906036742,
                                        0.5946035575013605,
                                        0.5693943173783458,
                                        0.5452538663326288,
                                        0.5221368912137069};
  constexpr double log2_e = 1.44269504088896340736, ln_2 = 0.69314718055994530942;
  const auto parts = static_cast<std::int64_t>(x * (16.0 * log2_e) + 0.5);
  const double r = static_cast<double>(parts) * (ln_2 / 16.0) - x;  // -0.022 to 0.022
  const double r2 = r * r;
  const double series =
      (1.0 + r) + r2 * ((1.0 / 2.0 + r * (1.0 / 6.0)) + r2 * (1.0 / 24.0 + r * (1.0 / 120.0)));
  const double halves = std::bit_cast<double>((1023 - (parts >> 4)) << 52);
  return series * (shares[parts & 15] * halves);
}

/// Mean of exp(-t) over t from 0 to x, x at most 0.2: the sum of (-x)^n / (n + 1)!, to 1e-15. Of
/// one, or of two together (Pair).
template <class Number>
[[gnu::always_inline]] inline Number mean_decay_of_short(Number x) noexcept {
  const Number x2 = x * x, x4 = x2 * x2;
  const Number low = (1.0 - x * 0.5) + x2 * (1.0 / 6.0 - x * (1.0 / 24.0));
  const Number middle =
      (1.0 / 120.0 - x * (1.0 / 720.0)) + x2 * (1.0 / 5040.0 - x * (1.0 / 40320.0));
  return low + x4 * (middle + x4 * (1.0 / 362880.0));
}

/// A step of one length for lags of one time constant.
struct LagStep {
  static constexpr double short_x = 0.2;
  double decay = 0.0, mean_decay = 0.0;  // exp(-x) at the step's end, and its mean over the step

  LagStep() = default;
  /// x: the step's length over the time constant; > 0.
  [[gnu::always_inline]] explicit LagStep(double x) noexcept {
    if (x > short_x) {
      decay = decayed(x);
      mean_decay = (1.0 - decay) / x;
    } else {
      mean_decay = mean_decay_of_short(x);
      decay = 1.0 - x * mean_decay;
    }
  }

  /// Output at the end; the input goes from a0 to a1. Of one, or of two together (Pair).
  template <class Number>
  Number operator()(Number y0, Number a0, Number a1) const noexcept {
    return a1 + (y0 - a0) * decay - (a1 - a0) * mean_decay;
  }
};

/// Steps of one length for the sensors of a drive.
struct SensorLags {
  LagStep phase_current, dc_link_current, bus_V, terminal_V;
};

/// The same of the latest length and of the latest short one: dead times are all of one length.
class SensorLagSteps {
 public:
  struct Rates {
    double phase_current, dc_link_current, bus_V, terminal_V;  // 1/s; 0: never asked for
  };
  explicit SensorLagSteps(const Rates& per_s) noexcept
      : per_s_(per_s),
        voltages_per_s_(pair(per_s.bus_V, per_s.terminal_V)),
        has_rest_(per_s.dc_link_current + per_s.bus_V + per_s.terminal_V > 0.0) {}

  /// Called, for whoever has enough to do as it is.
  [[gnu::noinline]] const SensorLags& operator()(double length_s) noexcept { return of(length_s); }
  /// Written out. PhaseOnly: where there is no rest.
  template <bool PhaseOnly = false>
  [[gnu::always_inline]] const SensorLags& of(double length_s) noexcept {
    constexpr double short_s = 2e-6;
    Known& one = length_s < short_s ? short_ : other_;
    if (length_s != one.length_s) {
      one.length_s = length_s;
      one.lags.phase_current = LagStep(length_s * per_s_.phase_current);
      if (!PhaseOnly && has_rest_) find_rest(one.lags, length_s);
    }
    return one.lags;
  }

 private:
  struct Known {
    double length_s = -1.0;
    SensorLags lags;
  };
  [[gnu::always_inline]] void find_rest(SensorLags& of, double length_s) const noexcept {
    if (per_s_.dc_link_current > 0.0)
      of.dc_link_current = LagStep(length_s * per_s_.dc_link_current);
    const Pair x = both(length_s) * voltages_per_s_;
    if (below_zero(both(LagStep::short_x) - x) != 0) {
      of.bus_V = LagStep(x[0]);
      of.terminal_V = LagStep(x[1]);
    } else if (below_zero(-x) != 0) {  // some voltage is filtered
      const Pair mean_decay = mean_decay_of_short(x), decay = 1.0 - x * mean_decay;
      of.bus_V.decay = decay[0];
      of.bus_V.mean_decay = mean_decay[0];
      of.terminal_V.decay = decay[1];
      of.terminal_V.mean_decay = mean_decay[1];
    }
  }

  Rates per_s_;
  Pair voltages_per_s_;
  bool has_rest_;
  Known short_, other_;
};

/// The same for any length with |dy/dt| <= slew (> 0, per second).
[[gnu::noinline]] inline double lagged_with_slew(double y0, double a0, double a1, double length_s,
                                                 double tau_s, double slew) noexcept {
  const double slope = (a1 - a0) / length_s;
  const double most = slew * tau_s;  // the largest distance a - y that the lag follows by itself
  double t = 0.0, y = y0;
  // At most three stretches: slewing, following, slewing behind an input that is too fast.
  for (int stretch = 0; stretch < 3 && t < length_s; ++stretch) {
    const double left = length_s - t, a = a0 + slope * t, behind = a - y;
    const double side = behind > 0.0 ? 1.0 : -1.0;
    if (std::abs(behind) > most * (1.0 + 1e-12)) {
      const double closing = side * slew - slope;
      const bool catches_up = side * closing > 0.0;  // else the input runs away from it
      const double until = catches_up ? (behind - side * most) / closing : left;
      const double dt = until < left ? until : left;
      y += side * slew * dt;
      t += dt;
      if (catches_up && dt == until) y = a0 + slope * t - side * most;
      continue;
    }
    double dt = left;
    if (std::abs(slope) > slew) {
      const double settled = slope * tau_s, edge = slope > 0.0 ? most : -most;
      const double until = tau_s * std::log((behind - settled) / (edge - settled));
      if (until < left) dt = until > 0.0 ? until : 0.0;
    }
    if (dt > 0.0) y = LagStep(dt / tau_s)(y, a, a + slope * dt);
    t += dt;
    if (dt < left) {  // the rest is slewed
      y += (slope > 0.0 ? slew : -slew) * (left - dt);
      t = length_s;
    }
  }
  return y;
}

}  // namespace stillrotor::plant
