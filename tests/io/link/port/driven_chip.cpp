#include "tests/io/link/port/driven_chip.hpp"

namespace stillrotor::io {

LinkSettings DrivenChip::link_settings() {
  using namespace coprocessor;
  LinkSettings settings;
  Machine machine;
  machine.winding_resistance_ohm = 25e-3;
  machine.inductance_q_H = 250e-6;
  machine.flux_linkage_Wb = 25e-3;
  Format format;
  format.tick_s = 1.0 / chip_settings().tick_Hz;
  format.step_ticks = 250;
  settings.plant =
      plant_parameters(machine, {3e-3, 0.8, 3e-3}, {3.3e-3, 6e-3, 72.0, 30e-3}, format);
  const Scale& s = settings.plant.scale;
  AngleOutputs outputs;
  outputs.encoder_lines = 256;
  const cp_angle_parameters angle = angle_parameters(outputs, machine.pole_pairs, s);
  std::vector<cp_sense_channel> sense;
  for (const std::uint32_t phase : {CP_SENSE_PHASE_U, CP_SENSE_PHASE_V, CP_SENSE_PHASE_W})
    sense.push_back(sense_channel({phase, 0.02, 2.5, 5.0, 12}, s));
  sense.push_back(sense_channel({CP_SENSE_BUS, 0.04, 0.0, 5.0, 12}, s));
  sense.push_back(sense_channel({CP_SENSE_TOLD, 0.0, 0.85, 5.0, 12}, s));
  settings.parameters =
      core_parameters(settings.plant, {}, angle, track_parameters(angle, s, 1e-4, 10.0),
                      trip_parameters(CP_TRIP_LINK, 150.0, 1e-6, settings.plant), sense);
  return settings;
}

ChipSettings DrivenChip::chip_settings() {
  ChipSettings settings;
  settings.counter = 0xff000000U;  // wraps within the run
  constexpr double code_V = 5.0 / 4096;
  settings.channels = {{channel::phase_current_U, code_V, 2048},
                       {channel::phase_current_V, code_V, 2048},
                       {channel::phase_current_W, code_V, 2048},
                       {channel::bus_voltage, code_V, 0},
                       {channel::throttle, code_V, 0}};
  settings.key_supply_V = 5.0;
  return settings;
}

FieldOrientedConfig DrivenChip::controller_settings() {
  FieldOrientedConfig c;
  c.scaling.bus_ratio = 0.04;
  c.scaling.low_side_shunts = false;
  c.pwm_frequency_Hz = 8e3;
  c.winding_resistance_ohm = 25e-3;
  c.inductance_q_H = 250e-6;
  c.flux_linkage_Wb = 25e-3;
  return c;
}

DrivenChip::DrivenChip(const ChipSettings& settings) : chip(*controller, settings) {
  session.connected(1, now_ns());
}

void DrivenChip::go_live() {
  run(500 * ms);
  captured->arm(now_ns());
  session.want_live();
  run(50 * ms);
  told.lines = CP_KEY;
  run(100 * ms);
}

bool DrivenChip::send(std::span<const std::uint8_t> frame) {
  chip.hear(frame);
  return true;
}

void DrivenChip::throttle(double volts) {
  static const LinkSettings settings = link_settings();
  told.channels = 1U << 4;
  told.codes[4] = coprocessor::told_code(settings.parameters.sense[4], volts, 5.0);
}

void DrivenChip::run(std::int64_t lasts_ns) {
  for (const std::int64_t until = now_ns() + lasts_ns; now_ns() < until;) {
    chip.advance(chip.now() + Time(1000 * ms));
    session.take(chip.take_sent(), now_ns());
    if (bench_runs) {
      Ahead a;
      a.at_ns = now_ns() + 3 * ms;
      a.motion = {1e-9 * static_cast<double>(a.at_ns - begin_ns) * omega_m_rad_s, omega_m_rad_s,
                  0.0};
      a.source_V = 72.0;
      session.ahead(a);
    }
    session.tell(told);
    session.due(now_ns(), *this);
    batch->clear();
    captured->read(*batch, now_ns());
    const auto end = [](auto from, std::size_t n) { return from + static_cast<std::ptrdiff_t>(n); };
    edges.insert(edges.end(), batch->edges.begin(), end(batch->edges.begin(), batch->edge_count));
    gaps.insert(gaps.end(), batch->gaps.begin(), end(batch->gaps.begin(), batch->gap_count));
    for (LinkReport r; session.next_report(r);) reports.push_back(r);
  }
}

}  // namespace stillrotor::io
