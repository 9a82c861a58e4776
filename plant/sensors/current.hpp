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
    if (half_play_A_ > 0.0) return step_behind_play(seen, slew_A_per_s_[k], a0_A, a1_A, length_s);
    follow(seen, slew_A_per_s_[k], bent(a0_A), bent(a1_A), length_s, lag);
  }

  /// The same of one sensor, or of two together (Pair), where bends_at_most().
  template <class Number>
  [[gnu::always_inline]] void step_bent(Number& output_A, Number a0_A, Number a1_A,
                                        const LagStep& lag) const noexcept {
    output_A = lag(output_A, bent(a0_A), bent(a1_A));
  }
  /// Compression and a lag, and nothing else.
  bool bends_at_most() const noexcept { return slew_A_per_s_[0] <= 0.0 && half_play_A_ <= 0.0; }

 private:
  /// Output at the end of a stretch whose input at the lag goes from b0 to b1.
  [[gnu::always_inline]] void follow(SeenCurrent& seen, double slew, double b0_A, double b1_A,
                                     double length_s, const LagStep& lag) const noexcept {
    // The limit is far most of the time: neither what is behind nor how the input moves asks for
    // it.
    const bool limited = slew > 0.0 && (std::abs(b0_A - seen.output_A) * rate_per_s_ > slew ||
                                        std::abs(b1_A - b0_A) > slew * length_s);
    seen.output_A =
        limited ? lagged_with_slew(seen.output_A, b0_A, b1_A, length_s, 1.0 / rate_per_s_, slew)
                : lag(seen.output_A, b0_A, b1_A);
  }
  /// What is behind the play stands until that is taken up, and goes with the current from there.
  [[gnu::noinline]] void step_behind_play(SeenCurrent& seen, double slew, double a0_A, double a1_A,
                                          double length_s) const noexcept {
    constexpr double next_to_none = 1e-9;               // of the step
    const double from_A = played(seen.played_A, a0_A);  // what jumped at the step's begin moved it
    seen.played_A = played(from_A, a1_A);
    const double moved_A = seen.played_A - from_A;
    const double moves = moved_A == 0.0 ? 0.0 : std::min(moved_A / (a1_A - a0_A), 1.0);
    const double b0_A = bent(from_A), b1_A = bent(seen.played_A);
    const auto stretch = [&](double to_A, double share) {
      if (share < next_to_none) return;
      const double span_s = share * length_s;
      follow(seen, slew, b0_A, to_A, span_s, LagStep(span_s * rate_per_s_));
    };
    stretch(b0_A, 1.0 - moves);
    stretch(b1_A, moves);
  }
  template <class Number>
  Number bent(Number a_A) const noexcept {
    return a_A - bend_per_A2_ * a_A * a_A * a_A;
  }
  /// Where the play leaves what stood at `before`.
  double played(double before_A, double now_A) const noexcept {
    return std::clamp(before_A, now_A - half_play_A_, now_A + half_play_A_);
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
