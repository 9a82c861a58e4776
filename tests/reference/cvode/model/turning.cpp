#include "tests/reference/cvode/model/turning.hpp"

#include <algorithm>
#include <cmath>
#include <initializer_list>
#include <numbers>
#include <stdexcept>

namespace stillrotor::reference {
namespace {

constexpr double gravity_m_s2 = 9.80665;
constexpr double speed_slack = 1e-9, torque_slack = 1e-9, rate_slack = 1e-6;  // rad/s, N m, rad/s^2

int sign(double x) { return (x > 0.0) - (x < 0.0); }
bool at_rest(double omega) { return std::abs(omega) <= 2.0 * speed_slack; }

}  // namespace

Turning::Turning(const plant::DriveParameters& p)
    : s_(p.shaft), machine_(p.machine), pole_pairs_(p.pole_pairs()) {
  lever_m_ = s_.wheel_radius_m / s_.gear_ratio;
  const double wheel = s_.load_inertia_kg_m2 / (s_.gear_ratio * s_.gear_ratio);
  const bool tyre = s_.coupling == plant::Coupling::slipping;
  inertia_ = s_.inertia_kg_m2 + (tyre ? wheel : 0.0);
  inertia_2_ = s_.cart_mass_kg * lever_m_ * lever_m_ + (tyre ? 0.0 : wheel);
  friction_2_Nm_ =
      s_.rolling_resistance * s_.cart_mass_kg * gravity_m_s2 * lever_m_ + s_.static_torque_Nm;
}

// ---- torques

double Turning::cogging_Nm(const AbcState& x) const {
  double torque = 0.0;
  for (const auto& h : machine_.cogging)
    torque += h.amplitude_Nm * std::sin(h.order * x.theta_e_rad / pole_pairs_ + h.phase_rad);
  return torque;
}

// P / omega, its hysteresis smoothed at standstill.
double Turning::iron_drag_Nm(const AbcState& x, double linkage_Wb) const {
  const auto& iron = machine_.iron_loss;
  const double reference =
      2.0 * std::numbers::pi * iron.reference_frequency_Hz / pole_pairs_;  // rad/s
  const double part = x.omega_m_rad_s / reference,
               saturation = linkage_Wb / machine_.flux_linkage_Wb;
  const double sense = std::sqrt(1.0001) * part / std::sqrt(part * part + 1e-4);
  return iron.reference_W / reference * saturation * saturation *
         (iron.hysteresis_share * sense + (1.0 - iron.hysteresis_share) * part);
}

double Turning::load_Nm(double omega_2, const AbcState& x, const AbcInputs& in) const {
  const auto now = [&](const plant::Ramp& r) { return r.value + r.rate_per_s * x.time_s; };
  const double wind = omega_2 * lever_m_ + now(in.road.wind_m_s), floor = s_.power_floor_rad_s;
  const double crank_per_motor = 1.0 / (s_.pedal_gear * s_.gear_ratio);
  const double crank_rad = (x.theta_e_rad / pole_pairs_ - x.twist_rad) * crank_per_motor;
  return in.load_Nm + in.load_Nm_per_s * x.time_s + s_.constant_torque_Nm +
         s_.quadratic_drag_Nm_s2_per_rad2 * omega_2 * std::abs(omega_2) +
         0.5 * s_.air_density_kg_m3 * s_.drag_area_m2 * wind * std::abs(wind) * lever_m_ +
         s_.constant_power_W *
             (std::abs(omega_2) < floor ? omega_2 / (floor * floor) : 1.0 / omega_2) +
         s_.cart_mass_kg * gravity_m_s2 * std::sin(std::atan(now(in.road.slope))) * lever_m_ -
         now(in.road.pedal_Nm) * crank_per_motor *
             (1.0 - s_.pedal_ripple * std::cos(2.0 * crank_rad));
}

double Turning::tyre_Nm(double omega, double omega_2) const {
  const double slip =
      (omega - omega_2) * lever_m_ / std::hypot(omega_2 * lever_m_, s_.slip_floor_m_s);
  const double c = 2.0 - 2.0 / std::numbers::pi * std::asin(s_.slide_friction / s_.peak_friction);
  const double b = std::tan(std::numbers::pi / (2.0 * c)) / s_.peak_slip;
  const double mu = s_.peak_friction * std::sin(c * std::atan(b * slip));
  return mu * s_.driven_weight_share * s_.cart_mass_kg * gravity_m_s2 * lever_m_;
}

// ---- motion in one mode

bool Turning::freewheels(const AbcInputs& in) const {
  return s_.coupling == plant::Coupling::freewheel && in.freewheel == plant::FreewheelFault::none;
}

bool Turning::two_speeds(const AbcInputs& in, const ShaftModes& m) const {
  switch (s_.coupling) {
    case plant::Coupling::rigid:
      return false;
    case plant::Coupling::freewheel:
      return in.freewheel == plant::FreewheelFault::slips || (freewheels(in) && m.apart);
    default:
      return true;
  }
}

bool Turning::sticks(const AbcInputs& in, const ShaftModes& m) const {
  return !in.speed_held && (s_.coulomb_friction_Nm > 0.0 || s_.gear_efficiency < 1.0 ||
                            (!two_speeds(in, m) && load_sticks()));
}

Turning::Motion Turning::motion(const AbcState& x, const AbcInputs& in, const ShaftModes& m,
                                double machine_Nm) const {
  const double omega = x.omega_m_rad_s, g = gear(m.gear_drives);
  const double own_Nm =
      machine_Nm - s_.viscous_friction_Nm_s_per_rad * omega - s_.coulomb_friction_Nm * m.turn;
  const bool stands = m.turn == 0 && sticks(in, m);
  Motion out{};
  if (two_speeds(in, m)) {
    if (s_.coupling == plant::Coupling::slipping) out.through_Nm = tyre_Nm(omega, x.omega_2_rad_s);
    if (s_.coupling == plant::Coupling::elastic)
      out.through_Nm = s_.stiffness_Nm_per_rad * x.twist_rad +
                       s_.torsion_damping_Nm_s_per_rad * (omega - x.omega_2_rad_s);
    out.rate = stands ? 0.0 : (own_Nm - g * out.through_Nm) / inertia_;
    if (m.turn_2 != 0 || !load_sticks())
      out.rate_2 = (out.through_Nm - load_Nm(x.omega_2_rad_s, x, in) - friction_2_Nm_ * m.turn_2) /
                   inertia_2_;
    if (in.speed_held) out.rate = in.held_acceleration_rad_s2;
    return out;
  }
  const double load = load_Nm(omega, x, in) + friction_2_Nm_ * m.turn;
  out.rate = stands ? 0.0 : (own_Nm - g * load) / (inertia_ + g * inertia_2_);
  if (in.speed_held) out.rate = in.held_acceleration_rad_s2;
  out.rate_2 = out.rate;
  out.through_Nm = load + inertia_2_ * out.rate;
  return out;
}

void Turning::rates(const AbcState& x, const AbcInputs& in, const ShaftModes& m,
                    AbcRates& out) const {
  const Motion now = motion(x, in, m, out.machine_Nm);
  out.state.omega_m_rad_s = now.rate;
  out.state.omega_2_rad_s = now.rate_2;
  if (two_speeds(in, m)) out.state.twist_rad = x.omega_m_rad_s - x.omega_2_rad_s;
}

// ---- modes

double Turning::setting_out(const AbcState& x, const AbcInputs& in, const ShaftModes& m,
                            double machine_Nm) const {
  double most = -1.0;
  const auto consider = [&](ShaftModes moving, bool load_side) {
    for (const bool drives : {true, false}) {
      moving.gear_drives = drives;
      const Motion to = motion(x, in, moving, machine_Nm);
      if (s_.gear_efficiency < 1.0 && to.through_Nm * moving.turn * (drives ? 1.0 : -1.0) < 0.0)
        continue;
      most = std::max(most, load_side ? to.rate_2 * moving.turn_2 : to.rate * moving.turn);
    }
  };
  const bool two = two_speeds(in, m);
  for (const int way : {-1, 1}) {
    if (m.turn == 0 && sticks(in, m))
      consider({.turn = way, .turn_2 = two ? m.turn_2 : way, .apart = m.apart}, false);
    if (two && m.turn_2 == 0) consider({.turn = m.turn, .turn_2 = way, .apart = m.apart}, true);
  }
  if (m.turn == 0 && !two && freewheels(in)) {  // a rotor that backs away, a load that runs ahead
    consider({.turn = -1, .turn_2 = 0, .apart = true}, false);
    consider({.turn = 0, .turn_2 = 1, .apart = true}, true);
  }
  return most;
}

double Turning::violation(const AbcState& x, const AbcInputs& in, const ShaftModes& m,
                          double machine_Nm) const {
  const bool two = two_speeds(in, m);
  double worst = -1.0;
  const auto watch = [&](double excess, double slack) { worst = std::max(worst, excess - slack); };
  if (in.speed_held && s_.coupling == plant::Coupling::rigid) return worst;
  if (m.turn != 0 && (in.speed_held || sticks(in, m)))
    watch(-x.omega_m_rad_s * m.turn, speed_slack);
  if (two && load_sticks() && m.turn_2 != 0) watch(-x.omega_2_rad_s * m.turn_2, speed_slack);
  if (m.turn == 0 || (two && m.turn_2 == 0))
    watch(1e-3 * setting_out(x, in, m, machine_Nm), 1e-3 * rate_slack);
  if (freewheels(in) && two) watch(x.omega_m_rad_s - x.omega_2_rad_s, speed_slack);
  const bool opens = freewheels(in) && !two && m.turn != 0;
  const bool turns_round = s_.gear_efficiency < 1.0 && m.turn != 0 && !in.speed_held;
  if (!opens && !turns_round) return worst;
  const double through_Nm = motion(x, in, m, machine_Nm).through_Nm;
  if (opens) watch(-through_Nm, torque_slack);
  if (turns_round) watch(-through_Nm * m.turn * (m.gear_drives ? 1.0 : -1.0), torque_slack);
  return worst;
}

ShaftModes Turning::choose(const AbcState& x, const AbcInputs& in, double machine_Nm) const {
  const double omega = x.omega_m_rad_s;
  if (in.speed_held && s_.coupling == plant::Coupling::rigid) return {};
  for (const bool apart : {false, true}) {
    if (apart && !freewheels(in)) break;
    const bool two = two_speeds(in, {.apart = apart});
    const double omega_2 = two ? x.omega_2_rad_s : omega;
    const double ahead = x.omega_2_rad_s - omega;
    if (freewheels(in) && !apart && ahead > 2.0 * speed_slack) continue;
    for (const int turn : {1, -1, 0})
      for (const int turn_2 : {1, -1, 0})
        for (const bool drives : {true, false}) {
          const ShaftModes m{turn, turn_2, apart, drives};
          const Motion to = motion(x, in, m, machine_Nm);
          const auto fits = [](double speed, int way, double rate) {
            return at_rest(speed) ? way == 0 || way * rate > 0.0 : way == sign(speed);
          };
          if (in.speed_held || sticks(in, m) ? !fits(omega, turn, to.rate) : turn != 1) continue;
          if (two && load_sticks() ? !fits(omega_2, turn_2, to.rate_2) : turn_2 != (two ? 1 : turn))
            continue;
          if (apart && ahead <= 2.0 * speed_slack && !(to.rate_2 > to.rate)) continue;
          // Where something else happens as the rotor passes through rest, no margin is left.
          const bool rests = at_rest(omega) || (two && at_rest(omega_2));
          if (violation(x, in, m, machine_Nm) <= (rests ? 0.0 : -0.5 * speed_slack)) return m;
        }
  }
  throw std::runtime_error("no consistent motion");
}

// Both sides at one speed, by momentum. What the gear loses changes where the rotor passes through
// rest.
void Turning::join(AbcState& x, const AbcInputs& in, const ShaftModes& m) const {
  double &omega = x.omega_m_rad_s, &omega_2 = x.omega_2_rad_s;
  if (in.speed_held || (m.turn == 0 && sticks(in, m))) omega_2 = omega;
  for (int part = 0; part < 2 && omega != omega_2; ++part) {
    const int way = omega != 0.0 ? sign(omega) : sign(omega_2);
    const double g = gear((omega > omega_2) == (way > 0));
    const double both = (inertia_ * omega + g * inertia_2_ * omega_2) / (inertia_ + g * inertia_2_);
    if (both * omega >= 0.0) {
      omega = omega_2 = both;
    } else {
      omega_2 += inertia_ * omega / (g * inertia_2_);
      omega = 0.0;
    }
  }
}

void Turning::set_freewheel(AbcState& x, AbcInputs& in, plant::FreewheelFault fault) const {
  in.freewheel = fault;
  const bool catches = freewheels(in) && x.omega_m_rad_s > x.omega_2_rad_s;
  if (catches || fault == plant::FreewheelFault::locked) join(x, in, {});
}

void Turning::settle(AbcState& x, const AbcInputs& in, const ShaftModes& m) const {
  double &omega = x.omega_m_rad_s, &omega_2 = x.omega_2_rad_s;
  const bool two = two_speeds(in, m);
  if (m.turn == 0 && sticks(in, m)) omega = 0.0;
  if (two && m.turn_2 == 0 && load_sticks()) omega_2 = 0.0;
  if (!two) join(x, in, m);
}

}  // namespace stillrotor::reference
