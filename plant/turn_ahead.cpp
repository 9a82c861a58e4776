// A look at where the rotor will stand, without the time in between.
#include "plant/flow.hpp"

namespace stillrotor::plant {
namespace {

/// Radians turned and the speed at the end. Nothing is foretold of a rotor that would turn back: it
/// is left where it comes to rest.
struct Travel {
  double turned, speed;
};
Travel travel(double speed, double rate, double lead_s) noexcept {
  const double last = speed + rate * lead_s;
  if (speed * last < 0.0) return {-0.5 * speed * speed / rate, 0.0};
  return {0.5 * (speed + last) * lead_s, last};
}

}  // namespace

void Drive::turn_ahead(double lead_s) noexcept {
  Impl& d = *impl_;
  DriveState& s = d.s;
  const Drivers in = d.drivers(0.0);
  const auto terminals = [&] {
    return d.terminals(d.legs(), d.point(), d.flow(*d.mode, d.point(), in));
  };
  const double rate = d.flow(*d.mode, d.point(), in).domega_dt;
  const Phases before = terminals();
  const Travel way = travel(s.omega_m_rad_s, rate, lead_s);
  s.omega_m_rad_s = way.speed;
  if (!s.apart) s.extra.omega_2_rad_s = way.speed;
  d.turn_rotor(d.p * way.turned);

  // What a filter holds gains what the terminals have gained: its own lag stays in it.
  const Phases after = terminals();
  s.analog.terminal_V[0] += after.U - before.U;
  s.analog.terminal_V[1] += after.V - before.V;
  s.analog.terminal_V[2] += after.W - before.W;
}

/// By an electrical angle, through every sensor edge on the way.
void Drive::Impl::turn_rotor(double angle_rad) noexcept {
  const bool forward = angle_rad >= 0.0;
  const auto wrap = [this](double turns) {
    s.theta_e_rad -= turns * two_pi;
    s.electrical_turns += static_cast<std::int64_t>(turns);
    position.find_thresholds(s);
  };
  for (double left = angle_rad;;) {
    const double theta = s.theta_e_rad;
    if (theta >= s.edge_ahead_rad || theta < s.edge_behind_rad) {
      position.flip(s);
    } else if (forward && theta >= two_pi) {
      wrap(1.0);
    } else if (!forward && theta < 0.0) {
      wrap(-1.0);
    } else if (left == 0.0) {
      break;
    } else {
      // A threshold behind is passed, not reached.
      const double behind = std::nextafter(std::max(s.edge_behind_rad, 0.0), -1.0);
      const double to = forward ? std::min({theta + left, s.edge_ahead_rad, two_pi})
                                : std::max(theta + left, behind);
      left = to == theta + left ? 0.0 : left - (to - theta);
      s.theta_e_rad = to;
    }
  }
  note_turn();
  s.cos_e = std::cos(s.theta_e_rad);
  s.sin_e = std::sin(s.theta_e_rad);
}

}  // namespace stillrotor::plant
