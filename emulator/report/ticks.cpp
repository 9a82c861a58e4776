#include "emulator/report/ticks.hpp"

#include <cmath>

namespace stillrotor {

std::vector<double> ticks(double low, double high, int about) {
  std::vector<double> out;
  if (!(high > low) || !std::isfinite(high - low)) return out;
  const double raw = (high - low) / about, power = std::pow(10.0, std::floor(std::log10(raw)));
  const double lead = raw / power;
  const double step = power * (lead < 1.5 ? 1.0 : lead < 3.5 ? 2.0 : lead < 7.5 ? 5.0 : 10.0);
  const double slack = 1e-9 * step;
  for (double n = std::ceil((low - slack) / step); n * step <= high + slack; n += 1.0)
    out.push_back(n == 0.0 ? 0.0 : n * step);
  return out;
}

}  // namespace stillrotor
