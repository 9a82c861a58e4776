#include "tests/reference/benches/model/drawn_sensors.hpp"

#include <algorithm>
#include <cmath>

namespace stillrotor::reference {
namespace {

constexpr double degree = plant::pi / 180.0;

double either_way(Draw& draw, double most) { return draw.linear(-most, most); }

void draw_halls(plant::HallParameters& hall, Draw& draw) {
  hall.fitted = draw.chance(0.85);
  hall.spacing_rad = (draw.chance(0.5) ? 120.0 : 60.0) * degree;
  for (double& error : hall.placement_error_rad)
    error = draw.chance(0.3) ? 0.0 : either_way(draw, 10.0) * degree;
  const int sort = draw.whole(0, 3);
  if (sort == 1) hall.hysteresis_rad = draw.logarithmic(0.01, 10.0) * degree;
  if (sort == 2) hall.hysteresis_rad = draw.linear(10.0, 29.9) * degree;
  if (draw.chance(0.5)) hall.jitter_rad = draw.logarithmic(0.01, 10.0) * degree;
}

/// most_counts: that the run may bring.
void draw_encoder(plant::EncoderParameters& encoder, double turns, Draw& draw) {
  constexpr double most_counts = 3000.0;
  encoder.fitted = draw.chance(0.85);
  const double most = std::clamp(most_counts / (4.0 * turns), 2.0, 20e3);
  encoder.lines = static_cast<int>(draw.logarithmic(1.0, most));
  // Anywhere, or about the turn's wrap, from where rotors start.
  encoder.index_rad = either_way(draw, draw.chance(0.6) ? 10.0 : plant::pi / encoder.lines);
  encoder.index_counts = 1 << draw.whole(0, 2);
  encoder.reversed = draw.chance(0.3);
  if (!draw.chance(0.4)) return;
  const int first = draw.whole(0, encoder.lines - 1), count = draw.whole(1, 4);
  for (int n = 0; n < count; ++n)  // neighbours, or anywhere
    encoder.missing_lines.push_back(draw.chance(0.5) ? (first + n) % encoder.lines
                                                     : draw.whole(0, encoder.lines - 1));
}

void draw_sin_cos(plant::SinCosParameters& s, Draw& draw) {
  s.fitted = true;
  s.periods_per_turn = static_cast<int>(draw.logarithmic(1.0, 128.0));
  s.zero_rad = either_way(draw, 7.0);
  s.amplitude_V = draw.linear(0.2, 2.0);
  s.offset_V = draw.linear(1.5, 3.0);
  for (int k = 0; k < 2; ++k) {
    s.offset_error_V[k] = either_way(draw, 0.2);
    s.gain_error[k] = either_way(draw, 0.3);
  }
  s.phase_error_rad = either_way(draw, 20.0) * degree;
  s.second_harmonic = draw.chance(0.5) ? either_way(draw, 0.1) : 0.0;
  s.third_harmonic = draw.chance(0.5) ? either_way(draw, 0.1) : 0.0;
  s.noise_V = draw.chance(0.5) ? 0.01 * draw.unit() : 0.0;
}

void draw_absolute_angle(plant::AbsoluteAngleParameters& a, Draw& draw) {
  a.output = static_cast<plant::AngleOutput>(draw.whole(0, 3));
  a.bits = draw.whole(4, a.output == plant::AngleOutput::spi ? 14 : 18);
  a.zero_rad = either_way(draw, 7.0);
  a.reversed = draw.chance(0.3);
  if (draw.chance(0.5)) {
    a.eccentricity_rad = draw.linear(0.0, 3.0) * degree;
    a.eccentricity_phase_rad = either_way(draw, 4.0);
  }
  a.noise_rad = draw.chance(0.3) ? draw.linear(0.0, 0.5) * degree : 0.0;
  a.latency_s = draw.chance(0.5) ? draw.logarithmic(1e-6, 300e-6) : 0.0;
  a.data_delay_s = draw.chance(0.2) ? 0.0 : draw.linear(0.0, 400e-9);
  a.pwm_frequency_Hz = draw.logarithmic(500.0, 10e3);
  a.start_clocks = draw.whole(1, 40);
  a.stop_clocks = draw.whole(1, 40);
  a.ssi = {draw.chance(0.5), draw.chance(0.5), draw.chance(0.5)};
  a.monoflop_s = draw.linear(5e-6, 25e-6);
  a.spi_check = draw.chance(0.5) ? plant::SpiCheck::parity : plant::SpiCheck::crc8;
  a.answers_previous = draw.chance(0.5);
}

void draw_current_sensor(plant::CurrentSensorParameters& c, double most_A, Draw& draw) {
  for (int k = 0; k < 3; ++k) {
    c.gain_V_per_A[k] = 2.0 / most_A * draw.linear(0.8, 1.2);
    c.offset_V[k] = draw.linear(2.3, 2.7);
  }
  c.polarity = draw.chance(0.5) ? 1.0 : -1.0;
  c.bandwidth_Hz = draw.logarithmic(5e3, 5e6);
  if (draw.chance(0.2)) {
    c.slew_V_per_s = draw.logarithmic(5e3, 5e6);
    c.bandwidth_Hz = std::min(c.bandwidth_Hz, 500e3);
  }
  if (draw.chance(0.2)) c.compression = draw.linear(0.0, 0.3);
  c.full_scale_A = most_A;
  if (draw.chance(0.2)) c.hysteresis_A = draw.logarithmic(0.001, 0.1) * most_A;
  if (draw.chance(0.3)) c.offset_drift_V_per_s = either_way(draw, 100.0);
  if (draw.chance(0.4)) c.noise_V = 0.02 * draw.unit();
}

void draw_voltage_sensor(plant::VoltageSensorParameters& v, double most_V, Draw& draw) {
  v.fitted = true;
  v.ratio = std::min(1.0, 5.0 / (most_V * draw.linear(0.9, 2.0)));
  v.filter_s = draw.chance(0.4) ? 0.0 : draw.logarithmic(0.1e-6, 5e-3);
}

void draw_temperature_sensor(plant::TemperatureSensorParameters& t, Draw& draw) {
  t.kind = static_cast<plant::TemperatureSensing>(draw.whole(1, 3));
  t.node = static_cast<plant::TemperatureNode>(draw.whole(0, 3));
  t.nominal_ohm = draw.logarithmic(500.0, 20e3);
  t.b_K = draw.linear(3000.0, 4200.0);
  t.pull_up_ohm = draw.logarithmic(500.0, 20e3);
  t.supply_V = draw.chance(0.5) ? 5.0 : 3.3;
}

std::int64_t some_time(Draw& draw) { return ps(drawn_s * draw.unit()); }

void draw_ssi_clock(Bench& b, Draw& draw) {
  using Kind = Happening::Kind;
  const auto& a = b.drive.parameters.absolute_angle;
  const auto clock = [&](double t, bool high) {
    b.happenings.push_back({.at_ps = ps(t), .kind = Kind::angle_clock, .on = high});
  };
  clock(1e-9, true);
  double t = draw.linear(2e-6, 50e-6);
  while (t < 0.9 * drawn_s) {
    const double period = draw.logarithmic(0.3e-6, 4e-6);
    // Too few, right, or so many that the frame comes again.
    const int clocks = draw.chance(0.7) ? a.bits + 2 : draw.whole(1, 3 * a.bits);
    for (int n = 0; n < clocks; ++n, t += period) {
      clock(t, false);
      clock(t + period * draw.linear(0.3, 0.7), true);
    }
    // Near the monoflop's time, on either side, or long.
    t += draw.chance(0.5) ? a.monoflop_s * draw.linear(0.7, 1.3) : draw.linear(20e-6, 200e-6);
  }
}

void draw_spi_clock(Bench& b, Draw& draw) {
  using Kind = Happening::Kind;
  const auto add = [&](double t, Kind kind, bool on) {
    b.happenings.push_back({.at_ps = ps(t), .kind = kind, .on = on});
  };
  double t = draw.linear(2e-6, 50e-6);
  while (t < 0.9 * drawn_s) {
    const double period = draw.logarithmic(0.1e-6, 3e-6);
    if (draw.chance(0.9)) add(t, Kind::angle_selected, true);
    t += period * draw.linear(0.2, 2.0);
    const int clocks = draw.chance(0.7) ? 24 : draw.whole(1, 40);
    for (int n = 0; n < clocks; ++n, t += period) {
      add(t, Kind::angle_clock, true);
      add(t + period * draw.linear(0.3, 0.7), Kind::angle_clock, false);
    }
    if (draw.chance(0.9)) add(t, Kind::angle_selected, false);
    t += draw.chance(0.3) ? draw.linear(20e-9, 500e-9) : draw.linear(10e-6, 200e-6);
  }
}

}  // namespace

void draw_position_sensors(Bench& b, Draw& draw) {
  auto& p = b.drive.parameters;
  const double turns = std::abs(b.drive.start_omega_m_rad_s) * drawn_s / plant::two_pi;
  draw_halls(p.hall, draw);
  draw_encoder(p.encoder, turns, draw);
  draw_sin_cos(p.sin_cos, draw);
  draw_absolute_angle(p.absolute_angle, draw);
}

void draw_analog_sensors(Bench& b, Draw& draw) {
  auto& p = b.drive.parameters;
  const double most_A = draw.logarithmic(10.0, 300.0);
  p.phase_current.kind =
      draw.chance(0.5) ? plant::CurrentSensing::low_side_shunt : plant::CurrentSensing::in_line;
  draw_current_sensor(p.phase_current, most_A, draw);
  // Nothing else that remembers: the shortest way through the plant.
  if (draw.chance(0.25)) {
    draw_voltage_sensor(p.bus_voltage, p.supply.voltage_V, draw);
    p.bus_voltage.filter_s = 0.0;
    return;
  }
  if (draw.chance(0.7)) p.dc_link_current.kind = plant::CurrentSensing::dc_link;
  draw_current_sensor(p.dc_link_current, most_A, draw);
  draw_voltage_sensor(p.bus_voltage, p.supply.voltage_V, draw);
  draw_voltage_sensor(p.phase_voltage, p.supply.voltage_V, draw);
  for (auto& sensor : p.temperature) draw_temperature_sensor(sensor, draw);
}

void draw_happenings(Bench& b, Draw& draw) {
  using Kind = Happening::Kind;
  const auto& p = b.drive.parameters;
  const auto add = [&](Happening h) {
    h.at_ps = some_time(draw);
    b.happenings.push_back(h);
  };
  for (int n = draw.whole(0, 3); n > 0; --n)
    add({.kind = Kind::hall_shift, .which = draw.whole(0, 2), .value = either_way(draw, 1.0)});
  if (draw.chance(0.3)) add({.kind = Kind::hall_carrier, .value = either_way(draw, 1.0)});
  if (draw.chance(0.3)) add({.kind = Kind::encoder_dirt, .value = draw.linear(0.0, 0.5)});
  if (draw.chance(0.2)) add({.kind = Kind::encoder_dirt});
  for (int n = draw.whole(0, 2); n > 0; --n)
    add({.kind = Kind::encoder_slip, .which = draw.whole(-9, 9)});
  for (int n = draw.whole(0, 2); n > 0; --n)
    add({.kind = Kind::sin_cos_shift, .which = draw.whole(0, 1), .value = either_way(draw, 3.0)});
  for (const Kind kind : {Kind::angle_stuck, Kind::angle_error, Kind::angle_bits})
    for (const bool on : {true, false})
      if (draw.chance(0.25)) add({.kind = kind, .on = on});
  for (int n = draw.whole(0, 3); n > 0; --n)
    add({.kind = Kind::body, .which = draw.whole(0, 3), .value = draw.linear(-30.0, 150.0)});
  if (draw.chance(0.3)) add({.kind = Kind::ambient, .value = draw.linear(250.0, 330.0)});
  if (p.absolute_angle.output == plant::AngleOutput::ssi) draw_ssi_clock(b, draw);
  if (p.absolute_angle.output == plant::AngleOutput::spi) draw_spi_clock(b, draw);
}

}  // namespace stillrotor::reference
