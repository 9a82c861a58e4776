// What changes by itself on the shaft: friction that lets go or holds, a freewheel that opens or
// locks, a gear whose power turns round; and how fast the rotor can gain speed at most.
#include "plant/flow.hpp"

namespace stillrotor::plant {
namespace {

constexpr std::int8_t sign_of(double x) noexcept {
  return static_cast<std::int8_t>((x > 0.0) - (x < 0.0));
}

/// A mass that has just come to zero, or stood there, stands; any other slides on. True: it stands.
bool comes_to_rest(double& omega, std::int8_t& rotation) noexcept {
  if (omega * rotation > 0.0) return false;
  if (rotation == 0 && omega != 0.0) {
    rotation = sign_of(omega);
    return false;
  }
  omega = 0.0;
  rotation = 0;
  return true;
}

/// Torque beyond what holds a standing shaft, forward and backward; > 0: it lets go. The load asks
/// load_ahead when it goes forward, load_back when it goes backward.
struct Excess {
  double forward, backward;
};
Excess excess_at_rest(const ShaftLaw& law, double drive_Nm, double load_ahead,
                      double load_back) noexcept {
  return {drive_Nm - law.coulomb - law.gear(load_ahead, 1.0) * load_ahead,
          law.gear(load_back, -1.0) * load_back - drive_Nm - law.coulomb};
}

std::int8_t sets_out(const Excess& e) noexcept {
  return static_cast<std::int8_t>(e.forward > 0.0 ? 1 : e.backward > 0.0 ? -1 : 0);
}

/// How much faster the motor side would gain speed than the load side if nothing joined them:
/// negative opens a freewheel.
double pushing(const ShaftLaw& law, double drive_Nm, double load_Nm, double omega, bool imposed,
               double imposed_rate) noexcept {
  const Alone motor =
      ShaftLaw::alone(drive_Nm - law.viscous * omega, law.coulomb, law.inertia, omega);
  const Alone load = ShaftLaw::alone(-load_Nm, law.coulomb_2, law.inertia_2, omega);
  return (imposed ? imposed_rate : motor.rate) - load.rate;
}

/// The speed of two sides that meet, by the momentum that the gear leaves of what it passes on:
/// dp = g dp_2. Where the motor side passes through rest its g changes.
double met_rad_s(const ShaftLaw& law, double omega, double omega_2) noexcept {
  const double push = omega > omega_2 ? 1.0 : -1.0;  // on the load side
  const auto joint = [&](double way) {
    const double g = law.gear(push, way);
    return (law.inertia * omega + g * law.inertia_2 * omega_2) / (law.inertia + g * law.inertia_2);
  };
  const double speed = joint(omega != 0.0 ? omega : -push);
  if (speed * omega >= 0.0) return speed;
  omega_2 += law.inertia * omega / (law.gear(push, omega) * law.inertia_2);
  omega = 0.0;
  return joint(-push);
}

}  // namespace

double Drive::Impl::motion_margin(const ShaftPoint& y, const ShaftInputs& in) const noexcept {
  const ShaftMode now = shaft_mode();
  const bool imposed = shaft_law.imposes(now);
  const double drive_Nm = y.torque_Nm + shaft_law.holder_Nm(y.omega, in, now);
  const double load_Nm = shaft_law.load_Nm(y.omega_2, y.theta_2_rad, in);
  const bool freewheel = shaft_law.freewheels;
  const double through = now.apart ? shaft_law.through_Nm(y) : 0.0;
  double least = 1e300;
  if (!imposed && shaft_law.sticks(now)) {
    if (now.rotation != 0) {
      least = y.omega * now.rotation;
    } else {
      const Excess e = now.apart
                           ? excess_at_rest(shaft_law, drive_Nm, through, through)
                           : excess_at_rest(shaft_law, drive_Nm, load_Nm + shaft_law.coulomb_2,
                                            load_Nm - shaft_law.coulomb_2);
      least = -std::max(e.forward, e.backward);
    }
  }
  if (now.apart && shaft_law.coulomb_2 > 0.0)
    least =
        std::min(least, now.rotation_2 != 0 ? y.omega_2 * now.rotation_2
                                            : shaft_law.coulomb_2 - std::abs(through - load_Nm));
  if (freewheel)
    least = std::min(
        least, now.apart ? y.omega_2 - y.omega
                         : pushing(shaft_law, drive_Nm, load_Nm, y.omega, imposed, now.held_rate));
  if (shaft_law.efficiency < 1.0 && now.rotation != 0 && !freewheel)
    least = std::min(least, now.power_flow * shaft_law.rates(y, in, now).through_Nm);
  return least;
}

void Drive::Impl::choose_motion() noexcept {
  if (shaft_law.never_changes()) return;
  const Drivers drivers_now = drivers(0.0);
  const ShaftInputs in = shaft_inputs(drivers_now);
  const bool imposed = shaft_law.imposes(shaft_mode());
  const bool freewheel = shaft_law.freewheels;
  double& omega = s.omega_m_rad_s;
  double& omega_2 = s.extra.omega_2_rad_s;
  if (!s.apart) {
    omega_2 = omega;
    s.rotation_2 = s.rotation;
  }
  bool stands = !imposed && shaft_law.sticks(shaft_mode()) && comes_to_rest(omega, s.rotation);
  bool stands_2 = s.apart && shaft_law.coulomb_2 > 0.0 && comes_to_rest(omega_2, s.rotation_2);
  if (!s.apart && stands) omega_2 = 0.0;

  const Point y = point();
  const ShaftPoint at = shaft_point(y, machine_law(y).torque_Nm);
  const double drive_Nm = at.torque_Nm + shaft_law.holder_Nm(omega, in, shaft_mode());
  const double load_Nm = shaft_law.load_Nm(omega_2, at.theta_2_rad, in);

  if (freewheel && (!s.apart || omega >= omega_2)) {
    // Both sides meet: what the search left between their speeds goes by momentum.
    if (s.apart && omega != omega_2) omega = imposed ? omega : met_rad_s(shaft_law, omega, omega_2);
    omega_2 = omega;
    const double rate = s.held_speed_rad_s.rate_per_s;
    s.apart = pushing(shaft_law, drive_Nm, load_Nm, omega, imposed, rate) < 0.0;
    s.rotation = s.rotation_2 = sign_of(omega);
    stands = stands_2 = omega == 0.0;
  }

  if (s.apart) {
    const double through = shaft_law.through_Nm(at);
    if (stands && !imposed)
      s.rotation = sets_out(excess_at_rest(shaft_law, drive_Nm, through, through));
    if (stands_2)
      s.rotation_2 = ShaftLaw::alone(through - load_Nm, shaft_law.coulomb_2, 1.0, 0.0).direction;
    s.power_flow = through < 0.0 ? -1 : 1;
    return;
  }
  if (stands && !imposed)
    s.rotation = sets_out(excess_at_rest(shaft_law, drive_Nm, load_Nm + shaft_law.coulomb_2,
                                         load_Nm - shaft_law.coulomb_2));
  // The sign of what goes through the gear does not depend on its losses.
  const double turn = imposed ? sign_of(omega) : s.rotation;
  const double free = drive_Nm - shaft_law.viscous * omega - shaft_law.coulomb * turn;
  const double asked = load_Nm + shaft_law.coulomb_2 * turn;
  const double through = imposed ? asked + shaft_law.inertia_2 * s.held_speed_rad_s.rate_per_s
                                 : shaft_law.inertia_2 * free + shaft_law.inertia * asked;
  s.power_flow = !freewheel && through < 0.0 ? -1 : 1;
}

void Drive::Impl::refresh_shaft() noexcept {
  shaft_law.stand_on(par.shaft, s.surface, s.shaft_faults);
  coulomb_Nm = shaft_law.coulomb + shaft_law.coulomb_2;
}

void Drive::set_bearing_friction_Nm(double more) noexcept {
  impl_->s.shaft_faults.bearing_Nm = more;
  impl_->refresh_shaft();
  impl_->choose_motion();
}

void Drive::set_grip_share(double share) noexcept {
  impl_->s.shaft_faults.grip_share = share;
  impl_->refresh_shaft();
}

void Drive::set_surface(const RoadSurface& road) noexcept {
  if (road == impl_->s.surface) return;
  impl_->s.surface = road;
  impl_->refresh_shaft();
  impl_->choose_motion();
}

// Where a freewheel locks or catches with its sides at two speeds, they meet by momentum.
void Drive::set_freewheel(FreewheelFault fault) noexcept {
  Impl& d = *impl_;
  if (d.par.shaft.coupling != Coupling::freewheel) return;
  d.s.shaft_faults.freewheel = fault;
  d.refresh_shaft();
  double &omega = d.s.omega_m_rad_s, &omega_2 = d.s.extra.omega_2_rad_s;
  if (fault == FreewheelFault::slips && !d.s.apart) {
    omega_2 = omega;
    d.s.rotation_2 = d.s.rotation;
    d.s.apart = true;
  } else if (fault == FreewheelFault::locked && d.s.apart) {
    if (!d.shaft_law.imposes(d.shaft_mode())) omega = met_rad_s(d.shaft_law, omega, omega_2);
    omega_2 = omega;
    d.s.rotation = sign_of(omega);
    d.s.apart = false;
  }
  d.choose_motion();
}

// From now on for span_s, whatever the gates do, with the machine's torque within machine_Nm.
double Drive::Impl::acceleration_bound(double machine_Nm, double span_s) const noexcept {
  const auto most = [span_s](const Ramp& r) {
    return std::abs(r.value) + span_s * std::abs(r.rate_per_s);
  };
  const double speed = std::abs(s.omega_m_rad_s);
  const double speed_2 = s.apart ? std::abs(s.extra.omega_2_rad_s) : speed;
  const double air_speed = speed_2 + most(s.wind_m_s) / shaft_law.lever_m;
  const double load_Nm =
      most(s.load_torque_Nm) + std::abs(par.shaft.constant_torque_Nm) + shaft_law.weight_lever +
      shaft_law.coulomb_2 +
      2.0 * (shaft_law.fan * speed_2 * speed_2 + shaft_law.air * air_speed * air_speed) +
      shaft_law.power_W / shaft_law.power_floor +
      most(s.pedal_Nm) * shaft_law.pedal_share * (1.0 + shaft_law.pedal_ripple);
  double motor_Nm = machine_Nm + shaft_law.coulomb + 2.0 * shaft_law.viscous * speed;
  if (s.speed_held && shaft_law.hold_gain > 0.0)
    motor_Nm += std::min(shaft_law.hold_limit,
                         2.0 * shaft_law.hold_gain * (most(s.held_speed_rad_s) + speed));
  const double j = shaft_law.inertia, j_2 = shaft_law.inertia_2, eta = shaft_law.efficiency;
  const double joined = load_Nm / eta / (j + eta * j_2);
  switch (shaft_law.coupling) {
    case Coupling::rigid:
      return motor_Nm / (j + eta * j_2) + joined;
    case Coupling::freewheel:  // it may open: then the motor side is alone
      return motor_Nm / j + joined;
    case Coupling::elastic: {
      // Energy of the relative motion: with V^2 = u^2 + k delta^2 / J_r, dV/dt is at most what
      // drives it from outside, k |delta| at most sqrt(k J_r) V and |u| at most V.
      const double j_r = j * j_2 / (j + j_2);
      const double u = s.omega_m_rad_s - s.extra.omega_2_rad_s, delta = s.extra.twist_rad;
      const double v = std::sqrt(u * u + shaft_law.stiffness * delta * delta / j_r) +
                       span_s * (motor_Nm / j + load_Nm / j_2);
      return (motor_Nm + (std::sqrt(shaft_law.stiffness * j_r) + shaft_law.damping) * v) / j;
    }
    case Coupling::slipping:
      return (motor_Nm + shaft_law.grip / eta) / j;
  }
  return 1e12;
}

}  // namespace stillrotor::plant
