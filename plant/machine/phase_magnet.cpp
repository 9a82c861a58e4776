#include "plant/machine/phase_magnet.hpp"

#include <algorithm>
#include <cmath>

namespace stillrotor::plant {
namespace {

constexpr double half_sqrt3 = 0.5 * sqrt3;
/// Windings by (alpha, beta): rows of the inverse Clarke transform.
constexpr double axes[3][2] = {{1.0, 0.0}, {-0.5, half_sqrt3}, {-0.5, -half_sqrt3}};
constexpr double weight[3] = {1.0, 1.0, 2.0};  // D

}  // namespace

PhaseMagnet::PhaseMagnet(const PermanentMagnetParameters& given)
    : harmonics_(given.back_emf.empty() ? std::vector<BackEmfHarmonic>{{1, 1.0}} : given.back_emf),
      shape_(given.back_emf),
      pole_pairs_(given.pole_pairs),
      delta_(given.connection == Connection::delta),
      ohm_scale_(delta_ ? 3.0 : 1.0),
      flux_scale_(delta_ ? sqrt3 : 1.0),
      turns_{given.turns_factor[0], given.turns_factor[1], given.turns_factor[2]},
      winding_min_H_(std::min(given.inductance_d_H, given.inductance_q_H)),
      loop_H_(given.inductance_zero_H) {
  for (std::size_t k = 0; k < 3; ++k) {
    const std::size_t next = (k + 1) % 3;
    for (std::size_t j = 0; j < 2; ++j)
      share_[k][j] = delta_ ? (axes[k][j] - axes[next][j]) / 3.0 : axes[k][j];
    share_[k][loop] = delta_ ? 1.0 : 0.0;
  }
  // M = T diag(n) B
  for (std::size_t j = 0; j < 3; ++j)
    for (std::size_t k = 0; k < 3; ++k) {
      const double at = turns_[k] * share_[k][j];
      m_[alpha][j] += 2.0 / 3.0 * axes[k][0] * at;
      m_[beta][j] += 2.0 / 3.0 * axes[k][1] * at;
      m_[loop][j] += at / 3.0;
    }
  const double l0 = 0.5 * (given.inductance_d_H + given.inductance_q_H);
  const double l2 = 0.5 * (given.inductance_d_H - given.inductance_q_H);
  const auto folded = [this](double xx, double xy, double yy, double zz) {
    const auto entry = [&](std::size_t i, std::size_t j) {
      return m_[0][i] * (xx * m_[0][j] + xy * m_[1][j]) +
             m_[1][i] * (xy * m_[0][j] + yy * m_[1][j]) + 2.0 * zz * m_[2][i] * m_[2][j];
    };
    return Symmetric{entry(0, 0), entry(0, 1), entry(1, 1), entry(0, 2), entry(1, 2), entry(2, 2)};
  };
  k0_ = folded(l0, 0.0, l0, given.inductance_zero_H);
  k1_ = folded(l2, 0.0, -l2, 0.0);
  k2_ = folded(0.0, l2, 0.0, 0.0);
  if (!delta_) k0_.cc = 1.0;  // no loop: keeps the elimination regular, its row is zero

  // The least and greatest seen at the terminals, over a turn: eigenvalues of the reduced matrix.
  inductance_min_H_ = 1e300;
  for (int n = 0; n < 360; ++n) {
    Angle a{};
    a.c2 = std::cos(n * two_pi / 360.0);
    a.s2 = std::sin(n * two_pi / 360.0);
    const Symmetric l = inductance(a);
    const double aa = l.aa - l.ac * l.ac / l.cc, bb = l.bb - l.bc * l.bc / l.cc,
                 ab = l.ab - l.ac * l.bc / l.cc;
    const double mean = 0.5 * (aa + bb), span = std::hypot(0.5 * (aa - bb), ab);
    inductance_min_H_ = std::min(inductance_min_H_, mean - span);
    inductance_max_H_ = std::max(inductance_max_H_, mean + span);
  }
}

// The fastest rate is the greatest eigenvalue of L^-1 R. Star: at most that of R over the least one
// of L. Delta, in the windings' own currents: at most the trace, since all are positive, and at
// most the greatest of R over the least of L; legs act on what does not circulate.
double PhaseMagnet::rate_bound_per_s(const double (&winding_ohm)[3],
                                     double leg_ohm) const noexcept {
  if (!delta_) {
    const StarOhms r = star_ohms(winding_ohm);
    const double most = 0.5 * (r.aa + r.bb) + std::hypot(0.5 * (r.aa - r.bb), r.ab);
    return (most + leg_ohm) / inductance_min_H_;
  }
  double trace = 0.0, most_ohm = 0.0, least_turns = turns_[0];
  const double inverse = 2.0 / 3.0 / winding_min_H_ + 1.0 / 3.0 / loop_H_;
  for (std::size_t k = 0; k < 3; ++k) {
    const double ohm = ohm_scale_ * winding_ohm[k];
    trace += ohm * inverse / (turns_[k] * turns_[k]);
    most_ohm = std::max(most_ohm, ohm);
    least_turns = std::min(least_turns, turns_[k]);
  }
  const double by_extremes =
      most_ohm / (least_turns * least_turns * std::min(winding_min_H_, loop_H_));
  return std::min(trace, by_extremes) + leg_ohm / inductance_min_H_;
}

PhaseMagnet::Angle PhaseMagnet::winding_angle(const Point& y) const noexcept {
  Angle a{y.theta, y.cos_e, y.sin_e, 0.0, 0.0};
  if (delta_) {
    a.theta += pi / 6.0;
    a.cos = half_sqrt3 * y.cos_e - 0.5 * y.sin_e;
    a.sin = half_sqrt3 * y.sin_e + 0.5 * y.cos_e;
  }
  a.c2 = a.cos * a.cos - a.sin * a.sin;
  a.s2 = 2.0 * a.sin * a.cos;
  return a;
}

PhaseMagnet::Symmetric PhaseMagnet::inductance(const Angle& a) const noexcept {
  const auto sum = [&a](double x0, double x1, double x2) { return x0 + a.c2 * x1 + a.s2 * x2; };
  return {sum(k0_.aa, k1_.aa, k2_.aa), sum(k0_.ab, k1_.ab, k2_.ab), sum(k0_.bb, k1_.bb, k2_.bb),
          sum(k0_.ac, k1_.ac, k2_.ac), sum(k0_.bc, k1_.bc, k2_.bc), sum(k0_.cc, k1_.cc, k2_.cc)};
}

PhaseMagnet::Symmetric PhaseMagnet::inductance_slope(const Angle& a) const noexcept {
  const auto turned = [&a](double x1, double x2) { return 2.0 * (a.c2 * x2 - a.s2 * x1); };
  return {turned(k1_.aa, k2_.aa), turned(k1_.ab, k2_.ab), turned(k1_.bb, k2_.bb),
          turned(k1_.ac, k2_.ac), turned(k1_.bc, k2_.bc), turned(k1_.cc, k2_.cc)};
}

std::array<double, 3> PhaseMagnet::gathered(const std::array<double, 3>& x) const noexcept {
  std::array<double, 3> out;
  for (std::size_t j = 0; j < 3; ++j)
    out[j] = m_[0][j] * x[0] + m_[1][j] * x[1] + 2.0 * m_[2][j] * x[2];
  return out;
}

std::array<double, 3> PhaseMagnet::magnet_slope(const Angle& a) const noexcept {
  const AlphaBeta g = shape_(a.theta, a.cos, a.sin);
  return {g.alpha, g.beta, shape_.zero_sequence(a.theta)};
}

TerminalLaw PhaseMagnet::star_at(const Point& y, const MachineCondition& now) const noexcept {
  const StarAtAngle at = star(y.theta, y.cos_e, y.sin_e);
  const StarOhms r = star_ohms(now.winding_ohm);
  const double omega_e = pole_pairs_ * y.omega, i_a = y.i_alpha, i_b = y.i_beta;
  const double psi = now.flux_linkage_Wb;
  const double drop_a = r.aa * i_a + r.ab * i_b, drop_b = r.ab * i_a + r.bb * i_b;
  const double magnet_a = psi * at.magnet_a, magnet_b = psi * at.magnet_b;
  const double turn_a = at.slope_aa * i_a + at.slope_ab * i_b,
               turn_b = at.slope_ab * i_a + at.slope_bb * i_b;
  TerminalLaw out;
  out.l_aa_H = at.l_aa;
  out.l_ab_H = at.l_ab;
  out.l_bb_H = at.l_bb;
  out.back_V = {drop_a + omega_e * (turn_a + magnet_a), drop_b + omega_e * (turn_b + magnet_b)};
  out.emf_V = {omega_e * magnet_a, omega_e * magnet_b};
  out.torque_Nm =
      1.5 * pole_pairs_ * (i_a * (0.5 * turn_a + magnet_a) + i_b * (0.5 * turn_b + magnet_b));
  out.heat_W[0] = 1.5 * (drop_a * i_a + drop_b * i_b);
  return out;
}

TerminalLaw PhaseMagnet::delta_at(const Point& y, const MachineCondition& now) const noexcept {
  const Angle a = winding_angle(y);
  const Symmetric l = inductance(a), slope = inductance_slope(a);
  const double omega_e = pole_pairs_ * y.omega;
  const double psi = flux_scale_ * now.flux_linkage_Wb;
  const double x[3] = {y.i_alpha, y.i_beta, y.extra.inner[0]};

  // 2/3 B^T R B x and the copper's heat, winding by winding
  double drop[3] = {0.0, 0.0, 0.0}, heat = 0.0;
  for (std::size_t k = 0; k < 3; ++k) {
    const double i = share_[k][0] * x[0] + share_[k][1] * x[1] + share_[k][2] * x[2];
    const double v = ohm_scale_ * now.winding_ohm[k] * i;
    for (std::size_t j = 0; j < 3; ++j) drop[j] += 2.0 / 3.0 * share_[k][j] * v;
    heat += v * i;
  }
  const std::array<double, 3> g = gathered(magnet_slope(a));
  const double turn[3] = {slope.aa * x[0] + slope.ab * x[1] + slope.ac * x[2],
                          slope.ab * x[0] + slope.bb * x[1] + slope.bc * x[2],
                          slope.ac * x[0] + slope.bc * x[1] + slope.cc * x[2]};
  double back[3], pull = 0.0;
  for (std::size_t j = 0; j < 3; ++j) {
    back[j] = drop[j] + omega_e * (turn[j] + psi * g[j]);
    pull += x[j] * (0.5 * turn[j] + psi * g[j]);
  }

  // The loop has no terminal: 0 = l_ca di_alpha + l_cb di_beta + l_cc di_c + back_c.
  const double inverse = 1.0 / l.cc;
  TerminalLaw out;
  out.l_aa_H = l.aa - l.ac * l.ac * inverse;
  out.l_ab_H = l.ab - l.ac * l.bc * inverse;
  out.l_bb_H = l.bb - l.bc * l.bc * inverse;
  out.back_V = {back[0] - l.ac * inverse * back[2], back[1] - l.bc * inverse * back[2]};
  out.emf_V = {omega_e * psi * g[0], omega_e * psi * g[1]};
  out.inner_rate[0] = -inverse * back[2];
  out.inner_per_di[0][0] = -inverse * l.ac;
  out.inner_per_di[0][1] = -inverse * l.bc;
  out.torque_Nm = 1.5 * pole_pairs_ * pull;
  out.heat_W[0] = heat;
  return out;
}

double PhaseMagnet::stored_J(const Point& y) const noexcept {
  const Symmetric l = inductance(winding_angle(y));
  const double a = y.i_alpha, b = y.i_beta, c = delta_ ? y.extra.inner[0] : 0.0;
  return 0.75 * (l.aa * a * a + l.bb * b * b + l.cc * c * c +
                 2.0 * (l.ab * a * b + l.ac * a * c + l.bc * b * c));
}

std::array<double, 3> PhaseMagnet::linkage_Wb(const Point& y,
                                              const MachineCondition& now) const noexcept {
  const Angle a = winding_angle(y);
  const Symmetric l = inductance(a);
  std::array<double, 3> magnet{};  // alpha, beta, zero of sum h_n / n cos(n (theta - 120 deg k))
  for (std::size_t k = 0; k < 3; ++k)
    for (const auto& h : harmonics_) {
      const double linked =
          h.ratio / h.order * std::cos(h.order * (a.theta - static_cast<double>(k) * two_pi / 3.0));
      magnet[0] += 2.0 / 3.0 * axes[k][0] * linked;
      magnet[1] += 2.0 / 3.0 * axes[k][1] * linked;
      magnet[2] += linked / 3.0;
    }
  std::array<double, 3> out = gathered(magnet);
  const double x[3] = {y.i_alpha, y.i_beta, delta_ ? y.extra.inner[0] : 0.0};
  for (double& each : out) each *= flux_scale_ * now.flux_linkage_Wb;
  out[0] += l.aa * x[0] + l.ab * x[1] + l.ac * x[2];
  out[1] += l.ab * x[0] + l.bb * x[1] + l.bc * x[2];
  out[2] += l.ac * x[0] + l.bc * x[1] + l.cc * x[2];
  return out;
}

Phases PhaseMagnet::windings_A(const Point& y) const noexcept {
  const auto of = [&](std::size_t k) {
    return share_[k][0] * y.i_alpha + share_[k][1] * y.i_beta + share_[k][2] * y.extra.inner[0];
  };
  return {of(0), of(1), of(2)};
}

Phases PhaseMagnet::emf_V(const Point& y, const MachineCondition& now) const noexcept {
  const std::array<double, 3> g = magnet_slope(winding_angle(y));
  const double scale = pole_pairs_ * y.omega * flux_scale_ * now.flux_linkage_Wb;
  const auto of = [&](std::size_t k) {
    return scale * turns_[k] * (axes[k][0] * g[0] + axes[k][1] * g[1] + g[2]);
  };
  return {of(0), of(1), of(2)};
}

double PhaseMagnet::emf_bound_Wb(const MachineCondition& now) const noexcept {
  double most = 0.0;
  for (const auto& h : harmonics_) most += std::abs(h.ratio);
  double sum = 0.0;  // every winding at its peak, every path added up
  for (std::size_t j = 0; j < 3; ++j)
    for (std::size_t k = 0; k < 3; ++k) sum = std::max(sum, weight[k] * std::abs(m_[k][j]) * 3.0);
  return flux_scale_ * now.flux_linkage_Wb * most * sum;
}

// Round the loop only the EMFs drive (twice over: the speed may grow within the span) beside what
// the lines' change induces; resistance brakes.
double PhaseMagnet::loop_bound_A(const Point& y, double i_A, double span_s,
                                 const MachineCondition& now) const noexcept {
  if (!delta_) return 0.0;
  const double least_H = k0_.cc - std::hypot(k1_.cc, k2_.cc);
  const double emf_V = 2.0 * pole_pairs_ * std::abs(y.omega) * emf_bound_Wb(now);
  const double coupled = 2.0 * (std::hypot(k0_.ac, k0_.bc) + std::abs(k1_.ac) + std::abs(k1_.bc) +
                                std::abs(k2_.ac) + std::abs(k2_.bc));
  return std::abs(y.extra.inner[0]) + (span_s * emf_V + coupled * i_A) / least_H;
}

double PhaseMagnet::torque_bound_Nm(double i_A, const MachineCondition& now) const noexcept {
  const double swing = std::abs(k1_.aa) + std::abs(k1_.bb) + std::abs(k1_.cc) +
                       2.0 * (std::abs(k1_.ab) + std::abs(k1_.ac) + std::abs(k1_.bc)) +
                       std::abs(k2_.aa) + std::abs(k2_.bb) + std::abs(k2_.cc) +
                       2.0 * (std::abs(k2_.ab) + std::abs(k2_.ac) + std::abs(k2_.bc));
  return 1.5 * pole_pairs_ * i_A * (3.0 * emf_bound_Wb(now) + swing * i_A);
}

static_assert(weight[0] == 1.0 && weight[2] == 2.0);

}  // namespace stillrotor::plant
