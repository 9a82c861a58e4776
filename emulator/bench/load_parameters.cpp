// Rows of the parameter table: shaft and load.
#include "emulator/bench/parameter_rows.hpp"
#include "emulator/bench/parameter_table.hpp"

namespace stillrotor {

using namespace rows;

std::vector<Parameter> load_parameters() {
  return {
      real("load.inertia", AT(bench.drive.shaft.inertia_kg_m2), Family::inertia,
           above("0 kg m^2", "10000 kg m^2"), required, "rotor and what turns with it"),
      real("load.viscous_friction", AT(bench.drive.shaft.viscous_friction_Nm_s_per_rad),
           Family::viscous_friction, between("0 N m s/rad", "1000 N m s/rad"),
           by_default("0 N m s/rad"), "friction torque over speed, at the motor shaft"),
      real("load.coulomb_friction", AT(bench.drive.shaft.coulomb_friction_Nm), Family::torque,
           between("0 N m", "10000 N m"), by_default("0 N m"),
           "friction torque that does not depend on speed, at the motor shaft"),
      real("load.cart_mass", AT(bench.drive.shaft.cart_mass_kg), Family::mass,
           between("0 kg", "100000 kg"), by_default("0 kg"), "cart, driver and goods; 0: no cart"),
      real("load.wheel_radius", AT(bench.drive.shaft.wheel_radius_m), Family::length,
           above("0 m", "10 m"), by_default("250 mm"), "rolling radius of the driven wheel"),
      real("load.gear_ratio", AT(bench.drive.shaft.gear_ratio), Family::ratio, above("0", "1000"),
           by_default("1"), "motor turns per wheel turn"),
      real("load.rolling_resistance", AT(bench.drive.shaft.rolling_resistance), Family::ratio,
           between("0", "1"), by_default("0"), "force over weight"),
  };
}

}  // namespace stillrotor
