#include "plant/machine/magnetising_curve.hpp"

#include <algorithm>
#include <cmath>
#include <stdexcept>
#include <string>

namespace stillrotor::plant {
namespace {

constexpr std::size_t even_pieces = 512;

/// Second derivatives of the cubic spline through (x, y) that has none at either end.
std::vector<double> second_derivatives(const std::vector<double>& x, const std::vector<double>& y) {
  const std::size_t n = x.size();
  std::vector<double> m(n, 0.0), share(n, 0.0);
  for (std::size_t k = 1; k + 1 < n; ++k) {
    const double before = x[k] - x[k - 1], after = x[k + 1] - x[k];
    const double right =
        6.0 * ((y[k + 1] - y[k]) / after - (y[k] - y[k - 1]) / before) - before * m[k - 1];
    const double pivot = 2.0 * (before + after) - before * share[k - 1];
    share[k] = after / pivot;
    m[k] = right / pivot;
  }
  for (std::size_t k = n - 1; k-- > 1;) m[k] -= share[k] * m[k + 1];
  return m;
}

struct Cubic {
  double a, b, c, d;
  double value(double u) const { return a + u * (b + u * (c + u * d)); }
  double slope(double u) const { return b + u * (2.0 * c + u * 3.0 * d); }
};

Cubic cubic(double width, double y0, double y1, double m0, double m1) {
  return {y0, (y1 - y0) / width - width * (2.0 * m0 + m1) / 6.0, 0.5 * m0,
          (m1 - m0) / (6.0 * width)};
}

/// Slopes at (x, y), rising, odd about the first point: of the parabola through each and its
/// neighbours, at most three times the lesser secant beside it, so that the cubics between them
/// keep rising. Source: F. N. Fritsch, R. E. Carlson, "Monotone piecewise cubic interpolation",
/// 1980, from memory.
std::vector<double> rising_slopes(const std::vector<double>& x, const std::vector<double>& y) {
  const std::size_t last = x.size() - 1;
  const auto secant = [&](std::size_t k) { return (y[k + 1] - y[k]) / (x[k + 1] - x[k]); };
  std::vector<double> slope(x.size());
  slope[0] = secant(0);
  for (std::size_t k = 1; k < last; ++k) {
    const double before = x[k] - x[k - 1], after = x[k + 1] - x[k];
    const double parabola = (after * secant(k - 1) + before * secant(k)) / (before + after);
    slope[k] = std::min(parabola, 3.0 * std::min(secant(k - 1), secant(k)));
  }
  const double before = x[last] - x[last - 1], further = x[last] - x[last - 2];
  const double parabola =
      secant(last - 1) + (secant(last - 1) - secant(last - 2)) * before / further;
  slope[last] = std::clamp(parabola, 0.1 * secant(last - 1), 3.0 * secant(last - 1));
  return slope;
}

/// Least slope between 0 and the width: at an end, or where the slope itself turns.
double least_slope(const Cubic& p, double width) {
  double least = std::min(p.slope(0.0), p.slope(width));
  if (p.d != 0.0) {
    const double turn = -p.c / (3.0 * p.d);
    if (turn > 0.0 && turn < width) least = std::min(least, p.slope(turn));
  }
  return least;
}

Cubic between(double width, double y0, double y1, double slope_0, double slope_1) {
  const double secant = (y1 - y0) / width;
  return {y0, slope_0, (3.0 * secant - 2.0 * slope_0 - slope_1) / width,
          (slope_0 + slope_1 - 2.0 * secant) / (width * width)};
}

[[noreturn]] void refuse(std::size_t entry, const MagnetisingPoint& p, const std::string& allowed) {
  throw std::invalid_argument("machine.magnetising_curve: entry " + std::to_string(entry) + " is " +
                              std::to_string(p.current_A) + " A, " +
                              std::to_string(p.flux_linkage_Wb) + " Wb; allowed " + allowed);
}

}  // namespace

MagnetisingCurve::MagnetisingCurve(double magnetising_inductance_H, double rotor_leakage_H) noexcept
    : slope_0_(1.0 / (magnetising_inductance_H + rotor_leakage_H)), slope_max_(slope_0_) {}

MagnetisingCurve::MagnetisingCurve(const std::vector<MagnetisingPoint>& points,
                                   double rotor_leakage_H) {
  std::vector<double> flux{0.0}, current{0.0};
  for (std::size_t k = 0; k < points.size(); ++k) {
    const MagnetisingPoint& p = points[k];
    if (!(p.current_A > current.back() && p.flux_linkage_Wb > flux.back() &&
          std::isfinite(p.current_A) && std::isfinite(p.flux_linkage_Wb)))
      refuse(k + 1, p, "current and flux above those of the entry before it (the first: above 0).");
    current.push_back(p.current_A);
    flux.push_back(p.flux_linkage_Wb);
  }
  if (points.size() < 2)
    throw std::invalid_argument("machine.magnetising_curve has " + std::to_string(points.size()) +
                                " entries; allowed 2 or more. For a straight line give "
                                "magnetising_inductance.");
  const std::vector<double> slope = rising_slopes(flux, current);
  std::vector<Cubic> through;
  for (std::size_t k = 0; k + 1 < flux.size(); ++k)
    through.push_back(
        between(flux[k + 1] - flux[k], current[k], current[k + 1], slope[k], slope[k + 1]));

  // h on even knots of g: the flux at which flux + L_lr current(flux) is g.
  const auto g_of = [&](std::size_t k, double u) {
    return flux[k] + u + rotor_leakage_H * through[k].value(u);
  };
  end_Wb_ = flux.back() + rotor_leakage_H * current.back();
  knot_Wb_ = end_Wb_ / static_cast<double>(even_pieces);
  knots_per_Wb_ = 1.0 / knot_Wb_;
  std::vector<double> g(even_pieces + 1), h(even_pieces + 1);
  std::size_t piece = 0;
  for (std::size_t n = 0; n <= even_pieces; ++n) {
    g[n] = static_cast<double>(n) * knot_Wb_;
    while (piece + 1 < through.size() && g_of(piece, flux[piece + 1] - flux[piece]) < g[n]) ++piece;
    double low = 0.0, high = flux[piece + 1] - flux[piece];
    for (int halvings = 0; halvings < 60; ++halvings) {
      const double middle = 0.5 * (low + high);
      (g_of(piece, middle) < g[n] ? low : high) = middle;
    }
    h[n] = n == 0 ? 0.0 : through[piece].value(0.5 * (low + high));
  }
  const std::vector<double> m = second_derivatives(g, h);
  double integral = 0.0;
  for (std::size_t n = 0; n < even_pieces; ++n) {
    const double w = knot_Wb_;
    const Cubic p = cubic(w, h[n], h[n + 1], m[n], m[n + 1]);
    pieces_.push_back({p.a, p.b, p.c, p.d, integral});
    integral += w * (p.a + w * (p.b / 2.0 + w * (p.c / 3.0 + w * p.d / 4.0)));
    slope_max_ = std::max({slope_max_, p.slope(0.0), p.slope(w)});
    const double least = least_slope(p, w);
    if (least > 0.0 && slope_max_ * rotor_leakage_H < 1.0) continue;
    std::size_t entry = 1;
    while (entry < points.size() && flux[entry] + rotor_leakage_H * current[entry] < g[n]) ++entry;
    refuse(
        entry, points[entry - 1],
        "a bend that a smooth curve can follow; here the flux stops rising from one five-hundredth "
        "of it to the next. Give more points around it.");
  }
  const Piece& last = pieces_.back();
  beyond_ = {h.back(), Cubic{last.a, last.b, last.c, last.d}.slope(knot_Wb_), 0.0, 0.0, integral};
  slope_0_ = pieces_.front().b;
}

MagnetisingCurve::Value MagnetisingCurve::at(double g) const noexcept {
  if (pieces_.empty()) return {slope_0_ * g, slope_0_, 0.5 * slope_0_ * g * g};
  const bool outside = g >= end_Wb_;
  const auto n = outside ? even_pieces : static_cast<std::size_t>(g * knots_per_Wb_);
  const Piece& p = n >= even_pieces ? beyond_ : pieces_[n];
  const double u = n >= even_pieces ? g - end_Wb_ : g - static_cast<double>(n) * knot_Wb_;
  return {p.a + u * (p.b + u * (p.c + u * p.d)), p.b + u * (2.0 * p.c + u * 3.0 * p.d),
          p.integral_J + u * (p.a + u * (p.b / 2.0 + u * (p.c / 3.0 + u * p.d / 4.0)))};
}

}  // namespace stillrotor::plant
