// Rows of the parameter table: shaft and load.
#include "emulator/bench/parameter_rows.hpp"
#include "emulator/bench/parameter_table.hpp"

namespace stillrotor {

using namespace rows;

#define SHAFT(member) AT(bench.drive.shaft.member)

std::vector<Parameter> load_parameters() {
  return {
      choice("load.kind", AT(load_kind),
             {"cart", "fan", "pump", "constant_torque", "constant_power", "dynamometer", "locked"},
             by_default("cart"), "what the machine drives; it decides what else can be said"),
      // motor side
      real("load.inertia", SHAFT(inertia_kg_m2), Family::inertia, above("0 kg m^2", "10000 kg m^2"),
           required, "rotor and what turns with it"),
      real("load.viscous_friction", SHAFT(viscous_friction_Nm_s_per_rad), Family::viscous_friction,
           between("0 N m s/rad", "1000 N m s/rad"), by_default("0 N m s/rad"),
           "friction torque over speed, at the motor shaft"),
      real("load.coulomb_friction", SHAFT(coulomb_friction_Nm), Family::torque,
           between("0 N m", "10000 N m"), by_default("0 N m"),
           "friction torque that does not depend on speed, at the motor shaft"),
      // between the sides
      real("load.gear_ratio", SHAFT(gear_ratio), Family::ratio, above("0", "1000"), by_default("1"),
           "motor turns per turn of the load"),
      real("load.gear_efficiency", SHAFT(gear_efficiency), Family::ratio, between("10 %", "100 %"),
           by_default("100 %"), "share of power that passes the gear, in either direction"),
      choice("load.coupling", AT(coupling), {"rigid", "freewheel", "elastic", "slipping"},
             by_default("rigid"),
             "between motor and load: firm, one way only, a spring, a tyre that slips"),
      real("load.spring.stiffness", SHAFT(stiffness_Nm_per_rad), Family::torsional_stiffness,
           above("0 N m/rad", "10000000 N m/rad"), by_default("1000 N m/rad"),
           "of an elastic coupling, at the motor shaft"),
      real("load.spring.damping", SHAFT(torsion_damping_Nm_s_per_rad), Family::viscous_friction,
           between("0 N m s/rad", "1000 N m s/rad"), by_default("0 N m s/rad"),
           "of an elastic coupling, at the motor shaft"),
      // load side
      real("load.load_inertia", SHAFT(load_inertia_kg_m2), Family::inertia,
           between("0 kg m^2", "10000 kg m^2"), by_default("0 kg m^2"),
           "behind the gear, on the load's own axle: wheel, fan, pump"),
      real("load.quadratic_drag", SHAFT(quadratic_drag_Nm_s2_per_rad2), Family::quadratic_drag,
           above("0 N m s^2/rad^2", "1000 N m s^2/rad^2"), optional,
           "fan or pump: torque over the square of speed, at the motor shaft"),
      real("load.static_torque", SHAFT(static_torque_Nm), Family::torque,
           between("0 N m", "10000 N m"), by_default("0 N m"),
           "pump: of the static head behind a non-return valve, at the motor shaft"),
      real("load.torque", SHAFT(constant_torque_Nm), Family::torque,
           between("-10000 N m", "10000 N m"), optional,
           "hanging load, at the motor shaft: opposes positive speed, drives back what gives way"),
      real("load.power", SHAFT(constant_power_W), Family::power, above("0 W", "1000000 W"),
           optional, "that the load takes at any speed above power_floor"),
      real("load.power_floor", SHAFT(power_floor_rad_s), Family::rotational_speed,
           above("0 rpm", "100000 rpm"), by_default("100 rpm"),
           "speed of the motor below which the torque of constant power falls with speed"),
      // vehicle
      real("load.cart_mass", SHAFT(cart_mass_kg), Family::mass, between("0 kg", "100000 kg"),
           by_default("0 kg"), "cart, driver and goods; 0: no cart"),
      real("load.wheel_radius", SHAFT(wheel_radius_m), Family::length, above("0 m", "10 m"),
           by_default("250 mm"), "rolling radius of the driven wheel"),
      real("load.rolling_resistance", SHAFT(rolling_resistance), Family::ratio, between("0", "1"),
           by_default("0"), "force over weight"),
      real("load.drag_area", SHAFT(drag_area_m2), Family::area, between("0 m^2", "100 m^2"),
           by_default("0 m^2"), "drag coefficient times frontal area"),
      real("load.air_density", SHAFT(air_density_kg_m3), Family::density,
           between("0 kg/m^3", "10 kg/m^3"), by_default("1.225 kg/m^3"), "around the cart"),
      real("load.tyre.driven_weight_share", SHAFT(driven_weight_share), Family::ratio,
           above("0", "1"), by_default("1"), "share of the weight on the driven wheels"),
      real("load.tyre.peak_friction", SHAFT(peak_friction), Family::ratio, above("0", "3"),
           by_default("0.8"), "greatest traction over load of the driven wheels"),
      real("load.tyre.slide_friction", SHAFT(slide_friction), Family::ratio, above("0", "3"),
           by_default("0.6"), "the same of a wheel that spins or is locked"),
      real("load.tyre.peak_slip", SHAFT(peak_slip), Family::ratio, between("1 %", "100 %"),
           by_default("15 %"), "slip of greatest traction"),
      real("load.tyre.slip_floor", SHAFT(slip_floor_m_s), Family::speed,
           between("0.05 m/s", "10 m/s"), by_default("0.5 m/s"),
           "below it slip is taken relative to this speed: a standing tyre creeps"),
      real("load.pedals.ripple", SHAFT(pedal_ripple), Family::ratio, between("0", "1"),
           by_default("0"), "swing of pedal torque over its mean, twice a turn of the crank"),
      real("load.pedals.gear", SHAFT(pedal_gear), Family::ratio, above("0", "100"), by_default("1"),
           "wheel turns per turn of the crank"),
      // dynamometer
      real("load.dynamometer.gain", SHAFT(hold_gain_Nm_s_per_rad), Family::viscous_friction,
           between("0 N m s/rad", "100000 N m s/rad"), by_default("0 N m s/rad"),
           "torque over speed error; 0: holds the speed whatever torque that takes"),
      real("load.dynamometer.torque_limit", SHAFT(hold_torque_limit_Nm), Family::torque,
           above("0 N m", "1000000000 N m"), by_default("1000000000 N m"),
           "greatest torque of a dynamometer with a gain"),
  };
}

}  // namespace stillrotor
