// Rotor, gear and load.
//   J domega/dt = T - B omega - T_c turn - g T_x
//   J_2 domega_2/dt = T_x - T_load(omega_2) - T_r turn_2
//   T_load    k omega_2 |omega_2| + rho/2 CdA (v + wind) |v + wind| r/G + P omega_2 /
//   max(omega_2^2,
//             floor^2) + m g r/G sin(slope) - pedals + what is given
//   rigid     omega_2 = omega;   elastic   T_x = c_s twist + d (omega - omega_2)
//   slipping  T_x = mu(slip) N r/G, a tyre
//   freewheel rigid while T_x >= 0, else apart with T_x = 0 until omega reaches omega_2
// g = 1/eta while T_x drives the way the rotor turns, eta while it brakes.
// Modes     turn = sign(omega); a side at rest stays there while no way to slide sets it moving:
//           each is tried.
// Source    plant/shaft's model, written down anew.
#pragma once

#include "tests/reference/cvode/model/circuit_state.hpp"

namespace stillrotor::reference {

class Turning {
 public:
  explicit Turning(const plant::DriveParameters&);

  int pole_pairs() const { return pole_pairs_; }
  /// Fills speeds', angle's and twist's rates; machine_Nm of these is asked for.
  void rates(const AbcState&, const AbcInputs&, const ShaftModes&, AbcRates&) const;
  double cogging_Nm(const AbcState&) const;
  bool has_iron_losses() const { return machine_.iron_loss.reference_W > 0.0; }
  double iron_drag_Nm(const AbcState&, double linkage_Wb) const;

  ShaftModes choose(const AbcState&, const AbcInputs&, double machine_Nm) const;
  /// How far the modes are violated [rad/s, N m or 1e-3 rad/s^2]; > 0: an event lies before.
  double violation(const AbcState&, const AbcInputs&, const ShaftModes&, double machine_Nm) const;
  /// After an event: what friction holds stands; sides that meet go on by momentum.
  void settle(AbcState&, const AbcInputs&, const ShaftModes&) const;
  /// A fault comes or goes at this moment.
  void set_freewheel(AbcState&, AbcInputs&, plant::FreewheelFault) const;

 private:
  struct Motion {
    double rate, rate_2, through_Nm;
  };
  Motion motion(const AbcState&, const AbcInputs&, const ShaftModes&, double machine_Nm) const;
  /// The largest acceleration with which what friction holds would set out.
  double setting_out(const AbcState&, const AbcInputs&, const ShaftModes&, double machine_Nm) const;
  double load_Nm(double omega_2, const AbcState&, const AbcInputs&) const;
  double tyre_Nm(double omega, double omega_2) const;
  void join(AbcState&, const AbcInputs&, const ShaftModes&) const;
  double gear(bool drives) const { return drives ? 1.0 / s_.gear_efficiency : s_.gear_efficiency; }
  bool freewheels(const AbcInputs&) const;
  bool two_speeds(const AbcInputs&, const ShaftModes&) const;
  /// Whether friction can hold the motor side (both sides, while they turn together); the load's.
  bool sticks(const AbcInputs&, const ShaftModes&) const;
  bool load_sticks() const { return friction_2_Nm_ > 0.0; }

  plant::ShaftParameters s_;
  plant::PermanentMagnetParameters machine_;
  int pole_pairs_;
  double lever_m_, inertia_, inertia_2_, friction_2_Nm_;
};

}  // namespace stillrotor::reference
