#include "emulator/partition/link_settings.hpp"

#include <algorithm>
#include <cmath>
#include <stdexcept>
#include <string>

#include "emulator/bench/input_error.hpp"
#include "emulator/partition/refusals.hpp"
#include "emulator/scenario/bench_needs.hpp"
#include "plant/frames.hpp"

namespace stillrotor {
namespace {

namespace chip = io::coprocessor;

/// The largest current that the sensors can show, and the trip.
double largest_seen_A(const plant::DriveParameters& d) {
  double most = d.gate_driver.trip_A;
  for (const plant::CurrentSensorParameters* c : {&d.phase_current, &d.dc_link_current}) {
    if (c->kind == plant::CurrentSensing::none) continue;
    for (std::size_t k = 0; k < 3; ++k) {
      const double up = c->high_limit_V - c->offset_V[k], down = c->offset_V[k] - c->low_limit_V;
      most = std::max(most, std::max(up, down) / c->gain_V_per_A[k]);
    }
  }
  return most;
}

chip::Plant fast_plant(const Bench& bench, const io::LinkConfig& config) {
  const plant::DriveParameters& d = bench.drive;
  const plant::PermanentMagnetParameters star = plant::equivalent_star(d.machine);
  chip::Machine m;
  m.pole_pairs = star.pole_pairs;
  m.winding_resistance_ohm = star.winding_resistance_ohm;
  m.inductance_d_H = star.inductance_d_H;
  m.inductance_q_H = star.inductance_q_H;
  m.flux_linkage_Wb = star.flux_linkage_Wb;
  for (const auto& h : star.back_emf)
    if (h.order <= 49) m.back_emf.push_back({h.order, h.ratio});
  const chip::Bridge b{d.bridge.switch_on_resistance_ohm, d.bridge.diode_voltage_V,
                       d.bridge.diode_resistance_ohm};
  const chip::Link k{d.dc_link.capacitance_F, d.dc_link.series_resistance_ohm, d.supply.voltage_V,
                     d.supply.resistance_ohm * d.supply.battery.share_of_resistance()};
  chip::Format f;
  f.tick_s = 1.0 / config.tick_Hz;
  f.step_ticks = static_cast<int>(std::lround(config.step_s * config.tick_Hz));
  f.current_range_A =
      config.current_range_A > 0.0 ? config.current_range_A : 1.25 * largest_seen_A(d);
  f.voltage_range_V = chip_voltage_range_V(d, config);
  return chip::plant_parameters(m, b, k, f);
}

chip::AngleOutputs angle_outputs(const plant::DriveParameters& d) {
  chip::AngleOutputs a;
  a.halls = d.hall.fitted;
  a.hall_spacing_rad = d.hall.spacing_rad;
  std::copy(std::begin(d.hall.placement_error_rad), std::end(d.hall.placement_error_rad),
            std::begin(a.hall_placement_error_rad));
  if (d.encoder.fitted) a.encoder_lines = d.encoder.lines;
  a.index_rad = d.encoder.index_rad;
  a.index_counts = d.encoder.index_counts;
  a.reversed = d.encoder.reversed;
  return a;
}

chip::Channel channel(const Bench& bench, io::ChannelId id, const io::LinkConfig& config) {
  const plant::DriveParameters& d = bench.drive;
  chip::Channel c;
  c.converter_V = config.converter_V;
  c.converter_bits = config.converter_bits;
  if (id == io::channel::bus_voltage) {
    c.what = CP_SENSE_BUS;
    c.volts_per_unit = d.bus_voltage.ratio;
    c.offset_V = 0.0;
    return c;
  }
  const bool link = id == io::channel::dc_link_current;
  const plant::CurrentSensorParameters& s = link ? d.dc_link_current : d.phase_current;
  const std::size_t k = link ? 0 : io::index(id) - io::index(io::channel::phase_current_U);
  const bool shunt = s.kind == plant::CurrentSensing::low_side_shunt;
  const std::uint32_t first = shunt ? CP_SENSE_SHUNT_U : CP_SENSE_PHASE_U;
  c.what = link ? std::uint32_t{CP_SENSE_LINK} : first + static_cast<std::uint32_t>(k);
  // A shunt in the plant sees the current out of the machine (plant/sensors/current.hpp); in the
  // chip its sign is the channel's.
  c.volts_per_unit = (shunt ? -1.0 : 1.0) * s.polarity * s.gain_V_per_A[k];
  c.offset_V = s.offset_V[k];
  return c;
}

/// With the amplifier's upper end, where that lies below the converter's.
cp_sense_channel sense_channel(const Bench& bench, io::ChannelId id, const io::LinkConfig& config,
                               const chip::Scale& scale) {
  const plant::DriveParameters& d = bench.drive;
  const double end_V = id == io::channel::bus_voltage       ? d.bus_voltage.high_limit_V
                       : id == io::channel::dc_link_current ? d.dc_link_current.high_limit_V
                                                            : d.phase_current.high_limit_V;
  cp_sense_channel c = chip::sense_channel(channel(bench, id, config), scale);
  const double codes = std::ldexp(1.0, config.converter_bits) / config.converter_V;
  c.most = std::min(c.most, static_cast<std::int32_t>(std::lround(end_V * codes)));
  return c;
}

/// By their numbers at the chip.
std::vector<cp_sense_channel> sense_channels(const Bench& bench, const io::LinkConfig& config,
                                             const chip::Scale& scale) {
  const int most = *std::max_element(config.channels.begin(), config.channels.end());
  std::vector<cp_sense_channel> all(static_cast<std::size_t>(most + 1));
  const std::vector<io::ChannelId> fast = fast_channels(bench);
  for (std::size_t k = 0; k < io::channel_count; ++k) {
    if (config.channels[k] < 0) continue;
    const io::ChannelId id{static_cast<std::uint16_t>(k)};
    auto& channel = all[static_cast<std::size_t>(config.channels[k])];
    if (std::find(fast.begin(), fast.end(), id) != fast.end()) {
      channel = sense_channel(bench, id, config, scale);
    } else {
      chip::Channel told;
      told.what = CP_SENSE_TOLD;
      told.offset_V = config.safe_V[k];
      told.converter_V = config.converter_V;
      told.converter_bits = config.converter_bits;
      channel = chip::sense_channel(told, scale);
    }
  }
  return all;
}

cp_parameters core(const Bench& bench, const io::LinkConfig& config, double theta_m_rad,
                   const chip::Plant& plant, Refusals& refusals) {
  const cp_angle_parameters angle = chip::angle_parameters(
      angle_outputs(bench.drive), bench.drive.machine.pole_pairs, plant.scale);
  const double fastest = chip::max_speed_rad_s(angle, plant.scale);
  refusals.unless(bench.expects.top_speed_rad_s <= fastest, "controller.expects.top_speed",
                  std::to_string(std::lround(fastest * 60.0 / plant::two_pi)) + " rpm or less",
                  "Shorten the step or give the encoder fewer lines.");
  const double join = angle_tolerance_rad(bench);
  // Worked off in 100 us, as fast as the outputs can: the flux that it moves is the same.
  const cp_track_parameters track =
      chip::track_parameters(angle, plant.scale, join, std::min(join / 100e-6, 0.25 * fastest));
  const plant::GateDriverParameters& driver = bench.drive.gate_driver;
  const cp_trip_parameters trip =
      driver.trip_A > 0.0
          ? chip::trip_parameters(CP_TRIP_PHASES, driver.trip_A, driver.trip_delay_s, plant)
          : chip::trip_parameters(CP_TRIP_NONE, plant.scale.ampere * 1000.0, 0.0, plant);
  chip::Timing timing;
  timing.settle_s = config.settle_s;
  timing.silence_s = config.silence_s;
  timing.behind_s = config.behind_s;
  timing.report_steps = static_cast<int>(std::lround(config.report_s / plant.scale.step_s()));
  timing.theta_m_rad = theta_m_rad;
  return chip::core_parameters(plant, timing, angle, track, trip,
                               sense_channels(bench, config, plant.scale));
}

}  // namespace

double angle_tolerance_rad(const Bench& bench) {
  return 0.5 * plant::pi / 180.0 / bench.drive.pole_pairs();
}

std::vector<io::ChannelId> fast_channels(const Bench& bench) {
  std::vector<io::ChannelId> all;
  for (const io::ChannelId id :
       {io::channel::phase_current_U, io::channel::phase_current_V, io::channel::phase_current_W,
        io::channel::dc_link_current, io::channel::bus_voltage})
    if (bench.harness.channels[io::index(id)]) all.push_back(id);
  return all;
}

io::LinkSettings link_settings(const Bench& bench, const io::LinkConfig& config,
                               double theta_m_rad) {
  Refusals refusals(bench);
  refuse_what_the_chip_lacks(bench, refusals);
  refusals.throw_if_any();
  io::LinkSettings settings;
  try {
    if (config.current_range_A <= 0.0 && largest_seen_A(bench.drive) <= 0.0)
      throw std::invalid_argument(
          "the current range is not known; allowed above 0 A. Fit a current sensor or give it.");
    settings.plant = fast_plant(bench, config);
    settings.silent_ns = std::llround(config.broken_after_s * 1e9);
    settings.parameters = core(bench, config, theta_m_rad, settings.plant, refusals);
  } catch (const std::invalid_argument& complaint) {
    refusals.pass_on(complaint.what());
  }
  refusals.throw_if_any();
  return settings;
}

void require_outside_the_chip(const Bench& bench, const Scenario& scenario) {
  std::vector<std::string> problems;
  for_each_action(scenario, [&](const Action& action) {
    const std::string why = beyond_the_chip(action, bench);
    if (!why.empty())
      problems.push_back(scenario.file.string() + ": \"" + action.label + "\" " + why);
  });
  if (!problems.empty()) throw InputError(problems);
}

}  // namespace stillrotor
