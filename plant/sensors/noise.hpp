// Random numbers that depend on what they are for and not on who asked before: a hash of seed,
// signal and index. A run that is cut differently in time meets the same noise.
// Source  mixing: the finalizer of splitmix64 (Steele, Lea, Flood, Fast splittable pseudorandom
//         number generators, OOPSLA 2014; from memory). Normal deviates: Box and Muller, textbook.
// RT: safe. O(1), no state.
#pragma once

#include <bit>
#include <cmath>
#include <cstddef>
#include <cstdint>

#include "plant/frames.hpp"

namespace stillrotor::plant {

/// What a random number is for; two sensors never share one.
enum class NoiseOf : std::uint64_t {
  hall_U,
  hall_V,
  hall_W,
  phase_current_U,
  phase_current_V,
  phase_current_W,
  dc_link_current,
  absolute_angle,
  angle_sin,
  angle_cos,
  line_fault,  // of the wires to the controller: the line or channel is mixed into the seed
  channel_fault,
  encoder_dirt,  // by line of the disc
  angle_bits     // of a frame
};

constexpr NoiseOf noise_of_phase(std::size_t leg) noexcept {
  return static_cast<NoiseOf>(static_cast<std::size_t>(NoiseOf::phase_current_U) + leg);
}

constexpr std::uint64_t mixed(std::uint64_t x) noexcept {
  x += 0x9E3779B97F4A7C15U;
  x = (x ^ (x >> 30)) * 0xBF58476D1CE4E5B9U;
  x = (x ^ (x >> 27)) * 0x94D049BB133111EBU;
  return x ^ (x >> 31);
}

constexpr std::uint64_t noise_bits(std::uint64_t seed, NoiseOf what, std::int64_t index) noexcept {
  return mixed(mixed(mixed(seed) ^ static_cast<std::uint64_t>(what)) ^
               static_cast<std::uint64_t>(index));
}

/// Above 0, up to 1: of the upper 53 bits.
constexpr double unit_share(std::uint64_t bits) noexcept {
  return (static_cast<double>(bits >> 11) + 1.0) * 0x1p-53;
}

/// Evenly spread over -1 to 1.
constexpr double even_noise(std::uint64_t seed, NoiseOf what, std::int64_t index) noexcept {
  return 2.0 * unit_share(noise_bits(seed, what, index)) - 1.0;
}

// Logarithm and cosine by basic operations only: a library's differ between processors in their
// last bits, and so would a run's noise.
/// ln x of a normal x > 0, to 2e-12 of 1: twice the area tangent's series.
constexpr double log_of_share(double x) noexcept {
  constexpr std::uint64_t root_half = 0x3FE6A09E667F3BCDU;
  const auto bits = std::bit_cast<std::uint64_t>(x);
  const std::int64_t halves = static_cast<std::int64_t>(bits - root_half) >> 52;
  // root_half to 2 root_half
  const auto m = std::bit_cast<double>(bits - (static_cast<std::uint64_t>(halves) << 52));
  const double t = (m - 1.0) / (m + 1.0), t2 = t * t;  // t: -0.172 to 0.172
  const double series =
      1.0 +
      t2 * (1.0 / 3.0 +
            t2 * (1.0 / 5.0 +
                  t2 * (1.0 / 7.0 + t2 * (1.0 / 9.0 + t2 * (1.0 / 11.0 + t2 * (1.0 / 13.0))))));
  return static_cast<double>(halves) * 0.69314718055994530942 + 2.0 * t * series;
}
/// Cosine of a share of a turn, 0 to 1, to 1e-13: the sine's series up to a quarter.
constexpr double cosine_of_turns(double share) noexcept {
  const double half = share - 0.5;
  const double x = two_pi * ((half < 0.0 ? -half : half) - 0.25), x2 = x * x;
  const double high =
      1.0 / 362880.0 -
      x2 * (1.0 / 39916800.0 - x2 * (1.0 / 6227020800.0 - x2 * (1.0 / 1307674368000.0 -
                                                                x2 * (1.0 / 355687428096000.0))));
  return x * (1.0 - x2 * (1.0 / 6.0 - x2 * (1.0 / 120.0 - x2 * (1.0 / 5040.0 - x2 * high))));
}

/// Normal, mean 0, deviation 1.
inline double normal_noise(std::uint64_t seed, NoiseOf what, std::int64_t index) noexcept {
  const std::uint64_t first = noise_bits(seed, what, index);
  return std::sqrt(-2.0 * log_of_share(unit_share(first))) *
         cosine_of_turns(unit_share(mixed(first)));
}

/// Noise of what is read at a moment: reads within the same 100 ns see the same value, so the
/// noise is white up to 5 MHz.
inline double noise_at(std::uint64_t seed, NoiseOf what, std::int64_t time_ps) noexcept {
  constexpr std::int64_t grain_ps = 100'000;
  return normal_noise(seed, what, time_ps / grain_ps);
}

}  // namespace stillrotor::plant
