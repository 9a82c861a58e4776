// A curve given by points, straight between them.
// RT: safe. O(points).
#pragma once

#include <vector>

namespace stillrotor::plant {

struct CurvePoint {
  double x = 0.0, y = 0.0;
};

/// Linear between points, constant beyond the ends; x rises. One point or more.
inline double on_curve(const std::vector<CurvePoint>& curve, double x) noexcept {
  if (x <= curve.front().x) return curve.front().y;
  for (std::size_t k = 1; k < curve.size(); ++k) {
    const CurvePoint &a = curve[k - 1], &b = curve[k];
    if (x < b.x) return a.y + (x - a.x) * (b.y - a.y) / (b.x - a.x);
  }
  return curve.back().y;
}

}  // namespace stillrotor::plant
