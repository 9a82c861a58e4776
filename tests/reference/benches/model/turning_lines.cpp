#include "tests/reference/benches/model/turning_lines.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "plant/sensors/noise.hpp"

namespace stillrotor::reference {
namespace {

constexpr double turn_rad = 2.0 * std::numbers::pi;

/// Where f, negative at a and not at b, becomes 0 or more: secants, each third time the middle.
template <class F>
double root(double a, double b, const F& f) {
  constexpr double fine_s = 1e-17;
  double f_a = f(a), f_b = f(b);
  for (int n = 1; n < 200 && b - a > fine_s; ++n) {
    double x = n % 3 == 0 || f_b <= f_a ? 0.5 * (a + b) : a - f_a * (b - a) / (f_b - f_a);
    if (!(x > a && x < b)) x = 0.5 * (a + b);
    if (x == a || x == b) break;
    const double f_x = f(x);
    if (f_x < 0.0) {
      a = x;
      f_a = f_x;
      f_b *= 0.5;
    } else {
      b = x;
      f_b = f_x;
      f_a *= 0.5;
    }
  }
  return b;
}

}  // namespace

TurningLines::TurningLines(const plant::DriveParameters& p, double theta_e, double decided_rad)
    : p_(p), decided_rad_(decided_rad) {
  for (int n = 0; n <= encoder; ++n) {
    if (!fitted(n)) continue;
    std::int64_t& s = stands_[n];
    const double apart = rung(n, 2) - rung(n, 0);
    s = static_cast<std::int64_t>(std::floor(2.0 * theta_e / apart)) - 4;
    while (theta_e >= up_at(n)) ++s;
    if (n < encoder && s % 2 == 0) levels_ = static_cast<std::uint8_t>(levels_ | 1U << n);
  }
  if (fitted(encoder)) levels_ = static_cast<std::uint8_t>(levels_ | encoder_levels() << encoder);
}

bool TurningLines::fitted(int ladder) const {
  return ladder == encoder ? p_.encoder.fitted : p_.hall.fitted;
}

double TurningLines::rung(int ladder, std::int64_t m) const {
  if (ladder == encoder)
    return turn_rad * p_.pole_pairs() * static_cast<double>(m) / (4.0 * p_.encoder.lines);
  const double jitter =
      p_.hall.jitter_rad == 0.0
          ? 0.0
          : p_.hall.jitter_rad * plant::even_noise(p_.seed, static_cast<plant::NoiseOf>(ladder), m);
  return ladder * p_.hall.spacing_rad + p_.hall.placement_error_rad[ladder] +
         hall_shift_rad[ladder] + hall_carrier_rad - 0.25 * turn_rad +
         0.5 * turn_rad * static_cast<double>(m) + jitter;
}

double TurningLines::up_at(int n) const {
  return rung(n, stands_[n] + 1) + (n == encoder ? 0.0 : lag());
}
double TurningLines::down_at(int n) const {
  return rung(n, stands_[n]) - (n == encoder ? 0.0 : lag());
}

std::uint8_t TurningLines::encoder_levels() const {
  const std::int64_t a_turn = 4 * static_cast<std::int64_t>(p_.encoder.lines);
  const auto within = [a_turn](std::int64_t count) { return (count % a_turn + a_turn) % a_turn; };
  const std::int64_t count = within(stands_[encoder] + slip), line = count / 4, part = count % 4;
  const auto& missing = p_.encoder.missing_lines;
  const bool seen =
      std::find(missing.begin(), missing.end(), static_cast<int>(line)) == missing.end() &&
      (dirty_share <= 0.0 || plant::unit_share(plant::noise_bits(
                                 p_.seed, plant::NoiseOf::encoder_dirt, line)) > dirty_share);
  const bool leads = seen && (part == 1 || part == 2), follows = seen && part >= 2;
  const auto holds_index = static_cast<std::int64_t>(
      std::floor(p_.encoder.index_rad / turn_rad * static_cast<double>(a_turn)));
  const bool index = within(count - holds_index) < p_.encoder.index_counts;
  const bool a = p_.encoder.reversed ? follows : leads, b = p_.encoder.reversed ? leads : follows;
  return static_cast<std::uint8_t>((a ? 1U : 0U) | (b ? 2U : 0U) | (index ? 4U : 0U));
}

void TurningLines::show(int line, bool high, const LineEdge& at, Shown& shown) {
  levels_ = static_cast<std::uint8_t>(high ? levels_ | 1U << line : levels_ & ~(1U << line));
  LineEdge edge = at;
  edge.line = static_cast<plant::SensorLine>(line);
  edge.high = high;
  shown.edges.push_back(edge);
}

void TurningLines::step(int ladder, bool up, double rung_rad, const LineEdge& at, Shown& shown) {
  latest_rad_ = rung_rad;
  stands_[ladder] += up ? 1 : -1;
  if (ladder < encoder) return show(ladder, stands_[ladder] % 2 == 0, at, shown);
  const unsigned now = encoder_levels();
  for (int k = 0; k < 3; ++k)
    if (((now ^ levels_ >> encoder) >> k & 1U) != 0) show(encoder + k, now >> k & 1U, at, shown);
}

void TurningLines::look(const Motion& m, std::int64_t at_ps, Shown& shown) {
  judge(m.theta_e, shown);
  const LineEdge at{.at_ps = at_ps, .omega_e = m.omega_e};
  for (int n = 0; n < encoder; ++n) {
    if (!fitted(n)) continue;
    while (m.theta_e >= up_at(n)) step(n, true, up_at(n), at, shown);
    while (m.theta_e < down_at(n)) step(n, false, down_at(n), at, shown);
  }
  if (!fitted(encoder)) return;
  const unsigned now = encoder_levels();
  for (int k = 0; k < 3; ++k)
    if (((now ^ levels_ >> encoder) >> k & 1U) != 0) show(encoder + k, now >> k & 1U, at, shown);
}

/// Whether the angle stands so near a rung that rounding decides.
void TurningLines::judge(double theta_e, Shown& shown) const {
  bool near = std::abs(theta_e - latest_rad_) < decided_rad_;
  for (int n = 0; n <= encoder; ++n)
    near = near || (fitted(n) && std::min(std::abs(theta_e - up_at(n)),
                                          std::abs(theta_e - down_at(n))) < decided_rad_);
  if (near) ++shown.undecided;
}

void TurningLines::turn(const Way& way, double from_s, double to_s, Shown& shown) {
  const double sign = way.at(from_s).omega_e > 0.0 ? 1.0 : -1.0;
  if (sign * way.at(to_s).omega_e >= 0.0) return climb(way, from_s, to_s, shown);
  const double top = root(from_s, to_s, [&](double t) { return -sign * way.at(t).omega_e; });
  climb(way, from_s, top, shown);
  judge(way.at(top).theta_e, shown);
  climb(way, top, to_s, shown);
}

void TurningLines::climb(const Way& way, double from_s, double to_s, Shown& shown) {
  const double theta_from = way.at(from_s).theta_e, theta_to = way.at(to_s).theta_e;
  const bool up = theta_to > theta_from;
  double begin = from_s;
  for (;;) {
    int next = -1;
    double nearest = 0.0;
    for (int n = 0; n <= encoder; ++n) {
      if (!fitted(n)) continue;
      const double at = up ? up_at(n) : down_at(n);
      if ((up ? theta_to >= at : theta_to < at) &&
          (next < 0 || (up ? at < nearest : at > nearest))) {
        next = n;
        nearest = at;
      }
    }
    if (next < 0) return;
    const double sign = up ? 1.0 : -1.0;
    begin = root(begin, to_s, [&](double t) { return sign * (way.at(t).theta_e - nearest); });
    const double omega = way.at(begin).omega_e, across = to_s - from_s;
    const double alpha = (way.at(to_s).omega_e - way.at(from_s).omega_e) / across;
    step(next, up, nearest,
         {.at_ps = way.since_ps, .omega_e = omega, .alpha_e = alpha, .after_s = begin}, shown);
  }
}

}  // namespace stillrotor::reference
