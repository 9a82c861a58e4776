// Two doubles that go through the arithmetic together: (d, q) or (alpha, beta). A compiler vector,
// so that they share a register; every operation is the scalar one, rounded the same.
// RT: safe.
#pragma once

namespace stillrotor::plant {

using Pair = double __attribute__((vector_size(16)));

inline Pair pair(double first, double second) noexcept { return Pair{first, second}; }
inline Pair both(double x) noexcept { return Pair{x, x}; }
inline Pair swapped(Pair x) noexcept { return Pair{x[1], x[0]}; }
inline double dot(Pair a, Pair b) noexcept {
  const Pair product = a * b;
  return product[0] + product[1];
}
inline double cross(Pair a, Pair b) noexcept {
  const Pair product = a * swapped(b);
  return product[0] - product[1];
}

}  // namespace stillrotor::plant
