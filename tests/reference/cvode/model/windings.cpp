#include "tests/reference/cvode/model/windings.hpp"

#include <Eigen/LU>
#include <algorithm>
#include <cmath>
#include <numbers>
#include <stdexcept>

#include "tests/reference/cvode/model/soft_coils.hpp"
#include "tests/reference/support/drive_setup.hpp"

namespace stillrotor::reference {
namespace {

constexpr double third = 2.0 * std::numbers::pi / 3.0;
constexpr double cos_apart(int k, int j) { return k == j ? 1.0 : -0.5; }  // of so many thirds

}  // namespace

Windings::Windings(const plant::DriveParameters& p) : m_(p.machine), induction_(p.induction) {
  m_.back_emf = shape_of(p.machine);
}

double Windings::winding_angle(const AbcState& x) const {
  return x.theta_e_rad + (delta() ? std::numbers::pi / 6.0 : 0.0);
}

// ---- coils

Windings::Matrix Windings::coils_H(double theta, Matrix* slope) const {
  const int coils = induction_ ? 6 : 3;
  Matrix L = Matrix::Zero(coils, coils);
  if (slope != nullptr) *slope = Matrix::Zero(coils, coils);
  for (int k = 0; k < 3; ++k)
    for (int j = 0; j < 3; ++j) {
      if (induction_) {
        const double shared = 2.0 / 3.0 * induction_->magnetising_inductance_H;
        const double apart = theta + third * (j - k), own = k == j ? 1.0 : 0.0;
        L(k, j) = shared * cos_apart(k, j) + own * induction_->stator_leakage_H;
        // The cage's coils sum to zero: what such a sum links only keeps the matrix regular.
        L(3 + k, 3 + j) = shared * cos_apart(k, j) + own * induction_->rotor_leakage_H +
                          induction_->stator_leakage_H;
        L(k, 3 + j) = L(3 + j, k) = shared * std::cos(apart);
        if (slope != nullptr) (*slope)(k, 3 + j) = (*slope)(3 + j, k) = -shared * std::sin(apart);
        continue;
      }
      const auto a = static_cast<std::size_t>(k), b = static_cast<std::size_t>(j);
      const double ld = m_.inductance_d_H, lq = m_.inductance_q_H;
      const double nn = m_.turns_factor[a] * m_.turns_factor[b];
      const double twice = 2.0 * theta - third * (k + j);
      L(k, j) = nn * ((ld + lq) / 3.0 * cos_apart(k, j) + (ld - lq) / 3.0 * std::cos(twice) +
                      m_.inductance_zero_H / 3.0);
      if (slope != nullptr) (*slope)(k, j) = nn * -2.0 * (ld - lq) / 3.0 * std::sin(twice);
    }
  return L;
}

double Windings::copper(double kelvin) const {
  const auto of = [&](double K) {
    return 1.0 + m_.winding_temperature_coefficient_per_K * (K - 293.15);
  };
  return of(kelvin) / of(m_.reference_temperature_K);
}

double Windings::magnets_Wb(const AbcInputs& in) const {
  const double warmer_K = in.machine.rotor_K - m_.reference_temperature_K;
  return m_.flux_linkage_Wb * in.machine.magnets_left *
         (1.0 + m_.flux_temperature_coefficient_per_K * warmer_K);
}

/// psi_m and d psi_m / d theta, without the fundamental where that is the iron's.
void Windings::add_magnets(Coils& c, double theta, const AbcInputs& in) const {
  if (induction_) return;
  for (int k = 0; k < 3; ++k) {
    const double factor = m_.turns_factor[static_cast<std::size_t>(k)] * magnets_Wb(in);
    const double at = theta - k * third;
    const auto add = [&](int order, double ratio) {
      c.linkage_Wb[k] += factor * ratio / order * std::cos(order * at);
      c.per_rad_Wb[k] -= factor * ratio * std::sin(order * at);
    };
    for (const auto& h : m_.back_emf) add(h.order, h.ratio);
    if (in.iron) add(1, -1.0);
  }
}

Windings::Coils Windings::coils(const Circuits& c, const AbcState& x, const AbcInputs& in) const {
  const double theta = winding_angle(x);
  const Vector t = c.turns * c.current_A;
  Coils out;
  if (in.iron) {
    SoftIron iron = *in.iron;
    iron.psi_0 += magnets_Wb(in) - m_.flux_linkage_Wb;
    const SoftCoils soft = soft_coils(iron, m_.inductance_zero_H, theta, t);
    out.inductance_H = soft.inductance_H;
    out.linkage_Wb = soft.linkage_Wb;
    out.per_rad_Wb = Vector::Zero(3);
    add_magnets(out, theta, in);
    out.coenergy_per_rad_J = soft.coenergy_per_rad_J + t.dot(out.per_rad_Wb);
    out.per_rad_Wb += soft.per_rad_Wb;
    return out;
  }
  Matrix slope;
  out.inductance_H = coils_H(theta, &slope);
  out.linkage_Wb = out.inductance_H * t;
  out.per_rad_Wb = Vector::Zero(c.coils);
  add_magnets(out, theta, in);
  out.coenergy_per_rad_J = t.dot(out.per_rad_Wb) + 0.5 * t.dot(slope * t);
  out.per_rad_Wb += slope * t;
  return out;
}

// ---- circuits

Windings::Circuits Windings::circuits(const AbcState& x, const AbcInputs& in) const {
  Circuits c;
  c.coils = induction_ ? 6 : 3;
  c.count = c.coils;
  if (in.turns_short.there) c.turns_short = c.count++;
  if (in.phases_short.there) c.phases_short = c.count++;
  c.current_A = Vector::Zero(c.count);
  c.turns = Matrix::Zero(c.coils, c.count);
  c.ohm = c.leak_H = Matrix::Zero(c.count, c.count);
  for (int k = 0; k < 3; ++k) {
    const auto at = static_cast<std::size_t>(k);
    c.current_A[k] = x.winding_A[at];
    c.turns(k, k) = 1.0;
    c.ohm(k, k) = copper(in.machine.winding_K) *
                      (induction_ ? induction_->stator_resistance_ohm
                                  : m_.winding_resistance_ohm * m_.resistance_factor[at]) +
                  in.joint_ohm[at];
    if (!induction_) continue;
    c.current_A[3 + k] = x.cage_A[at];
    c.turns(3 + k, 3 + k) = 1.0;
    c.ohm(3 + k, 3 + k) = induction_->rotor_resistance_ohm * copper(in.machine.rotor_K);
  }
  if (const int n = c.turns_short; n >= 0) {
    const auto k = static_cast<Eigen::Index>(in.turns_short.winding);
    const double mu = in.turns_short.share, winding_ohm = c.ohm(k, k);
    c.current_A[n] = x.turns_short_A;
    c.turns(k, n) = -mu;
    c.ohm(k, n) = c.ohm(n, k) = -mu * winding_ohm;
    c.ohm(n, n) = in.turns_short.ohm + mu * winding_ohm;
    c.leak_H(n, n) = in.turns_short.leak_H;
  }
  if (const int n = c.phases_short; n >= 0) {
    c.current_A[n] = x.phases_short_A;
    c.ohm(n, n) = in.phases_short.ohm;
    c.leak_H(n, n) = in.phases_short.henry;
  }
  return c;
}

void Windings::keep(const Circuits& c, const Vector& v, AbcState& x) const {
  for (int k = 0; k < 3; ++k) {
    x.winding_A[static_cast<std::size_t>(k)] = v[k];
    if (induction_) x.cage_A[static_cast<std::size_t>(k)] = v[3 + k];
  }
  if (c.turns_short >= 0) x.turns_short_A = v[c.turns_short];
  if (c.phases_short >= 0) x.phases_short_A = v[c.phases_short];
}

Eigen::Matrix<double, 3, Eigen::Dynamic, 0, 3, Windings::most> Windings::line_share(
    const Circuits& c, const AbcInputs& in) const {
  Eigen::Matrix<double, 3, Eigen::Dynamic, 0, 3, most> out =
      Eigen::Matrix<double, 3, Eigen::Dynamic, 0, 3, most>::Zero(3, c.count);
  for (int k = 0; k < 3; ++k) {
    out(k, k) = 1.0;
    if (delta()) out(k, (k + 2) % 3) = -1.0;
  }
  if (c.phases_short >= 0) {
    const auto from = static_cast<Eigen::Index>(in.phases_short.from);
    out(from, c.phases_short) = 1.0;
    out((from + 1) % 3, c.phases_short) = -1.0;
  }
  return out;
}

std::array<double, 3> Windings::lines(const AbcState& x, const AbcInputs& in) const {
  const Circuits c = circuits(x, in);
  const Eigen::Vector3d i = line_share(c, in) * c.current_A;
  return {i[0], i[1], i[2]};
}

// In star the windings are the lines. In delta the windings of currents that sum to zero are
// i_UV = (i_U - i_V) / 3 and so on, beside what circulates.
void Windings::set_lines(AbcState& x, const AbcInputs& in,
                         const std::array<double, 3>& line_A) const {
  std::array<double, 3> to = line_A;
  if (in.phases_short.there) {
    to[in.phases_short.from] -= x.phases_short_A;
    to[(in.phases_short.from + 1) % 3] += x.phases_short_A;
  }
  auto& w = x.winding_A;
  if (!delta()) {
    w = to;
    return;
  }
  const double loop = (w[0] + w[1] + w[2]) / 3.0;
  for (std::size_t k = 0; k < 3; ++k) w[k] = loop + (to[k] - to[(k + 1) % 3]) / 3.0;
}

// ---- network

Windings::Matrix Windings::network(const Circuits& c, const Matrix& inductance_H,
                                   const AbcInputs& in, const Terminals& legs) const {
  const int n = c.count, neutral = n, terminal = n + 1;
  Matrix A = Matrix::Zero(n + 4, n + 4);
  A.topLeftCorner(n, n) = inductance_H;
  for (int k = 0; k < 3; ++k) {
    A(k, terminal + k) = -1.0;
    A(k, delta() ? terminal + (k + 1) % 3 : neutral) = 1.0;
  }
  if (c.phases_short >= 0) {
    const auto from = static_cast<Eigen::Index>(in.phases_short.from);
    A(c.phases_short, terminal + from) = -1.0;
    A(c.phases_short, terminal + (from + 1) % 3) = 1.0;
  }
  if (delta())
    A(neutral, neutral) = 1.0;
  else
    for (int k = 0; k < 3; ++k) A(neutral, k) = 1.0;
  const auto share = line_share(c, in);
  // Where no leg conducts only differences of potentials are defined, and the third line's
  // equation follows from the others: W's potential takes its place.
  const bool none = std::none_of(legs.begin(), legs.end(), [](auto& t) { return t.conducts; });
  for (int k = 0; k < 3; ++k)
    if (legs[static_cast<std::size_t>(k)].conducts || (none && k == 2))
      A(terminal + k, terminal + k) = 1.0;
    else
      A.block(terminal + k, 0, 1, n) = share.row(k);
  return A;
}

void Windings::rates(const AbcState& x, const AbcInputs& in, const Terminals& legs,
                     AbcRates& out) const {
  const Circuits c = circuits(x, in);
  const Coils coil = coils(c, x, in);
  out.machine_Nm = (induction_ ? induction_->pole_pairs : m_.pole_pairs) * coil.coenergy_per_rad_J;
  const Vector moving_V = out.state.theta_e_rad * coil.per_rad_Wb;
  Vector b = Vector::Zero(c.count + 4);
  b.head(c.count) = -(c.ohm * c.current_A) - c.turns.transpose() * moving_V;
  for (int k = 0; k < 3; ++k) {
    const Terminal& leg = legs[static_cast<std::size_t>(k)];
    if (leg.conducts) b[c.count + 1 + k] = leg.potential_V;
  }
  const Matrix in_all = c.turns.transpose() * coil.inductance_H * c.turns + c.leak_H;
  const Vector s = network(c, in_all, in, legs).partialPivLu().solve(b);
  keep(c, s, out.state);
  const Eigen::Vector3d line = line_share(c, in) * s.head(c.count);
  for (int k = 0; k < 3; ++k) {
    out.line_A_s[static_cast<std::size_t>(k)] = line[k];
    out.terminal_V[static_cast<std::size_t>(k)] = s[c.count + 1 + k];
  }
}

// The shorted turns' own leakage: 5 us times the resistance that they show, at least what the zero
// sequence gives a star; and of that the coils bring their share.
void Windings::short_turns(const AbcState& x, AbcInputs& in, std::size_t winding, double share,
                           double ohm) const {
  in.turns_short = {};
  const auto k = static_cast<Eigen::Index>(winding);
  const double winding_ohm = circuits(x, in).ohm(k, k);
  const double zero_H = induction_ ? induction_->stator_leakage_H : m_.inductance_zero_H;
  const double by_coils_H = delta() ? 0.0 : share * share * zero_H / 3.0;
  const double shown_ohm = ohm + share * (1.0 - (delta() ? 1.0 : 2.0 / 3.0) * share) * winding_ohm;
  const double least_H = induction_ ? 0.0 : by_coils_H;
  in.turns_short = {true, winding, share, ohm, std::max(least_H, 5e-6 * shown_ohm) - by_coils_H};
}

Windings::Vector Windings::linkages_Wb(const AbcState& x, const AbcInputs& in) const {
  const Circuits c = circuits(x, in);
  return c.turns.transpose() * coils(c, x, in).linkage_Wb + c.leak_H * c.current_A;
}

// The potentials are impulses here: none where a leg conducts. Of two that are parted the other one
// carried this one's current. Newton; without saturation exact at once.
void Windings::jump(AbcState& x, const AbcInputs& in, const Vector& kept_Wb,
                    const Parted& parted) const {
  Terminals legs;
  for (std::size_t k = 0; k < 3; ++k)
    legs[k].conducts = !parted.leg[k] && !parted.rests[k] && !in.open[k];
  for (int tries = 0; tries < 50; ++tries) {
    const Circuits c = circuits(x, in);
    const Coils coil = coils(c, x, in);
    const Matrix in_all = c.turns.transpose() * coil.inductance_H * c.turns + c.leak_H;
    Matrix A = network(c, in_all, in, legs);
    Vector b = Vector::Zero(c.count + 4);
    b.head(c.count) = kept_Wb - c.turns.transpose() * coil.linkage_Wb - c.leak_H * c.current_A;
    for (int k = 0; k < 3; ++k)
      if (const auto at = static_cast<std::size_t>(k); parted.leg[at])
        b[c.count + 1 + k] = -lines(x, in)[at];
    if (parted.arc != Short::none) {
      const int n = parted.arc == Short::turns ? c.turns_short : c.phases_short;
      A.row(n).setZero();
      A(n, n) = 1.0;
      b[n] = -c.current_A[n];
    }
    const Vector change = A.partialPivLu().solve(b).head(c.count);
    keep(c, c.current_A + change, x);
    if (change.norm() < 1e-11 * (1.0 + c.current_A.norm())) return;
  }
  throw std::runtime_error("currents do not settle after a sudden change");
}

void Windings::cut(AbcState& x, const AbcInputs& in, std::size_t leg) const {
  Parted what;
  what.leg[leg] = true;
  jump(x, in, linkages_Wb(x, in), what);
}

void Windings::change(AbcState& x, AbcInputs& in, const MachineState& to,
                      const std::array<bool, 3>& rests, const std::array<int, 3>& way) const {
  const Vector kept_Wb = linkages_Wb(x, in);
  const AbcState before = x;
  in.machine = to;
  Parted ended{.rests = rests};
  for (;;) {
    x = before;
    jump(x, in, kept_Wb, ended);
    const std::array<double, 3> from = lines(before, in), line = lines(x, in);
    double soonest = 2.0;
    std::size_t next = 3;
    for (std::size_t k = 0; k < 3; ++k) {
      if (ended.leg[k] || rests[k] || line[k] * way[k] >= 0.0) continue;
      const double part = std::abs(from[k]) / std::abs(from[k] - line[k]);
      if (part < soonest) next = k, soonest = part;
    }
    if (next == 3) return;
    ended.leg[next] = true;
  }
}

void Windings::end_short(AbcState& x, AbcInputs& in, bool of_turns) const {
  if (!(of_turns ? in.turns_short.there : in.phases_short.there)) return;
  jump(x, in, linkages_Wb(x, in), {.arc = of_turns ? Short::turns : Short::phases});
  if (of_turns) {
    in.turns_short = {};
    x.turns_short_A = 0.0;
  } else {
    in.phases_short = {};
    x.phases_short_A = 0.0;
  }
}

// ---- what shaft and bodies see

void Windings::heat(const AbcState& x, const AbcInputs& in, AbcHeat& out) const {
  const Circuits c = circuits(x, in);
  const double all_W = c.current_A.dot(c.ohm * c.current_A);
  if (induction_)
    for (int k = 3; k < 6; ++k) out.cage_W += c.ohm(k, k) * c.current_A[k] * c.current_A[k];
  out.winding_W = all_W - out.cage_W;
}

double Windings::linkage_Wb(const AbcState& x, const AbcInputs& in) const {
  const Circuits c = circuits(x, in);
  const Vector t = c.turns * c.current_A;
  double d = 0.0, q = 0.0;
  for (int k = 0; k < 3; ++k) {
    d += 2.0 / 3.0 * t[k] * std::cos(x.theta_e_rad - k * third);
    q -= 2.0 / 3.0 * t[k] * std::sin(x.theta_e_rad - k * third);
  }
  if (in.iron)
    return std::hypot(in.iron->psi_d(d, q) + magnets_Wb(in) - m_.flux_linkage_Wb,
                      in.iron->psi_q(d, q));
  return std::hypot(m_.inductance_d_H * d + magnets_Wb(in), m_.inductance_q_H * q);
}

}  // namespace stillrotor::reference
