// Two doubles that go through the arithmetic together: (d, q) or (alpha, beta). A compiler vector,
// so that they share a register; every operation is the scalar one, rounded the same.
// RT: safe.
#pragma once

#include <cstring>

namespace stillrotor::plant {

using Pair = double __attribute__((vector_size(16)));

inline Pair pair(double first, double second) noexcept { return Pair{first, second}; }
inline Pair both(double x) noexcept { return Pair{x, x}; }
/// Of two that lie as a Pair would, alignas(Pair).
inline Pair loaded(const double* two) noexcept {
  Pair x;
  std::memcpy(&x, __builtin_assume_aligned(two, alignof(Pair)), sizeof x);
  return x;
}
inline void store(Pair x, double* two) noexcept {
  std::memcpy(__builtin_assume_aligned(two, alignof(Pair)), &x, sizeof x);
}
/// Each the smaller or greater of the two; where one is no number, of b.
inline Pair lesser(Pair a, Pair b) noexcept {
#ifdef __SSE2__
  return __builtin_ia32_minpd(a, b);
#else
  return a < b ? a : b;
#endif
}
inline Pair greater(Pair a, Pair b) noexcept {
#ifdef __SSE2__
  return __builtin_ia32_maxpd(a, b);
#else
  return a > b ? a : b;
#endif
}
/// Bit k: element k is below zero.
inline unsigned below_zero(Pair x) noexcept {
#ifdef __SSE2__
  return static_cast<unsigned>(__builtin_ia32_movmskpd(__builtin_ia32_cmpltpd(x, both(0.0))));
#else
  return (x[0] < 0.0 ? 1U : 0U) | (x[1] < 0.0 ? 2U : 0U);
#endif
}
inline Pair swapped(Pair x) noexcept { return Pair{x[1], x[0]}; }
inline double dot(Pair a, Pair b) noexcept {
  const Pair product = a * b;
  return product[0] + product[1];
}
inline double cross(Pair a, Pair b) noexcept {
  const Pair product = a * swapped(b);
  return product[0] - product[1];
}

inline double sum(Pair x) noexcept { return x[0] + x[1]; }

/// A quarter turn on.
inline Pair quarter(Pair x) noexcept { return pair(-x[1], x[0]); }
inline Pair conjugate(Pair x) noexcept { return x * Pair{1.0, -1.0}; }

}  // namespace stillrotor::plant
