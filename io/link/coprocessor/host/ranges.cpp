#include "io/link/coprocessor/host/ranges.hpp"

#include <cmath>
#include <cstdio>
#include <stdexcept>

namespace stillrotor::io::coprocessor {

double within(const char* what, double value, double low, double high, const char* unit,
              const char* remedy) {
  if (value >= low && value <= high) return value;
  char text[300];
  std::snprintf(text, sizeof text, "%s is %.6g%s%s; allowed %.6g to %.6g%s%s. %s", what, value,
                *unit ? " " : "", unit, low, high, *unit ? " " : "", unit, remedy);
  throw std::invalid_argument(text);
}

cp_gain gain(const char* what, double value, std::int32_t most, const char* remedy) {
  within(what, std::fabs(value), 0.0, most, "integer units", remedy);
  if (std::fabs(value) < 0x1p-31) return {0, 0};
  std::uint32_t shift = 0;
  while (shift < 31 &&
         std::fabs(std::nearbyint(std::ldexp(value, static_cast<int>(shift) + 1))) <= most)
    ++shift;
  return {static_cast<std::int32_t>(std::nearbyint(std::ldexp(value, static_cast<int>(shift)))),
          shift};
}

}  // namespace stillrotor::io::coprocessor
