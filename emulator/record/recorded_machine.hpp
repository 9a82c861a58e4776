// What a record says of the machine, so that measures can compare with what it could do.
#pragma once

namespace stillrotor {

/// A permanent-magnet machine with constant inductances and equal windings, as its equivalent star,
/// at its reference temperature. Other machines have no such constants.
struct RecordedMachine {
  double winding_resistance_ohm = 0.0;  // per phase
  double inductance_d_H = 0.0, inductance_q_H = 0.0;
  double flux_linkage_Wb = 0.0;  // fundamental, peak
  double reference_temperature_K = 293.15;
  double winding_temperature_coefficient_per_K = 0.00393;  // at 293.15 K
};

/// Attribute names in the record and where they go; all of them or none.
struct MachineAttribute {
  const char* name;
  double RecordedMachine::*value;
};
inline constexpr MachineAttribute machine_attributes[] = {
    {"winding_resistance_ohm", &RecordedMachine::winding_resistance_ohm},
    {"inductance_d_H", &RecordedMachine::inductance_d_H},
    {"inductance_q_H", &RecordedMachine::inductance_q_H},
    {"flux_linkage_Wb", &RecordedMachine::flux_linkage_Wb},
    {"reference_temperature_K", &RecordedMachine::reference_temperature_K},
    {"winding_temperature_coefficient_per_K",
     &RecordedMachine::winding_temperature_coefficient_per_K}};

/// Which losses the bench computes beside those of windings, conduction and friction: of the others
/// the record says nothing where it holds zeros.
struct RecordedLosses {
  bool rotor = false, iron = false, switching = false;
};
struct LossAttribute {
  const char* name;
  bool RecordedLosses::*there;
};
inline constexpr LossAttribute loss_attributes[] = {
    {"has_rotor_loss", &RecordedLosses::rotor},
    {"has_iron_loss", &RecordedLosses::iron},
    {"has_switching_loss", &RecordedLosses::switching}};

}  // namespace stillrotor
