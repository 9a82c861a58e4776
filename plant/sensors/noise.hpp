// Random numbers that depend on what they are for and not on who asked before: a hash of seed,
// signal and index. A run that is cut differently in time meets the same noise.
// Source  mixing: the finalizer of splitmix64 (Steele, Lea, Flood, Fast splittable pseudorandom
//         number generators, OOPSLA 2014; from memory). Normal deviates: Box and Muller, textbook.
// RT: safe. O(1), no state.
#pragma once

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

/// Normal, mean 0, deviation 1.
inline double normal_noise(std::uint64_t seed, NoiseOf what, std::int64_t index) noexcept {
  const std::uint64_t first = noise_bits(seed, what, index);
  return std::sqrt(-2.0 * std::log(unit_share(first))) *
         std::cos(two_pi * unit_share(mixed(first)));
}

/// Noise of what is read at a moment: reads within the same 100 ns see the same value, so the
/// noise is white up to 5 MHz.
inline double noise_at(std::uint64_t seed, NoiseOf what, std::int64_t time_ps) noexcept {
  constexpr std::int64_t grain_ps = 100'000;
  return normal_noise(seed, what, time_ps / grain_ps);
}

}  // namespace stillrotor::plant
