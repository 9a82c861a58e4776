// The shaft's equations (shaft.hpp), for one or two masses, and the powers in them.
//   gear        g T_x at the motor for T_x at the load: g = 1/eta while the motor drives, eta while
//               the load does, so that either way (g - 1) T_x omega >= 0 is lost
//   elastic     T_x = k twist + c (omega - omega_2),  dtwist/dt = omega - omega_2
//   tyre        T_x = mu(slip) N r/G,  mu = mu_peak sin(C atan(B slip)), slip = (v_wheel - v) /
//               sqrt(v^2 + v_floor^2); C and B from the slide friction sin(C pi/2) = mu_slide /
//               mu_peak and from the peak B slip_peak = tan(pi / (2 C))
//   load        T = k omega_2 |omega_2| + rho/2 CdA (v + wind) |v + wind| r/G + P omega_2 /
//               max(omega_2^2, omega_floor^2) + given torque and slope - pedals
//   pedals      mean (1 - ripple cos 2 theta_crank) / (pedal gear * G)
//   dynamometer imposes the speed, or gives gain (set - omega) within its limit
// Source: textbook mechanics; tyre curve of the form of E. Bakker, L. Nyborg, H. B. Pacejka, Tyre
//   modelling for use in vehicle dynamics studies, SAE 870421, 1987: from memory.
// RT: safe. O(1).
#pragma once

#include <algorithm>
#include <cmath>
#include <cstdint>

#include "plant/frames.hpp"
#include "plant/shaft/shaft.hpp"

namespace stillrotor::plant {

/// What drives the shaft from outside, at one point in time.
struct ShaftInputs {
  double load_Nm = 0.0;   // load torque and slope, at the motor shaft
  double wind_m_s = 0.0;  // against the vehicle
  double pedal_Nm = 0.0;  // mean, at the crank
  double held_rad_s = 0.0;
};

/// What stands at one point.
struct ShaftPoint {
  double torque_Nm = 0.0;  // of the machine
  double omega = 0.0, omega_2 = 0.0, twist_rad = 0.0;
  double theta_2_rad = 0.0;  // load side, on the motor's side of the gear
};

/// What holds until the next event.
struct ShaftMode {
  bool held = false;                         // a dynamometer acts
  double held_rate = 0.0;                    // rad/s^2
  bool apart = false;                        // two speeds
  std::int8_t rotation = 0, rotation_2 = 0;  // +1, -1 sliding; 0 held by friction
  std::int8_t power_flow = 1;                // sign of T_x, where the gear has losses
};

struct ShaftRates {
  double omega = 0.0, omega_2 = 0.0, twist = 0.0;
  double load_Nm = 0.0;     // all that the load asks but friction
  double through_Nm = 0.0;  // T_x
  double holder_Nm = 0.0;   // what the dynamometer adds
};

struct ShaftPowers {
  double heat_W = 0.0;  // friction, gear, torsion, tyre
  double load_W = 0.0;  // to the load, less what pedals and dynamometer give
};

/// What a mass does by itself at the torque `net` (its friction left out).
struct Alone {
  std::int8_t direction;
  double rate;
};

struct ShaftLaw {
  explicit ShaftLaw(const ShaftParameters& s)
      : coupling(s.coupling),
        efficiency(s.gear_efficiency),
        viscous(s.viscous_friction_Nm_s_per_rad),
        coulomb(s.coulomb_friction_Nm),
        stiffness(s.stiffness_Nm_per_rad),
        damping(s.torsion_damping_Nm_s_per_rad),
        lever_m(s.wheel_radius_m / s.gear_ratio),
        fan(s.quadratic_drag_Nm_s2_per_rad2),
        air(0.5 * s.air_density_kg_m3 * s.drag_area_m2 * lever_m * lever_m * lever_m),
        power_W(s.constant_power_W),
        power_floor(s.power_floor_rad_s),
        pedal_share(1.0 / (s.pedal_gear * s.gear_ratio)),
        pedal_ripple(s.pedal_ripple),
        slip_floor(s.slip_floor_m_s / lever_m),
        hold_gain(s.hold_gain_Nm_s_per_rad),
        hold_limit(s.hold_torque_limit_Nm) {
    const double wheel = s.load_inertia_kg_m2 / (s.gear_ratio * s.gear_ratio);
    const double vehicle = s.cart_mass_kg * lever_m * lever_m;
    const bool tyre = coupling == Coupling::slipping;
    inertia = s.inertia_kg_m2 + (tyre ? wheel : 0.0);
    inertia_2 = vehicle + (tyre ? 0.0 : wheel);
    weight_lever = s.cart_mass_kg * gravity_m_s2 * lever_m;
    stand_on(s, {}, {});
    curve_c = 2.0 - 2.0 / pi * std::asin(std::min(1.0, s.slide_friction / s.peak_friction));
    curve_b = std::tan(pi / (2.0 * curve_c)) / s.peak_slip;
  }

  /// RT: safe.
  void stand_on(const ShaftParameters& s, const RoadSurface& road,
                const ShaftFaults& now) noexcept {
    coulomb = s.coulomb_friction_Nm + now.bearing_Nm;
    coulomb_2 = road.rolling_share * s.rolling_resistance * weight_lever + s.static_torque_Nm;
    grip =
        road.grip_share * now.grip_share * s.driven_weight_share * s.peak_friction * weight_lever;
    freewheels = s.coupling == Coupling::freewheel && now.freewheel == FreewheelFault::none;
  }

  static constexpr double gravity_m_s2 = 9.80665;  // standard acceleration of gravity, ISO 80000-3

  Coupling coupling;
  double efficiency, viscous, coulomb, stiffness, damping, lever_m, fan, air, power_W, power_floor,
      pedal_share, pedal_ripple, slip_floor, hold_gain, hold_limit;
  double inertia, inertia_2, weight_lever, coulomb_2, grip, curve_b, curve_c;
  bool freewheels;  // a freewheel that works

  /// One mass, no kink, no losses in the gear: the fast steps can do it while no wind blows.
  bool plain() const noexcept {
    return coupling == Coupling::rigid && efficiency >= 1.0 && power_W <= 0.0 && hold_gain <= 0.0;
  }
  /// Nothing on the shaft ever sticks, opens or turns round.
  bool never_changes() const noexcept {
    return coupling != Coupling::freewheel && efficiency >= 1.0 && coulomb + coulomb_2 <= 0.0;
  }
  bool always_apart() const noexcept {
    return coupling == Coupling::elastic || coupling == Coupling::slipping;
  }
  bool imposes(const ShaftMode& m) const noexcept { return m.held && hold_gain <= 0.0; }
  /// Whether a mass (both, while they turn together) can stand still by friction.
  bool sticks(const ShaftMode& m) const noexcept {
    return coulomb > 0.0 || efficiency < 1.0 || (!m.apart && coulomb_2 > 0.0);
  }

  /// g for T_x of this sign while turning in this direction.
  double gear(double through_sign, double direction) const noexcept {
    if (efficiency >= 1.0) return 1.0;
    return through_sign * direction > 0.0 ? 1.0 / efficiency : efficiency;
  }

  double holder_Nm(double omega, const ShaftInputs& in, const ShaftMode& m) const noexcept {
    return m.held && hold_gain > 0.0
               ? std::clamp(hold_gain * (in.held_rad_s - omega), -hold_limit, hold_limit)
               : 0.0;
  }

  /// All that the load asks but friction, at the motor shaft.
  double load_Nm(double omega_2, double theta_2, const ShaftInputs& in) const noexcept {
    const double x = omega_2 + in.wind_m_s / lever_m;
    double torque = in.load_Nm + fan * omega_2 * std::abs(omega_2) + air * x * std::abs(x);
    if (power_W > 0.0)
      torque += power_W * omega_2 / std::max(omega_2 * omega_2, power_floor * power_floor);
    if (in.pedal_Nm != 0.0)
      torque -=
          in.pedal_Nm * pedal_share * (1.0 - pedal_ripple * std::cos(2.0 * theta_2 * pedal_share));
    return torque;
  }

  /// T_x while there are two speeds.
  double through_Nm(const ShaftPoint& y) const noexcept {
    if (coupling == Coupling::elastic)
      return stiffness * y.twist_rad + damping * (y.omega - y.omega_2);
    if (coupling == Coupling::slipping) {
      const double slip = (y.omega - y.omega_2) / std::hypot(y.omega_2, slip_floor);
      return grip * std::sin(curve_c * std::atan(curve_b * slip));
    }
    return 0.0;
  }

  static Alone alone(double net, double friction, double inertia, double omega) noexcept {
    int direction = (omega > 0.0) - (omega < 0.0);
    if (direction == 0 && friction > 0.0) direction = (net > friction) - (net < -friction);
    const bool stands = direction == 0 && friction > 0.0;
    return {static_cast<std::int8_t>(direction),
            stands ? 0.0 : (net - friction * direction) / inertia};
  }

  ShaftRates rates(const ShaftPoint& y, const ShaftInputs& in, const ShaftMode& m) const noexcept {
    ShaftRates out;
    const bool imposed = imposes(m);
    out.holder_Nm = holder_Nm(y.omega, in, m);
    const double turn = imposed ? (y.omega > 0.0) - (y.omega < 0.0) : m.rotation;
    const double free = y.torque_Nm + out.holder_Nm - viscous * y.omega - coulomb * turn;
    const bool stuck = !imposed && m.rotation == 0 && sticks(m);
    const double g = gear(m.power_flow, turn);
    if (m.apart) {
      out.through_Nm = through_Nm(y);
      out.omega = imposed ? m.held_rate : stuck ? 0.0 : (free - g * out.through_Nm) / inertia;
      out.load_Nm = load_Nm(y.omega_2, y.theta_2_rad, in);
      const double net_2 = out.through_Nm - out.load_Nm - coulomb_2 * m.rotation_2;
      out.omega_2 = m.rotation_2 == 0 && coulomb_2 > 0.0 ? 0.0 : net_2 / inertia_2;
      out.twist = y.omega - y.omega_2;
    } else {
      out.load_Nm = load_Nm(y.omega, y.theta_2_rad, in);
      const double asked = out.load_Nm + coulomb_2 * turn;
      out.omega = imposed ? m.held_rate
                  : stuck ? 0.0
                          : (free - g * asked) / (inertia + g * inertia_2);
      out.omega_2 = out.omega;
      out.through_Nm = asked + inertia_2 * out.omega;
    }
    if (imposed) out.holder_Nm = inertia * out.omega + g * out.through_Nm - free;
    return out;
  }

  ShaftPowers powers(const ShaftPoint& y, const ShaftInputs& in, const ShaftMode& m,
                     const ShaftRates& r) const noexcept {
    const double omega_2 = m.apart ? y.omega_2 : y.omega;
    const double turn = (y.omega > 0.0) - (y.omega < 0.0);
    const double turn_2 = (omega_2 > 0.0) - (omega_2 < 0.0);
    ShaftPowers p;
    p.heat_W = viscous * y.omega * y.omega + coulomb * turn * y.omega +
               coulomb_2 * turn_2 * omega_2 +
               (gear(m.power_flow, turn) - 1.0) * r.through_Nm * y.omega;
    const double difference = y.omega - omega_2;
    if (coupling == Coupling::elastic) p.heat_W += damping * difference * difference;
    if (coupling == Coupling::slipping) p.heat_W += r.through_Nm * difference;
    p.load_W = load_Nm(omega_2, y.theta_2_rad, in) * omega_2 - r.holder_Nm * y.omega;
    return p;
  }

  /// Energy in both masses and the spring [J].
  double stored_J(double omega, double omega_2, double twist_rad) const noexcept {
    return 0.5 * (inertia * omega * omega + inertia_2 * omega_2 * omega_2 +
                  (coupling == Coupling::elastic ? stiffness * twist_rad * twist_rad : 0.0));
  }

  /// What the fastest time constant allows here: a twentieth of the spring's period over 2 pi, an
  /// eighth of what damps.
  double step_max_s(double omega_2, const ShaftMode& m) const noexcept {
    double limit = 1.0;
    if (m.held && hold_gain > 0.0)
      limit = 0.125 * (m.apart ? inertia : inertia + efficiency * inertia_2) / hold_gain;
    const double joint = 1.0 / inertia + (inertia_2 > 0.0 ? 1.0 / inertia_2 : 0.0);
    if (coupling == Coupling::elastic) {
      limit = std::min(limit, 0.05 / std::sqrt(stiffness * joint));
      if (damping > 0.0) limit = std::min(limit, 0.125 / (damping * joint));
    }
    if (coupling == Coupling::slipping)
      limit = std::min(
          limit, 0.125 * std::hypot(omega_2, slip_floor) / (grip * curve_c * curve_b * joint));
    return limit;
  }
};

}  // namespace stillrotor::plant
