// Sine and cosine voltages of an angle sensor, with what such sensors get wrong.
//   u = periods (theta_m - zero);  w(u) = sin u + h_2 sin 2u + h_3 sin 3u
//   v_sin = offset + offset_error_sin + amplitude (1 + gain_error_sin) w(u)
//   v_cos = offset + offset_error_cos + amplitude (1 + gain_error_cos) w(u + 90 deg + phase_error)
// Both clipped to the limits. A growing angle has sine follow cosine by a quarter period.
// Source common practice. RT: safe. O(1), no state.
#pragma once

#include <cstdint>

namespace stillrotor::plant {

struct SinCosParameters {
  bool fitted = false;
  int periods_per_turn = 1;  // 1 to 4096, of the mechanical turn
  double zero_rad = 0.0;     // mechanical angle at which sine rises through its offset
  double amplitude_V = 0.5;  // peak
  double offset_V = 2.5;
  double offset_error_V[2] = {0.0, 0.0};               // sine, cosine
  double gain_error[2] = {0.0, 0.0};                   // -0.5 to 0.5
  double phase_error_rad = 0.0;                        // of the period; positive: cosine runs ahead
  double second_harmonic = 0.0, third_harmonic = 0.0;  // over the fundamental
  double noise_V = 0.0;                                // rms
  double low_limit_V = 0.0, high_limit_V = 5.0;
};

/// theta_m_rad: mechanical, best within one turn, so that no digits are lost. shift_rad: of the
/// period, by which a fault puts the channel ahead.
double sine_sense_V(const SinCosParameters&, double theta_m_rad, std::int64_t time_ps,
                    std::uint64_t seed, double shift_rad = 0.0) noexcept;
double cosine_sense_V(const SinCosParameters&, double theta_m_rad, std::int64_t time_ps,
                      std::uint64_t seed, double shift_rad = 0.0) noexcept;

}  // namespace stillrotor::plant
