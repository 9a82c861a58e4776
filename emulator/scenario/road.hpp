// A road as a vehicle meets it: grade, head wind and surface over the distance driven, which stand
// still or run straight to a new value. Units m, rise over run, m/s, shares of the load's own.
// Before the first point of a quantity its first value holds, behind the last its last; what no
// point names is left alone. RT: at() is safe: no allocation, lock, log or throw.
#pragma once

#include <algorithm>
#include <vector>

namespace stillrotor {

struct RoadPoint {
  double at_m = 0.0;
  double value = 0.0;
};

/// One quantity over the distance: straight between its points; two at one distance are a step.
struct RoadLine {
  std::vector<RoadPoint> points;

  bool any() const noexcept { return !points.empty(); }
  double at(double distance_m) const noexcept {
    const auto after =
        std::upper_bound(points.begin(), points.end(), distance_m,
                         [](double d, const RoadPoint& point) { return d < point.at_m; });
    if (after == points.begin()) return points.front().value;
    if (after == points.end()) return points.back().value;
    const RoadPoint &a = *(after - 1), &b = *after;
    return a.value + (b.value - a.value) * (distance_m - a.at_m) / (b.at_m - a.at_m);
  }
};

struct Road {
  RoadLine slope, wind_m_s, rolling, grip;
  bool any() const noexcept { return slope.any() || wind_m_s.any() || rolling.any() || grip.any(); }
};

}  // namespace stillrotor
