#include "tests/reference/cvode/model/abc_circuit.hpp"

#include <Eigen/LU>
#include <algorithm>
#include <cmath>
#include <numbers>
#include <stdexcept>

namespace stillrotor::reference {
namespace {

constexpr double third = 2.0 * std::numbers::pi / 3.0;
constexpr double v_slack = 1e-9, i_slack = 1e-9;  // below any tolerance of the comparison

bool floats(LegMode m) { return m == LegMode::floating; }

/// v_k = share * v_dc + source - resistance * i_k.
struct Thevenin {
  double share, source, resistance;
};

Thevenin law(LegMode m, const plant::BridgeParameters& b) {
  switch (m) {
    case LegMode::low_switch:
      return {0.0, 0.0, b.switch_on_resistance_ohm};
    case LegMode::high_switch:
      return {1.0, 0.0, b.switch_on_resistance_ohm};
    case LegMode::low_diode:
      return {0.0, -b.diode_voltage_V, b.diode_resistance_ohm};
    case LegMode::high_diode:
      return {1.0, b.diode_voltage_V, b.diode_resistance_ohm};
    case LegMode::both_switches:
      return {0.5, 0.0, 0.5 * b.switch_on_resistance_ohm};
    case LegMode::low_shared:
    case LegMode::high_shared: {
      // -i = (v - rail) / R_on + (v - rail -+ V_f) / R_d
      const double on = b.switch_on_resistance_ohm, diode = b.diode_resistance_ohm;
      const double knee = b.diode_voltage_V * on / (on + diode);
      const bool high = m == LegMode::high_shared;
      return {high ? 1.0 : 0.0, high ? knee : -knee, on * diode / (on + diode)};
    }
    case LegMode::floating:
      break;
  }
  return {0.0, 0.0, 0.0};
}

/// By how much the drop of a channel exceeds the knee of the diode beside it [V].
double over_knee(bool high, double i_A, const plant::BridgeParameters& b) {
  return (high ? -i_A : i_A) * b.switch_on_resistance_ohm - b.diode_voltage_V;
}

/// From the negative rail up to the positive one through the legs: a diode and the switch beside it
/// that is on, or two diodes; the paths with the lower knee share, the others do not conduct.
struct BusDiodes {
  double knee_V, conductance_S;
};
BusDiodes bus_diodes(const AbcInputs& in, const plant::BridgeParameters& b) {
  double of_one = 0.0, of_two = 0.0;
  for (int k = 0; k < 3; ++k)
    if (in.gate[2 * k] || in.gate[2 * k + 1])
      of_one += 1.0 / (b.diode_resistance_ohm + b.switch_on_resistance_ohm);
    else
      of_two += 1.0 / (2.0 * b.diode_resistance_ohm);
  if (of_one > 0.0) return {b.diode_voltage_V, of_one};
  return {2.0 * b.diode_voltage_V, of_two};
}

/// d psi_k / d theta of the magnet flux of phase k.
double flux_slope(const plant::PermanentMagnetParameters& m, double theta, int k) {
  double sum = 0.0;
  for (const auto& h : m.back_emf) sum -= h.ratio * std::sin(h.order * (theta - k * third));
  return m.flux_linkage_Wb * sum;
}

}  // namespace

std::array<double, 3> AbcCircuit::lines(const AbcState& x) const {
  const auto& w = x.winding_A;
  if (!delta()) return w;
  return {w[0] - w[2], w[1] - w[0], w[2] - w[1]};
}

double AbcCircuit::winding_angle(const AbcState& x) const {
  return x.theta_e_rad + (delta() ? std::numbers::pi / 6.0 : 0.0);
}

Eigen::Matrix3d AbcCircuit::inductance(double theta, Eigen::Matrix3d* slope) const {
  const auto& m = p_.machine;
  const double ld = m.inductance_d_H, lq = m.inductance_q_H;
  Eigen::Matrix3d L;
  for (int k = 0; k < 3; ++k)
    for (int j = 0; j < 3; ++j) {
      const double nn = m.turns_factor[k] * m.turns_factor[j];
      const double twice = 2.0 * theta - third * (k + j);
      L(k, j) = nn * ((ld + lq) / 3.0 * std::cos(third * (k - j)) +
                      (ld - lq) / 3.0 * std::cos(twice) + m.inductance_zero_H / 3.0);
      if (slope != nullptr) (*slope)(k, j) = nn * -2.0 * (ld - lq) / 3.0 * std::sin(twice);
    }
  return L;
}

AbcRates AbcCircuit::rates(const AbcState& x, const AbcInputs& in, const AbcModes& modes) const {
  const auto& m = p_.machine;
  AbcRates out;
  const double omega_e = m.pole_pairs * x.omega_m_rad_s;
  const double theta = winding_angle(x);
  const std::array<double, 3> line = lines(x);

  Eigen::Matrix3d dL;
  const Eigen::Matrix3d L = inductance(theta, &dL);
  const Eigen::Vector3d i(x.winding_A[0], x.winding_A[1], x.winding_A[2]);
  Eigen::Vector3d slope;
  for (int k = 0; k < 3; ++k) slope[k] = m.turns_factor[k] * flux_slope(m, theta, k);

  // Direct-current side: the supply's current follows from the bus, the bus from the supply's.
  double drawn_A = 0.0, conductance = 0.0;
  for (int k = 0; k < 3; ++k) {
    drawn_A += law(modes.leg[k], p_.bridge).share * line[k];
    if (in.gate[2 * k] && in.gate[2 * k + 1])
      conductance += 0.5 / p_.bridge.switch_on_resistance_ohm;
  }
  if (modes.bus_diodes) {
    const BusDiodes diodes = bus_diodes(in, p_.bridge);
    conductance += diodes.conductance_S;
    drawn_A += diodes.conductance_S * diodes.knee_V;
  }
  const double esr = p_.dc_link.series_resistance_ohm;
  const double y = 1.0 / p_.supply.resistance_ohm, v0 = p_.supply.voltage_V;
  const auto bus = [&](double fixed_A, double slope_S) {
    return (x.v_cap_V + esr * (fixed_A - drawn_A)) / (1.0 + esr * (slope_S + conductance));
  };
  const double cable_H = p_.supply.cable_inductance_H;
  out.wanted_supply_A = y * (v0 - bus(y * v0, y));
  if (cable_H > 0.0) {
    out.bus_V = bus(x.cable_A, 0.0);
    out.supply_A = x.cable_A;
    out.dcable_A_s = (v0 - p_.supply.resistance_ohm * x.cable_A - out.bus_V) / cable_H;
  } else {
    if (modes.supply == SupplyMode::limited) out.bus_V = bus(p_.supply.current_limit_A, 0.0);
    if (modes.supply == SupplyMode::blocked) out.bus_V = bus(0.0, 0.0);
    if (modes.supply == SupplyMode::linear) out.bus_V = bus(y * v0, y);
    out.supply_A = modes.supply == SupplyMode::linear    ? y * (v0 - out.bus_V)
                   : modes.supply == SupplyMode::limited ? p_.supply.current_limit_A
                                                         : 0.0;
  }
  out.bridge_A = drawn_A + conductance * out.bus_V;
  out.dv_cap_V_s = (out.supply_A - out.bridge_A) / p_.dc_link.capacitance_F;

  // Alternating-current side.
  int conducting = 0;
  for (LegMode leg : modes.leg) conducting += floats(leg) ? 0 : 1;
  const Eigen::Vector3d moving = omega_e * (dL * i), emf = omega_e * slope;
  // Unknowns: di_1, di_2, di_3 of the windings, v_n, v_U, v_V, v_W.
  Eigen::Matrix<double, 7, 7> A = Eigen::Matrix<double, 7, 7>::Zero();
  Eigen::Matrix<double, 7, 1> b = Eigen::Matrix<double, 7, 1>::Zero();
  for (int k = 0; k < 3; ++k) {
    const Thevenin t = law(modes.leg[k], p_.bridge);
    out.emf_V[k] = emf[k];
    for (int j = 0; j < 3; ++j) A(k, j) = L(k, j);
    A(k, 4 + k) = -1.0;
    if (delta())
      A(k, 4 + (k + 1) % 3) = 1.0;
    else
      A(k, 3) = 1.0;
    b[k] = -m.winding_resistance_ohm * m.resistance_factor[k] * i[k] - moving[k] - emf[k];
    if (floats(modes.leg[k])) {  // its line current keeps: dline_k/dt = 0
      A(4 + k, k) = 1.0;
      if (delta()) A(4 + k, (k + 2) % 3) = -1.0;
    } else {
      A(4 + k, 4 + k) = 1.0;  // v_k = law
      b[4 + k] = t.share * out.bus_V + t.source - t.resistance * line[k];
    }
  }
  double potential = 0.0;  // of the first conducting leg, where only one conducts
  int anchor = -1;
  for (int k = 0; k < 3; ++k)
    if (!floats(modes.leg[k])) {
      anchor = k;
      potential = b[4 + k];
    }
  if (delta()) {
    // Without two conducting legs the line currents keep and one potential is free: the last
    // equation of the floating legs follows from the others, so it gives way to the anchor.
    A(3, 3) = 1.0;
    if (conducting < 2) {
      const int k = anchor >= 0 ? anchor : 2;
      for (int j = 0; j < 3; ++j)
        if (j != k) {
          A.row(4 + j).setZero();
          b[4 + j] = 0.0;
          A(4 + j, j) = 1.0;
          A(4 + j, (j + 2) % 3) = -1.0;
        }
      A.row(4 + k).setZero();
      A(4 + k, 4 + k) = 1.0;
      b[4 + k] = potential;
    }
  } else if (conducting >= 2) {
    for (int k = 0; k < 3; ++k) A(3, k) = 1.0;
  }
  if (delta() || conducting >= 2) {
    const Eigen::Matrix<double, 7, 1> s = A.partialPivLu().solve(b);
    for (int k = 0; k < 3; ++k) {
      out.dwinding_A_s[k] = s[k];
      out.terminal_V[k] = s[4 + k];
    }
  } else {  // nothing can flow; one conducting leg, if any, fixes the neutral
    const double v_n = anchor >= 0 ? potential - emf[anchor] : 0.0;
    for (int k = 0; k < 3; ++k) out.terminal_V[k] = v_n + emf[k];
  }
  for (int k = 0; k < 3; ++k)
    out.dline_A_s[k] = out.dwinding_A_s[k] - (delta() ? out.dwinding_A_s[(k + 2) % 3] : 0.0);

  // Shaft.
  out.torque_Nm = m.pole_pairs * (i.dot(slope) + 0.5 * i.dot(dL * i));
  const auto& sh = p_.shaft;
  out.domega_rad_s2 =
      in.speed_held
          ? in.held_acceleration_rad_s2
          : (out.torque_Nm - sh.viscous_friction_Nm_s_per_rad * x.omega_m_rad_s -
             sh.quadratic_drag_Nm_s2_per_rad2 * x.omega_m_rad_s * std::abs(x.omega_m_rad_s) -
             std::copysign(sh.coulomb_friction_Nm, x.omega_m_rad_s) - in.load_Nm) /
                sh.inertia_kg_m2;
  out.dtheta_rad_s = omega_e;
  return out;
}

double AbcCircuit::violation(const AbcState& x, const AbcInputs& in, const AbcModes& modes) const {
  const AbcRates r = rates(x, in, modes);
  const std::array<double, 3> line = lines(x);
  const double vf = p_.bridge.diode_voltage_V;
  double worst = -1.0;
  int conducting = 0;
  for (LegMode leg : modes.leg) conducting += floats(leg) ? 0 : 1;
  for (int k = 0; k < 3; ++k) {
    if (modes.leg[k] == LegMode::low_diode) worst = std::max(worst, -line[k] - i_slack);
    if (modes.leg[k] == LegMode::high_diode) worst = std::max(worst, line[k] - i_slack);
    const LegMode mode = modes.leg[k];
    if (mode == LegMode::high_switch || mode == LegMode::low_switch)
      worst =
          std::max(worst, over_knee(mode == LegMode::high_switch, line[k], p_.bridge) - v_slack);
    if (mode == LegMode::high_shared || mode == LegMode::low_shared)
      worst =
          std::max(worst, -over_knee(mode == LegMode::high_shared, line[k], p_.bridge) - v_slack);
    if (in.open[k] || !floats(mode)) continue;
    if (conducting > 0) {
      worst = std::max(
          {worst, -vf - r.terminal_V[k] - v_slack, r.terminal_V[k] - r.bus_V - vf - v_slack});
    } else {  // no potential is defined, only differences
      for (int j = 0; j < 3; ++j)
        if (!in.open[j])
          worst = std::max(worst, r.terminal_V[k] - r.terminal_V[j] - r.bus_V - 2.0 * vf - v_slack);
    }
  }
  const double beyond_V = -bus_diodes(in, p_.bridge).knee_V - r.bus_V;
  worst = std::max(worst, (modes.bus_diodes ? -beyond_V : beyond_V) - v_slack);
  if (p_.supply.kind == plant::SupplyKind::bench_supply) {
    const double want = r.wanted_supply_A, most = p_.supply.current_limit_A;
    if (modes.supply == SupplyMode::linear)
      worst = std::max({worst, -want - i_slack, want - most - i_slack});
    if (modes.supply == SupplyMode::limited) worst = std::max(worst, most - want - i_slack);
    if (modes.supply == SupplyMode::blocked) worst = std::max(worst, want - i_slack);
  }
  return worst;
}

bool AbcCircuit::consistent(const AbcState& x, const AbcInputs& in, const AbcModes& modes) const {
  if (violation(x, in, modes) > -0.5 * v_slack) return false;
  const AbcRates r = rates(x, in, modes);
  const std::array<double, 3> line = lines(x);
  for (int k = 0; k < 3; ++k) {  // a diode that is about to conduct needs a current that grows
    if (line[k] != 0.0) continue;
    if (modes.leg[k] == LegMode::low_diode && !(r.dline_A_s[k] > 0.0)) return false;
    if (modes.leg[k] == LegMode::high_diode && !(r.dline_A_s[k] < 0.0)) return false;
  }
  return true;
}

AbcModes AbcCircuit::choose(const AbcState& x, const AbcInputs& in) const {
  AbcModes modes;
  const std::array<double, 3> line = lines(x);
  std::array<bool, 3> free = {};
  for (int k = 0; k < 3; ++k) {
    const bool high = in.gate[2 * k], low = in.gate[2 * k + 1];
    if (in.open[k]) continue;
    if (high && low) modes.leg[k] = LegMode::both_switches;
    if (high && !low)
      modes.leg[k] =
          over_knee(true, line[k], p_.bridge) > 0.0 ? LegMode::high_shared : LegMode::high_switch;
    if (low && !high)
      modes.leg[k] =
          over_knee(false, line[k], p_.bridge) > 0.0 ? LegMode::low_shared : LegMode::low_switch;
    if (high || low) continue;
    if (line[k] > 0.0) modes.leg[k] = LegMode::low_diode;
    if (line[k] < 0.0) modes.leg[k] = LegMode::high_diode;
    free[k] = line[k] == 0.0;
  }
  static constexpr LegMode option[3] = {LegMode::floating, LegMode::low_diode, LegMode::high_diode};
  static constexpr SupplyMode source[3] = {SupplyMode::linear, SupplyMode::limited,
                                           SupplyMode::blocked};
  const int supplies = p_.supply.kind == plant::SupplyKind::bench_supply ? 3 : 1;
  for (int diodes = 0; diodes <= 3; ++diodes)  // as few diodes as do
    for (int code = 0; code < 27; ++code) {
      const int pick[3] = {code % 3, code / 3 % 3, code / 9};
      int used = 0;
      bool allowed = true;
      for (int k = 0; k < 3; ++k) {
        used += pick[k] != 0 ? 1 : 0;
        allowed = allowed && (free[k] || pick[k] == 0);
        if (free[k]) modes.leg[k] = option[pick[k]];
      }
      if (!allowed || used != diodes) continue;
      for (int s = 0; s < supplies; ++s) {
        modes.supply = source[s];
        for (const bool held : {false, true}) {
          modes.bus_diodes = held;
          if (consistent(x, in, modes)) return modes;
        }
      }
    }
  throw std::runtime_error("no consistent conduction state");
}

void AbcCircuit::settle(AbcState& x, const AbcInputs& in, const AbcModes& modes) const {
  const std::array<double, 3> before = lines(x);
  std::array<double, 3> line = before;
  std::array<bool, 3> none = {};
  int carrying = 0;
  for (int k = 0; k < 3; ++k) {
    none[k] = in.open[k] || floats(modes.leg[k]) ||
              (modes.leg[k] == LegMode::low_diode && line[k] < i_slack) ||
              (modes.leg[k] == LegMode::high_diode && line[k] > -i_slack);
    carrying += none[k] ? 0 : 1;
  }
  if (carrying < 2) none = {true, true, true};  // two currents vanish together
  double sum = 0.0;
  int last = -1;
  for (int k = 0; k < 3; ++k) {
    if (none[k])
      line[k] = 0.0;
    else
      last = k;
    sum += line[k];
  }
  if (last >= 0) line[last] -= sum;
  set_lines(x, line);
}

void AbcCircuit::cut(AbcState& x, int leg) const {
  const Eigen::Matrix3d L = inductance(winding_angle(x), nullptr);
  const Eigen::Vector3d linked =
      L * Eigen::Vector3d(x.winding_A[0], x.winding_A[1], x.winding_A[2]);
  const int next = (leg + 1) % 3, last = (leg + 2) % 3;
  Eigen::Matrix3d A = Eigen::Matrix3d::Zero();
  Eigen::Vector3d b = Eigen::Vector3d::Zero();
  A(0, leg) = 1.0;  // star: the phase itself; delta: the two windings at the terminal carry alike
  if (delta()) {
    A(0, last) = -1.0;
    A.row(1) = L.colwise().sum();  // round the windings
    b[1] = linked.sum();
    A.row(2) = L.row(next);  // the winding between the other two terminals
    b[2] = linked[next];
  } else {
    A.row(1).setOnes();
    A.row(2) = L.row(next) - L.row(last);  // from one phase back through the other
    b[2] = linked[next] - linked[last];
  }
  const Eigen::Vector3d after = A.partialPivLu().solve(b);
  std::array<double, 3> line;
  for (int k = 0; k < 3; ++k) x.winding_A[k] = after[k];
  line = lines(x);
  line[leg] = 0.0;
  line[last] = -line[next];
  set_lines(x, line);
}

// In star the windings are the lines. In delta the windings of currents that sum to zero are
// i_UV = (i_U - i_V) / 3 and so on, beside what circulates; that is chosen so that the lines come
// out exactly (a line that is meant to be 0 is two equal windings).
void AbcCircuit::set_lines(AbcState& x, const std::array<double, 3>& line) const {
  auto& w = x.winding_A;
  if (!delta()) {
    w = line;
    return;
  }
  const double loop = (w[0] + w[1] + w[2]) / 3.0;
  for (int k = 0; k < 3; ++k) w[k] = loop + (line[k] - line[(k + 1) % 3]) / 3.0;
  if (line[0] == 0.0) w[2] = w[0];
  if (line[1] == 0.0) w[1] = w[0];
  if (line[2] == 0.0) w[2] = w[1];
}

}  // namespace stillrotor::reference
