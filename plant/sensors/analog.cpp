// Sensors between the plant's quantities and the connector: what they remember from step to step,
// and what they show now.
#include "plant/flow.hpp"

namespace stillrotor::plant {
namespace {
double rate_of(const VoltageSensorParameters& sensor) noexcept {
  return sensor.filtered() ? 1.0 / sensor.filter_s : 0.0;
}
}  // namespace

Drive::Impl::AnalogPaths::AnalogPaths(const DriveParameters& par) noexcept
    : phase_current(par.phase_current),
      dc_link_current(par.dc_link_current),
      lags({phase_current.rate_per_s(),
            par.dc_link_current.kind == CurrentSensing::none ? 0.0 : dc_link_current.rate_per_s(),
            rate_of(par.bus_voltage), rate_of(par.phase_voltage)}),
      follows_dc_link(par.dc_link_current.kind != CurrentSensing::none),
      follows_bus_V(par.bus_voltage.filtered()),
      follows_terminals(par.phase_voltage.filtered()) {
  const CurrentSensing kind = par.phase_current.kind;
  follows_phases = kind != CurrentSensing::none;
  even_phases = kind == CurrentSensing::in_line;
  follows_rest = follows_dc_link || follows_bus_V || follows_terminals;
  seen_share.fill(kind == CurrentSensing::in_line ? 1.0 : 0.0);
  if (kind == CurrentSensing::low_side_shunt) {
    const auto share = [this](Conduction c) -> double& {
      return seen_share[static_cast<std::size_t>(c)];
    };
    for (const Conduction c : {Conduction::low_switch, Conduction::low_diode,
                               Conduction::low_shared, Conduction::grounded_low})
      share(c) = -1.0;
    for (const Conduction c :
         {Conduction::shoot_through, Conduction::swinging_down, Conduction::swinging_up})
      share(c) = -0.5;
  }
}

// A step between these currents, which all lies in the present mode.
void Drive::Impl::follow_phase_currents(const Phases& i0, const Phases& i1, double h) noexcept {
  const double before[3] = {i0.U, i0.V, i0.W}, after[3] = {i1.U, i1.V, i1.W};
  const LagStep& lag = analog.lags(h).phase_current;
  for (std::size_t k = 0; k < 3; ++k) {
    const double share = analog.seen_share[static_cast<std::size_t>(s.leg[k])];
    analog.phase_current.step(s.analog.phase[k], k, share * before[k], share * after[k], h, lag);
  }
}

void Drive::Impl::follow_other_sensors(const Point& y, double h) noexcept {
  const auto seen = [this](const Point& at, const Drivers& in) {
    const BusFlow f = flow_of_bus(*mode, at, in);
    SeenByRest out{f.legs_A + shorted_A(f.bus_V), f.bus_V};
    if (analog.follows_terminals) {
      const Phases v = mode->freedom == 2 && mode->swings == 0
                           ? leg_terminals(phases({at.i_alpha, at.i_beta}), f.bus_V)
                           : terminals(legs(), at, flow(*mode, at, in));
      out.terminal_u_v_V = pair(v.U, v.V);
      out.terminal_w_V = v.W;
    }
    return out;
  };
  follow_rest(seen(point(), drivers(0.0)), seen(y, drivers(h)), h, analog.lags(h));
}

/// Filters have been where they are for ever.
void Drive::Impl::settle_filters() noexcept {
  const Flow f = flow(*mode, point(), drivers(0.0));
  const Phases v = terminals(legs(), point(), f);
  s.analog.bus_V = f.bus_V;
  s.analog.terminal_V[0] = v.U;
  s.analog.terminal_V[1] = v.V;
  s.analog.terminal_V[2] = v.W;
}

AbsoluteAngle::Shaft Drive::Impl::shaft() const noexcept {
  const auto pairs = static_cast<std::int64_t>(p);
  const auto turns = static_cast<double>(s.electrical_turns % pairs);
  return {(turns * two_pi + s.theta_e_rad) / p, s.omega_m_rad_s};
}

double Drive::sense_V(SensorChannel channel) const noexcept {
  const Impl& d = *impl_;
  const DriveState& s = d.s;
  const auto offset_from = [channel](SensorChannel first) {
    return static_cast<std::size_t>(channel) - static_cast<std::size_t>(first);
  };
  switch (channel) {
    case SensorChannel::phase_current_U:
    case SensorChannel::phase_current_V:
    case SensorChannel::phase_current_W: {
      const std::size_t k = offset_from(SensorChannel::phase_current_U);
      return current_sense_V(d.par.phase_current, k, s.analog.phase[k].output_A, s.time_ps,
                             d.par.seed, noise_of_phase(k));
    }
    case SensorChannel::dc_link_current:
      return current_sense_V(d.par.dc_link_current, 0, s.analog.dc_link.output_A, s.time_ps,
                             d.par.seed, NoiseOf::dc_link_current);
    case SensorChannel::bus_voltage:
      if (d.par.bus_voltage.filtered()) return voltage_sense_V(d.par.bus_voltage, s.analog.bus_V);
      return voltage_sense_V(d.par.bus_voltage,
                             d.flow_of_bus(*d.mode, d.point(), d.drivers(0.0)).bus_V);
    case SensorChannel::phase_voltage_U:
    case SensorChannel::phase_voltage_V:
    case SensorChannel::phase_voltage_W: {
      const std::size_t k = offset_from(SensorChannel::phase_voltage_U);
      if (d.par.phase_voltage.filtered())
        return voltage_sense_V(d.par.phase_voltage, s.analog.terminal_V[k]);
      const Phases v = d.terminals(d.legs(), d.point(), d.flow(*d.mode, d.point(), d.drivers(0.0)));
      return voltage_sense_V(d.par.phase_voltage, k == 0 ? v.U : k == 1 ? v.V : v.W);
    }
    case SensorChannel::star_point: {
      // Three equal resistors from the terminals to one point, and one from there to the rail: the
      // mean of the terminals, divided as they are.
      const double* seen = s.analog.terminal_V;
      if (d.par.phase_voltage.filtered())
        return voltage_sense_V(d.par.phase_voltage, (seen[0] + seen[1] + seen[2]) / 3.0);
      const Phases v = d.terminals(d.legs(), d.point(), d.flow(*d.mode, d.point(), d.drivers(0.0)));
      return voltage_sense_V(d.par.phase_voltage, (v.U + v.V + v.W) / 3.0);
    }
    case SensorChannel::angle_sin:
      return sine_sense_V(d.par.sin_cos, d.shaft().theta_m_rad, s.time_ps, d.par.seed,
                          s.sin_cos_shift_rad[0]);
    case SensorChannel::angle_cos:
      return cosine_sense_V(d.par.sin_cos, d.shaft().theta_m_rad, s.time_ps, d.par.seed,
                            s.sin_cos_shift_rad[1]);
    case SensorChannel::temperature_motor:
    case SensorChannel::temperature_bridge: {
      const TemperatureSensorParameters& sensor =
          d.par.temperature[offset_from(SensorChannel::temperature_motor)];
      return temperature_sense_V(sensor, s.temperature_C[static_cast<std::size_t>(sensor.node)]);
    }
  }
  return 0.0;
}

// ---- the absolute angle sensor, whose line moves by time and by the controller's clock

SensorEdge Drive::Impl::pass_absolute_angle() noexcept {
  absolute_angle.pass(s.absolute_angle, shaft());
  return absolute_angle_moved();
}

SensorEdge Drive::Impl::absolute_angle_moved() noexcept {
  constexpr auto line = SensorLine::absolute_angle;
  constexpr auto mask = static_cast<std::uint8_t>(1U << static_cast<int>(line));
  s.sensor_levels = static_cast<std::uint8_t>(s.absolute_angle.high ? s.sensor_levels | mask
                                                                    : s.sensor_levels & ~mask);
  s.alarm_ps = std::min(s.alarm_ps, s.absolute_angle.next_ps);
  return {line, s.absolute_angle.high};
}

void Drive::set_angle_clock(bool high) noexcept {
  Impl& d = *impl_;
  d.absolute_angle.set_clock(d.s.absolute_angle, high, d.shaft(), d.s.time_ps);
  d.absolute_angle_moved();
}

void Drive::set_angle_selected(bool selected) noexcept {
  Impl& d = *impl_;
  d.absolute_angle.set_selected(d.s.absolute_angle, selected, d.shaft(), d.s.time_ps);
  d.absolute_angle_moved();
}

void Drive::set_hall_shift_rad(Leg leg, double shift_rad) noexcept {
  impl_->s.hall_shift_rad[static_cast<int>(leg)] = shift_rad;
  impl_->position.find_thresholds(impl_->s);
}

void Drive::set_hall_carrier_rad(double shift_rad) noexcept {
  impl_->s.hall_carrier_rad = shift_rad;
  impl_->position.find_thresholds(impl_->s);
}

void Drive::set_encoder_dirty_share(double share) noexcept {
  impl_->position.change_encoder(impl_->s, share, impl_->s.encoder_slip);
}

void Drive::slip_encoder(int counts) noexcept {
  DriveState& s = impl_->s;
  impl_->position.change_encoder(s, s.encoder_dirty_share, s.encoder_slip + counts);
}

void Drive::set_sin_cos_shift_rad(int channel, double shift_rad) noexcept {
  impl_->s.sin_cos_shift_rad[channel] = shift_rad;
}

void Drive::set_angle_bit_errors(double share) noexcept {
  impl_->s.absolute_angle.bit_error_share = share;
}

void Drive::set_angle_stuck(bool stuck) noexcept {
  Impl& d = *impl_;
  d.s.absolute_angle.stuck_code = d.absolute_angle.code(d.shaft(), d.s.time_ps);
  d.s.absolute_angle.stuck = stuck;
}

void Drive::set_angle_error(bool error) noexcept { impl_->s.absolute_angle.error = error; }

}  // namespace stillrotor::plant
