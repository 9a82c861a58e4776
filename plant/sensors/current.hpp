// Current sensors: from amperes to volts.
//   what the sensor is in    low-side shunt: -i_phase while the low switch or its diode carries the
//                            phase current, else 0; in line: i_phase; DC link: i_dc of the bridge
//   hysteresis (magnetic)    play: follows the current half the width behind, both ways
//   compression              a (1 - compression (a / full_scale)^2)
//   bandwidth, slew          first-order lag; its output changes no faster than `slew`
//   volts                    offset + drift t + polarity gain a + noise, clipped to the limits
// The element k of an array is leg k; the DC link's sensor uses element 0 of each.
// Source common practice. RT: safe. O(1).
#pragma once

#include <algorithm>
#include <cstddef>
#include <cstdint>

#include "plant/frames.hpp"
#include "plant/pair.hpp"
#include "plant/sensors/lag.hpp"
#include "plant/sensors/noise.hpp"

namespace stillrotor::plant {

enum class CurrentSensing : unsigned char { none, low_side_shunt, in_line, dc_link };

struct CurrentSensorParameters {
  CurrentSensing kind = CurrentSensing::none;
  double gain_V_per_A[3] = {0.02, 0.02, 0.02};  // shunt times amplifier gain, or sensor's own
  double offset_V[3] = {2.5, 2.5, 2.5};
  /// +1 or -1; -1 makes a low-side shunt read positive for positive phase current (inverting).
  double polarity = 1.0;
  double bandwidth_Hz = 200e3;                   // > 0; first order
  double low_limit_V = 0.0, high_limit_V = 5.0;  // saturation of the amplifier
  bool fitted[3] = {true, true, true};           // which legs have one
  double slew_V_per_s = 0.0;                     // 0: not limited
  double offset_drift_V_per_s = 0.0;             // since the start
  double compression = 0.0;                      // share lost at full scale, 0 to 0.3
  double full_scale_A = 100.0;                   // > 0
  double hysteresis_A = 0.0;                     // full width
  double noise_V = 0.0;                          // rms
};

/// One sensor's memory.
struct SeenCurrent {
  double played_A = 0.0;  // behind the hysteresis
  double output_A = 0.0;  // behind the bandwidth
};

/// What it takes to follow a sensor through time; fixed at set-up.
class CurrentPath {
 public:
  CurrentPath() = default;
  explicit CurrentPath(const CurrentSensorParameters& par) noexcept
      : rate_per_s_(two_pi * par.bandwidth_Hz),
        half_play_A_(0.5 * par.hysteresis_A),
        bend_per_A2_(par.compression / (par.full_scale_A * par.full_scale_A)),
        plain_(par.slew_V_per_s <= 0.0 && par.hysteresis_A <= 0.0 && par.compression <= 0.0) {
    for (std::size_t k = 0; k < 3; ++k) slew_A_per_s_[k] = par.slew_V_per_s / par.gain_V_per_A[k];
  }

  /// A lag and nothing else.
  bool plain() const noexcept { return plain_; }
  double rate_per_s() const noexcept { return rate_per_s_; }

  /// A step in which the current at the sensor goes from a0 to a1.
  [[gnu::always_inline]] void step(SeenCurrent& seen, std::size_t k, double a0_A, double a1_A,
                                   double length_s, const LagStep& lag) const noexcept {
    if (plain_) {
      seen.output_A = lag(seen.output_A, a0_A, a1_A);
      return;
    }
    const double slew = slew_A_per_s_[k];
    if (slew <= 0.0)
      step_unlimited(seen.played_A, seen.output_A, a0_A, a1_A, length_s, lag);
    else if (half_play_A_ > 0.0)
      step_behind_play(seen, slew, a0_A, a1_A, length_s, lag);
    else
      follow(seen, slew, bent(a0_A), bent(a1_A), length_s, lag);
  }

  /// The same of one sensor, or of two together (Pair), where no slew is limited.
  template <class Number>
  [[gnu::always_inline]] void step_unlimited(Number& played_A, Number& output_A, Number a0_A,
                                             Number a1_A, double length_s,
                                             const LagStep& lag) const noexcept {
    if (half_play_A_ <= 0.0) {
      output_A = lag(output_A, bent(a0_A), bent(a1_A));
      return;
    }
    const Number from_A = played(played_A, a0_A);  // what jumped at the step's begin moved it
    const Number to_A = played(from_A, a1_A);
    // The answer to what stood all along, and to a ramp that may begin on the way.
    const Number of_ramp = mean_decay(to_A - from_A, a1_A - a0_A, length_s, lag);
    const Number b0_A = bent(from_A), b1_A = bent(to_A);
    output_A = b1_A + (output_A - b0_A) * lag.decay - (b1_A - b0_A) * of_ramp;
    played_A = to_A;
  }
  bool limits_slew() const noexcept { return slew_A_per_s_[0] > 0.0; }

 private:
  /// Under a limit: a stretch whose input at the lag goes from b0 to b1.
  [[gnu::always_inline]] void follow(SeenCurrent& seen, double slew, double b0_A, double b1_A,
                                     double length_s, const LagStep& lag) const noexcept {
    // The limit is far most of the time: neither what is behind nor how the input moves asks for
    // it.
    const bool limited = std::abs(b0_A - seen.output_A) * rate_per_s_ > slew ||
                         std::abs(b1_A - b0_A) > slew * length_s;
    seen.output_A =
        limited ? lagged_with_slew(seen.output_A, b0_A, b1_A, length_s, 1.0 / rate_per_s_, slew)
                : lag(seen.output_A, b0_A, b1_A);
  }
  /// The same behind a play and under a limit.
  [[gnu::noinline]] void step_behind_play(SeenCurrent& seen, double slew, double a0_A, double a1_A,
                                          double length_s, const LagStep& lag) const noexcept {
    const double from_A = played(seen.played_A, a0_A), to_A = played(from_A, a1_A);
    const double moved_A = to_A - from_A, travel_A = a1_A - a0_A;
    const double b0_A = bent(from_A), b1_A = bent(to_A);
    seen.played_A = to_A;
    if (!is_taken_up(moved_A, travel_A)) return follow(seen, slew, b0_A, b1_A, length_s, lag);
    const double moves_s = moved_A / travel_A * length_s, stands_s = length_s - moves_s;
    follow(seen, slew, b0_A, b0_A, stands_s, LagStep(stands_s * rate_per_s_));
    follow(seen, slew, b0_A, b1_A, moves_s, LagStep(moves_s * rate_per_s_));
  }
  /// What is behind the play stands until that is taken up, and goes with the current from there:
  /// within the step, and neither at its begin nor not at all.
  static bool is_taken_up(double moved_A, double travel_A) noexcept {
    constexpr double next_to_none = 1e-9;  // of a step: rounding of what rests is no motion
    const double part = moved_A * travel_A, whole = travel_A * travel_A;
    return part > next_to_none * whole && part < (1.0 - next_to_none) * whole;
  }
  /// Of the ramp behind the play, over what is left of the step.
  [[gnu::always_inline]] double mean_decay(double moved_A, double travel_A, double length_s,
                                           const LagStep& lag) const noexcept {
    return is_taken_up(moved_A, travel_A)
               ? mean_decay_over(moved_A / travel_A * length_s * rate_per_s_)
               : lag.mean_decay;
  }
  [[gnu::always_inline]] Pair mean_decay(Pair moved_A, Pair travel_A, double length_s,
                                         const LagStep& lag) const noexcept {
    return pair(mean_decay(moved_A[0], travel_A[0], length_s, lag),
                mean_decay(moved_A[1], travel_A[1], length_s, lag));
  }
  [[gnu::noinline]] static double mean_decay_over(double x) noexcept {
    return LagStep(x).mean_decay;
  }
  template <class Number>
  Number bent(Number a_A) const noexcept {
    return a_A - bend_per_A2_ * a_A * a_A * a_A;
  }
  /// Where the play leaves what stood at `before`.
  double played(double before_A, double now_A) const noexcept {
    return std::clamp(before_A, now_A - half_play_A_, now_A + half_play_A_);
  }
  Pair played(Pair before_A, Pair now_A) const noexcept {
    return greater(lesser(before_A, now_A + half_play_A_), now_A - half_play_A_);
  }

  double rate_per_s_ = 1.0, half_play_A_ = 0.0, bend_per_A2_ = 0.0;
  double slew_A_per_s_[3] = {0.0, 0.0, 0.0};
  bool plain_ = true;
};

/// At the connector.
inline double current_sense_V(const CurrentSensorParameters& par, std::size_t k, double output_A,
                              std::int64_t time_ps, std::uint64_t seed, NoiseOf which) noexcept {
  double v = par.offset_V[k] + par.polarity * par.gain_V_per_A[k] * output_A;
  if (par.offset_drift_V_per_s != 0.0)
    v += par.offset_drift_V_per_s * 1e-12 * static_cast<double>(time_ps);
  if (par.noise_V > 0.0) v += par.noise_V * noise_at(seed, which, time_ps);
  return std::clamp(v, par.low_limit_V, par.high_limit_V);
}

}  // namespace stillrotor::plant
