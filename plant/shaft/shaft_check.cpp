// What shaft and load may be.
#include "plant/drive_impl.hpp"
#include "plant/require.hpp"

namespace stillrotor::plant {
namespace {

void share(const char* name, double x) { require(x > 0.0 && x <= 1.0, name, x, "above 0 to 1"); }

}  // namespace

void check_shaft(const ShaftParameters& s) {
  above_zero("load.inertia", s.inertia_kg_m2);
  not_negative("load.viscous_friction", s.viscous_friction_Nm_s_per_rad);
  not_negative("load.quadratic_drag", s.quadratic_drag_Nm_s2_per_rad2);
  not_negative("load.coulomb_friction", s.coulomb_friction_Nm);
  not_negative("load.cart_mass", s.cart_mass_kg);
  above_zero("load.wheel_radius", s.wheel_radius_m);
  above_zero("load.gear_ratio", s.gear_ratio);
  not_negative("load.rolling_resistance", s.rolling_resistance);
  share("load.gear_efficiency", s.gear_efficiency);
  require(s.gear_efficiency >= 1.0 || s.coupling != Coupling::elastic, "load.gear_efficiency",
          s.gear_efficiency, "1 with an elastic coupling");
  above_zero("load.spring.stiffness", s.stiffness_Nm_per_rad);
  not_negative("load.spring.damping", s.torsion_damping_Nm_s_per_rad);
  not_negative("load.load_inertia", s.load_inertia_kg_m2);
  require(s.coupling == Coupling::rigid || s.cart_mass_kg > 0.0 ||
              (s.load_inertia_kg_m2 > 0.0 && s.coupling != Coupling::slipping),
          "load.load_inertia", s.load_inertia_kg_m2,
          "above 0, or a cart_mass, behind a freewheel or elastic coupling; a cart_mass behind a "
          "tyre");
  require(true, "load.torque", s.constant_torque_Nm, "finite");
  not_negative("load.static_torque", s.static_torque_Nm);
  not_negative("load.power", s.constant_power_W);
  above_zero("load.power_floor", s.power_floor_rad_s);
  not_negative("load.drag_area", s.drag_area_m2);
  not_negative("load.air_density", s.air_density_kg_m3);
  share("load.tyre.driven_weight_share", s.driven_weight_share);
  above_zero("load.tyre.peak_friction", s.peak_friction);
  require(s.slide_friction > 0.0 && s.slide_friction <= s.peak_friction, "load.tyre.slide_friction",
          s.slide_friction, "above 0 to peak_friction");
  above_zero("load.tyre.peak_slip", s.peak_slip);
  above_zero("load.tyre.slip_floor", s.slip_floor_m_s);
  require(s.pedal_ripple >= 0.0 && s.pedal_ripple <= 1.0, "load.pedals.ripple", s.pedal_ripple,
          "0 to 1");
  above_zero("load.pedals.gear", s.pedal_gear);
  not_negative("load.dynamometer.gain", s.hold_gain_Nm_s_per_rad);
  above_zero("load.dynamometer.torque_limit", s.hold_torque_limit_Nm);
}

}  // namespace stillrotor::plant
