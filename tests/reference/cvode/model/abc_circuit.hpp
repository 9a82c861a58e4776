// The drive's equations a second time, in phase coordinates, for an independent solver.
//
// State        three winding currents, capacitor voltage, cable current, mechanical speed,
//              electrical angle.
// Machine      flux of winding k: sum_j L_kj(theta) i_j + psi_k(theta), with the 3 x 3 matrix
//              L_kj = n_k n_j [(L_d+L_q)/3 cos(2 pi (k-j)/3)
//                              + (L_d-L_q)/3 cos(2 theta - 2 pi (k+j)/3) + L_zero/3],
//              n the turns factors; delta: windings U-V, V-W, W-U, theta 30 degrees ahead.
// Network      star: v_k - v_n = R i_k + d flux_k/dt with the neutral potential v_n as an unknown
// and
//              sum of di/dt = 0 as its equation. Delta: the windings between the terminals, line
//              currents as their differences. A leg that does not conduct has no change of its line
//              current and its terminal potential as an unknown. One linear system per evaluation.
// Torque       p (sum_k i_k dpsi_k/dtheta + 1/2 i' dL/dtheta i)   (co-energy).
// Conduction   chosen by trying every combination of floating / low diode / high diode of the
//              switched-off legs without current and taking the one without a contradiction.
// Differs on purpose from the plant: frame, unknowns, conduction logic, torque formula.
// Source       derived from Kirchhoff's and Faraday's laws; textbook inductance matrix of a
//              salient-pole machine, from memory.
// Valid        speed does not change its sign (friction is a constant opposing torque).
#pragma once

#include <Eigen/Core>
#include <array>

#include "tests/reference/support/drive_setup.hpp"

namespace stillrotor::reference {

/// *_shared: the switch's channel with its diode beside it, where the channel's drop exceeds the
/// knee.
enum class LegMode {
  floating,
  low_switch,
  high_switch,
  low_diode,
  high_diode,
  both_switches,
  low_shared,
  high_shared
};
enum class SupplyMode { linear, limited, blocked };

struct AbcState {
  std::array<double, 3> winding_A = {0.0, 0.0, 0.0};
  double v_cap_V = 0.0, omega_m_rad_s = 0.0, theta_e_rad = 0.0, cable_A = 0.0;
};

struct AbcInputs {
  std::array<bool, plant::switch_count> gate = {};
  std::array<bool, 3> open = {};
  bool speed_held = false;
  double held_acceleration_rad_s2 = 0.0;  // of the held speed
  double load_Nm = 0.0;
};

struct AbcModes {
  std::array<LegMode, 3> leg = {LegMode::floating, LegMode::floating, LegMode::floating};
  SupplyMode supply = SupplyMode::linear;
  bool bus_diodes = false;  // those across the bus conduct: it stands below zero
};

/// Everything that follows from state, inputs and modes at one instant.
struct AbcRates {
  std::array<double, 3> dwinding_A_s = {}, dline_A_s = {}, terminal_V = {}, emf_V = {};
  double dv_cap_V_s = 0.0, dcable_A_s = 0.0, domega_rad_s2 = 0.0, dtheta_rad_s = 0.0;
  double bus_V = 0.0, supply_A = 0.0, wanted_supply_A = 0.0, bridge_A = 0.0, torque_Nm = 0.0;
};

class AbcCircuit {
 public:
  explicit AbcCircuit(const plant::DriveParameters& parameters) : p_(parameters) {
    p_.machine.back_emf = shape_of(parameters.machine);
  }

  AbcRates rates(const AbcState&, const AbcInputs&, const AbcModes&) const;
  /// Currents out of the legs.
  std::array<double, 3> lines(const AbcState&) const;

  /// The consistent modes at this state; currents of legs that cannot conduct must be exactly 0.
  /// Throws std::runtime_error when every combination contradicts itself.
  AbcModes choose(const AbcState&, const AbcInputs&) const;

  /// How far the modes are violated [V or A]; > 0: an event lies before this state.
  double violation(const AbcState&, const AbcInputs&, const AbcModes&) const;

  /// After an event: currents that a diode has let go become exactly 0, and the rest sums to 0.
  void settle(AbcState&, const AbcInputs&, const AbcModes&) const;

  /// Winding currents that give these line currents; what circulates in a delta stays.
  void set_lines(AbcState&, const std::array<double, 3>& line_A) const;

  /// Parts a leg's conductor at once: linkages of the paths that do not lead through it stay.
  void cut(AbcState&, int leg) const;

  const plant::DriveParameters& parameters() const { return p_; }

 private:
  bool consistent(const AbcState&, const AbcInputs&, const AbcModes&) const;
  Eigen::Matrix3d inductance(double theta_winding, Eigen::Matrix3d* slope) const;
  double winding_angle(const AbcState&) const;
  bool delta() const { return p_.machine.connection == plant::Connection::delta; }
  plant::DriveParameters p_;
};

}  // namespace stillrotor::reference
