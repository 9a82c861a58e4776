// Rotor, gear and load.
//   J domega/dt = T - B omega - T_c sign(omega) - g T_x
//   J_2 domega_2/dt = T_x - k omega_2 |omega_2| - rho/2 CdA v |v| r/G - T_r sign(omega_2) - T_load
//   rigid     omega_2 = omega;   elastic   T_x = c_s twist + d (omega - omega_2)
//   slipping  T_x = mu(slip) N r/G, a tyre
// g = 1/eta while the motor drives the load, eta while the load does.
// Source  plant/shaft's model, written down anew.
// Valid   no speed changes its sign (friction is a constant opposing torque).
#pragma once

#include "tests/reference/cvode/model/circuit_state.hpp"

namespace stillrotor::reference {

class Turning {
 public:
  explicit Turning(const plant::DriveParameters& p)
      : s_(p.shaft), machine_(p.machine), pole_pairs_(p.pole_pairs()) {}

  bool two_speeds() const {
    return s_.coupling == plant::Coupling::elastic || s_.coupling == plant::Coupling::slipping;
  }
  bool loses() const { return s_.gear_efficiency < 1.0; }
  int pole_pairs() const { return pole_pairs_; }
  /// Fills speeds', angle's and twist's rates and through_W; the machine's torque without cogging.
  void rates(const AbcState&, const AbcInputs&, const AbcModes&, double torque_Nm,
             double linkage_Wb, AbcRates&) const;
  /// The drag of iron losses [N m], against the turning.
  double iron_Nm(const AbcState&, double linkage_Wb) const;

 private:
  double cogging_Nm(const AbcState&) const;
  double load_Nm(double omega_2, const AbcState&, const AbcInputs&) const;
  double tyre_Nm(double omega, double omega_2) const;
  plant::ShaftParameters s_;
  plant::PermanentMagnetParameters machine_;
  int pole_pairs_;
};

}  // namespace stillrotor::reference
