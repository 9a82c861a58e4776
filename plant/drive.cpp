// The plant's door: set-up, inputs, checkpoints.
#include "plant/drive.hpp"

#include <stdexcept>
#include <string>

#include "plant/flow.hpp"
#include "plant/require.hpp"
#include "plant/step_limits.hpp"

namespace stillrotor::plant {
namespace {

void check_current_sensor(const std::string& path, const CurrentSensorParameters& c) {
  above_zero((path + ".bandwidth").c_str(), c.bandwidth_Hz);
  not_negative((path + ".slew_rate").c_str(), c.slew_V_per_s);
  not_negative((path + ".hysteresis").c_str(), c.hysteresis_A);
  not_negative((path + ".noise").c_str(), c.noise_V);
  above_zero((path + ".full_scale").c_str(), c.full_scale_A);
  require(c.compression >= 0.0 && c.compression <= 0.3, (path + ".compression").c_str(),
          c.compression, "0 to 0.3");
  for (const double gain : c.gain_V_per_A) above_zero((path + ".gain").c_str(), gain);
}

void check_voltage_sensor(const std::string& path, const VoltageSensorParameters& v) {
  require(v.ratio > 0.0 && v.ratio <= 1.0, (path + ".ratio").c_str(), v.ratio, "above 0 to 1");
  require(v.filter_s >= 0.0 && v.filter_s <= 1.0, (path + ".filter").c_str(), v.filter_s,
          "0 s to 1 s");
}

void check_absolute_angle(const AbsoluteAngleParameters& a) {
  const int most = a.output == AngleOutput::spi ? 14 : 18;
  require(a.bits >= 4 && a.bits <= most, "sensors.absolute_angle.bits", a.bits,
          a.output == AngleOutput::spi ? "4 to 14" : "4 to 18");
  require(a.pwm_frequency_Hz >= 1.0 && a.pwm_frequency_Hz <= 10e3,
          "sensors.absolute_angle.pwm_frequency", a.pwm_frequency_Hz, "1 Hz to 10 kHz");
  require(a.start_clocks >= 1, "sensors.absolute_angle.start_clocks", a.start_clocks, "1 or more");
  require(a.stop_clocks >= 1, "sensors.absolute_angle.stop_clocks", a.stop_clocks, "1 or more");
  not_negative("sensors.absolute_angle.data_delay", a.data_delay_s);
  require(a.monoflop_s > a.data_delay_s, "sensors.absolute_angle.monoflop", a.monoflop_s,
          "above sensors.absolute_angle.data_delay");
  not_negative("sensors.absolute_angle.latency", a.latency_s);
  not_negative("sensors.absolute_angle.noise", a.noise_rad);
}

void check_sensors(const DriveParameters& d) {
  require(d.hall.hysteresis_rad >= 0.0 && d.hall.hysteresis_rad < pi / 6.0,
          "sensors.hall.hysteresis", d.hall.hysteresis_rad, "0 to below 30 deg");
  require(d.encoder.lines >= 1 && d.encoder.lines <= 100000, "sensors.encoder.lines",
          d.encoder.lines, "1 to 100000");
  require(d.hall.jitter_rad >= 0.0 && d.hall.jitter_rad <= pi / 18.0, "sensors.hall.jitter",
          d.hall.jitter_rad, "0 to 10 deg");
  for (const int line : d.encoder.missing_lines)
    require(line >= 0 && line < d.encoder.lines, "sensors.encoder.missing_lines", line,
            "0 to lines - 1");
  if (d.absolute_angle.output != AngleOutput::none) check_absolute_angle(d.absolute_angle);
  if (d.phase_current.kind != CurrentSensing::none)
    check_current_sensor("sensors.phase_current", d.phase_current);
  if (d.dc_link_current.kind != CurrentSensing::none)
    check_current_sensor("sensors.dc_link_current", d.dc_link_current);
  check_voltage_sensor("sensors.bus_voltage", d.bus_voltage);
  check_voltage_sensor("sensors.phase_voltage", d.phase_voltage);
  for (const TemperatureSensorParameters& t : d.temperature)
    if (t.kind != TemperatureSensing::none) {
      above_zero("sensors.temperature.pull_up", t.pull_up_ohm);
      above_zero("sensors.temperature.resistance", t.nominal_ohm);
    }
}

void check(const PermanentMagnetParameters& m) {
  require(m.pole_pairs >= 1 && m.pole_pairs <= 64, "machine.pole_pairs", m.pole_pairs, "1 to 64");
  above_zero("machine.winding_resistance", m.winding_resistance_ohm);
  if (m.flux_map.empty()) {
    above_zero("machine.inductance_d", m.inductance_d_H);
    above_zero("machine.inductance_q", m.inductance_q_H);
  }
  above_zero("machine.flux_linkage", m.flux_linkage_Wb);
  above_zero("machine.inductance_zero", m.inductance_zero_H);
  for (int k = 0; k < 3; ++k) {
    above_zero("machine.resistance_factor", m.resistance_factor[k]);
    above_zero("machine.turns_factor", m.turns_factor[k]);
    if (!m.flux_map.empty() && (m.connection == Connection::delta ||
                                m.resistance_factor[k] != 1.0 || m.turns_factor[k] != 1.0))
      throw std::invalid_argument(
          "machine.flux_map is of a star with equal windings; allowed without connection: delta, "
          "resistance_factor and turns_factor.");
  }
  require(m.reference_temperature_K >= 200.0 && m.reference_temperature_K <= 500.0,
          "machine.reference_temperature", m.reference_temperature_K, "200 to 500 K");
  require(std::abs(m.winding_temperature_coefficient_per_K) <= 0.01,
          "machine.winding_temperature_coefficient", m.winding_temperature_coefficient_per_K,
          "-0.01 to 0.01 /K");
  require(std::abs(m.flux_temperature_coefficient_per_K) <= 0.01,
          "machine.flux_temperature_coefficient", m.flux_temperature_coefficient_per_K,
          "-0.01 to 0.01 /K");
  not_negative("machine.iron_loss.power", m.iron_loss.reference_W);
  above_zero("machine.iron_loss.frequency", m.iron_loss.reference_frequency_Hz);
  require(m.iron_loss.hysteresis_share >= 0.0 && m.iron_loss.hysteresis_share <= 1.0,
          "machine.iron_loss.hysteresis_share", m.iron_loss.hysteresis_share, "0 to 1");
  if (!m.demagnetisation.possible) return;
  const auto& knees = m.demagnetisation.knee_over_temperature;
  for (std::size_t k = 1; k < knees.size(); ++k)
    require(knees[k].x > knees[k - 1].x,
            "machine.demagnetisation.knee_over_temperature: temperature", knees[k].x,
            "only rising");
  const double knee_A =
      m.demagnetisation.knee_at(m.reference_temperature_K, m.reference_temperature_K);
  require(knee_A < 0.0, "machine.demagnetisation.knee at the reference temperature", knee_A,
          "below 0");
  not_negative("machine.demagnetisation.knee_per_kelvin", m.demagnetisation.knee_per_K_A);
  above_zero("machine.demagnetisation.lose_all_within", m.demagnetisation.lose_all_within_A);
}

void check(const GateDriverParameters& g) {
  for (int k = 0; k < switch_count; ++k)
    for (const double delay_s : {g.on_delay_s[k], g.off_delay_s[k]})
      require(delay_s >= 0.0 && delay_s <= 10e-6, "bridge.driver delay", delay_s, "0 to 10 us");
  not_negative("bridge.driver.trip_current", g.trip_A);
  require(g.trip_delay_s >= 0.0 && g.trip_delay_s <= 1e-3, "bridge.driver.trip_delay",
          g.trip_delay_s, "0 to 1 ms");
  not_negative("bridge.driver.retry_after", g.retry_after_s);
  not_negative("bridge.driver.supply", g.supply_V);
  not_negative("bridge.driver.undervoltage", g.undervoltage_V);
  not_negative("bridge.driver.undervoltage_hysteresis", g.hysteresis_V);
  const BootstrapParameters& b = g.bootstrap;
  not_negative("bridge.driver.bootstrap.capacitance", b.capacitance_F);
  above_zero("bridge.driver.bootstrap.resistance", b.resistance_ohm);
  not_negative("bridge.driver.bootstrap.diode_voltage", b.diode_voltage_V);
  not_negative("bridge.driver.bootstrap.quiescent_current", b.quiescent_A);
  not_negative("bridge.driver.bootstrap.gate_charge", b.gate_charge_C);
  not_negative("bridge.driver.bootstrap.undervoltage", b.undervoltage_V);
  above_zero("bridge.driver.bootstrap.hysteresis", b.hysteresis_V);
}

void check(const DriveParameters& d) {
  check(d.gate_driver);
  above_zero("bridge.switch_on_resistance", d.bridge.switch_on_resistance_ohm);
  not_negative("bridge.diode_voltage", d.bridge.diode_voltage_V);
  above_zero("bridge.diode_resistance", d.bridge.diode_resistance_ohm);
  not_negative("bridge.switch_knee", d.bridge.switch_knee_V);
  not_negative("bridge.output_capacitance", d.bridge.output_capacitance_F);
  not_negative("bridge.switching.on_energy", d.bridge.switching.on_J);
  not_negative("bridge.switching.off_energy", d.bridge.switching.off_J);
  not_negative("bridge.switching.recovery_energy", d.bridge.switching.recovery_J);
  above_zero("bridge.switching.at_voltage", d.bridge.switching.at_V);
  above_zero("bridge.switching.at_current", d.bridge.switching.at_A);
  if (!d.induction) check(d.machine);  // the induction machine checks its own
  check_feed(d);
  above_zero("dc_link.capacitance", d.dc_link.capacitance_F);
  not_negative("dc_link.series_resistance", d.dc_link.series_resistance_ohm);
  check_shaft(d.shaft);
  check_sensors(d);
  require(d.step_max_s >= 0.1e-6 && d.step_max_s <= 50e-6, "step_max", d.step_max_s,
          "0.1 us to 50 us");
}

}  // namespace

Drive::Impl::Impl(const DriveParameters& given)
    : par((check(given), given)),
      machine(given.machine, given.induction),
      position(given.hall, given.encoder, given.pole_pairs(), given.seed),
      absolute_angle(given.absolute_angle, given.seed),
      analog(given),
      battery(given.supply.battery),
      supply_law(given.supply),
      shaft_law(given.shaft),
      driver(given.gate_driver) {
  p = machine.pole_pairs();
  inertia_inverse = 1.0 / (shaft_law.inertia + shaft_law.inertia_2);
  const double l_d = machine.star_inductance_d_H(), l_q = machine.star_inductance_q_H();
  rotor = {pair(l_d, l_q), pair(1.0 / l_d, 1.0 / l_q), pair(l_q / l_d, -l_d / l_q), l_d - l_q};
  coulomb_Nm = shaft_law.coulomb + shaft_law.coulomb_2;
  quadratic_Nm_s2 = shaft_law.fan + shaft_law.air;
  around = {machine.transient_ohm(), machine.inductance_min_H(), par.step_max_s,
            par.dc_link.series_resistance_ohm};
  for (std::size_t c = 0; c < laws.size(); ++c)
    laws[c] = leg_law(static_cast<Conduction>(c), par.bridge);
  fill_modes(modes, laws, around);
  const auto& feed = par.supply;
  const bool is_battery = feed.kind == SupplyKind::battery;
  supply_ohm = feed.resistance_ohm * (is_battery ? feed.battery.share_of_resistance() : 1.0);
  cable_wave_ohm = feed.cable_inductance_H <= 0.0
                       ? 0.0
                       : std::sqrt(feed.cable_inductance_H / par.dc_link.capacitance_F) +
                             par.dc_link.series_resistance_ohm;
  warms = par.thermal.fitted;
  if (warms) heat_paths.emplace(par.thermal, 1e-12 * static_cast<double>(heat_tick_ps));
  follows_charge = is_battery && (feed.battery.moves() || feed.protection.fitted);
  watches_supply = !is_battery || par.chopper.resistance_ohm > 0.0;
  bare = machine.bare();
  for (std::size_t pair = 0; pair < choices.size(); ++pair)
    choices[pair] = leg_choice(pair, par.bridge.switch_kind);
  for (std::size_t gates = 0; gates < gated.size(); ++gates) {
    gated[gates].all = true;
    for (std::size_t k = 0; k < 3; ++k) {
      const LegChoice& choice = choices[(gates >> (2 * k)) & 3U];
      for (std::size_t signs = 0; signs < 8; ++signs)
        gated[gates].leg[signs][k] = (signs >> k & 1U) != 0U ? choice.out : choice.into;
      gated[gates].all = gated[gates].all && choice.both_ways();
    }
    for (std::size_t signs = 0; signs < 8; ++signs) {
      const auto& leg = gated[gates].leg[signs];
      gated[gates].mode[signs] =
          &modes[static_cast<std::size_t>(mode_index(leg[0], leg[1], leg[2]))];
    }
  }
  share_A = sharing_A(par.bridge);
  const SwitchingEnergies& energies = par.bridge.switching;
  switching_costs = par.bridge.output_capacitance_F > 0.0 || energies.on_J > 0.0 ||
                    energies.off_J > 0.0 || energies.recovery_J > 0.0;
  capacitance_inverse = 1.0 / par.dc_link.capacitance_F;
  link_ohm2 = par.dc_link.series_resistance_ohm * par.dc_link.series_resistance_ohm;
  refuse_endless_steps(time_constants());
  shaft_step_s = longest_shaft_step_s(shaft_law, machine);
  angle_most_rad = longest_turn_rad(shaft_law, machine);
}

std::vector<TimeConstant> Drive::Impl::time_constants() const {
  return plant::time_constants(par, machine, shaft_law, supply_ohm, around.leg_ohm(par.bridge));
}

Drive::Drive(const DriveParameters& given) : impl_(std::make_unique<Impl>(given)) { start(); }
Drive::~Drive() = default;
Drive::Drive(Drive&&) noexcept = default;
Drive& Drive::operator=(Drive&&) noexcept = default;

void Drive::start(const StartState& from) noexcept {
  Impl& d = *impl_;
  d.s = DriveState{};
  d.refresh_shaft();
  d.s.machine = d.machine.as_new();
  d.choose_model();
  d.s.supply_V.value = d.par.supply.voltage_V;
  d.mode = &d.modes[0];
  d.start_supply();
  d.start_heat();
  const double charged_V = d.s.supply.contactor_closed ? d.par.supply.voltage_V : 0.0;
  d.s.v_cap_V = from.bus_V < 0.0 ? charged_V : from.bus_V;
  const bool locked = d.par.shaft.hold == Hold::locked;
  d.s.omega_m_rad_s = locked ? 0.0 : from.omega_m_rad_s;
  d.s.extra.omega_2_rad_s = d.s.omega_m_rad_s;
  d.s.apart = d.shaft_law.always_apart();
  d.s.speed_held = d.par.shaft.hold != Hold::none;
  if (d.s.speed_held) d.s.held_speed_rad_s.value = d.s.omega_m_rad_s;
  const double turns = std::floor(from.theta_m_rad * d.p / two_pi);
  d.s.electrical_turns = static_cast<std::int64_t>(turns);
  d.s.theta_e_rad = from.theta_m_rad * d.p - turns * two_pi;
  if (d.s.theta_e_rad >= two_pi) d.s.theta_e_rad = 0.0;
  if (d.s.theta_e_rad < 0.0) d.s.theta_e_rad = 0.0;
  d.s.cos_e = std::cos(d.s.theta_e_rad);
  d.s.sin_e = std::sin(d.s.theta_e_rad);
  d.inputs_changed();
  d.note_turn();
  d.position.start(d.s);
  d.refresh_path();
  d.absolute_angle.start(d.s.absolute_angle, d.shaft(), 0);
  d.absolute_angle_moved();
  d.s.driver = d.driver.started();
  if (d.fault_line_moves()) d.move_fault_line();
  d.settle_modes();
  d.settle_filters();
}

void Drive::Impl::inputs_changed() noexcept {
  ramping = true;
  slope_at_rest_Nm = slope_Nm(s.slope.value);
  at_rest = drivers(0.0);
  const auto moves = [](const Ramp& r) { return r.rate_per_s != 0.0; };
  const auto acts = [&](const Ramp& r) { return r.value != 0.0 || moves(r); };
  ramping = follows_charge || s.supply.ripple_V != 0.0 || moves(s.load_torque_Nm) ||
            moves(s.slope) || moves(s.supply_V) || moves(s.wind_m_s) || moves(s.pedal_Nm) ||
            (s.speed_held && moves(s.held_speed_rad_s));
  // What the fast steps leave alone starts out right when they hand over.
  if (fast && !s.apart) s.extra.omega_2_rad_s = s.omega_m_rad_s;
  rigid = shaft_law.plain() && !acts(s.wind_m_s) && !acts(s.pedal_Nm);
  fast = ever_fast && rigid;
  burns_plainly =
      (Machine::plain(s.machine) || phased) && !s.machine.shorted && !machine.iron().any() && rigid;
  const bool smooth = fast && !ledger && !follows_charge && !driver.acts(s.driver) &&
                      par.bridge.output_capacitance_F <= 0.0;
  glide_by = smooth ? glide_step_of_machine() : GlideBy::none;
  glides_beside_floating = glide_by == GlideBy::shape && !analog.follows_terminals;
}

Drive::Impl::GlideBy Drive::Impl::glide_step_of_machine() const noexcept {
  if (machine.cogging().any() || phased) return GlideBy::none;
  if (machine.shape().is_sine())
    return mapped ? GlideBy::map : bare ? GlideBy::plain : GlideBy::none;
  const bool one_inductance = machine.star_inductance_d_H() == machine.star_inductance_q_H();
  return one_inductance && !mapped && !machine.iron().any() && !watched ? GlideBy::shape
                                                                        : GlideBy::none;
}

const DriveState& Drive::state() const noexcept { return impl_->s; }
const DriveParameters& Drive::parameters() const noexcept { return impl_->par; }

// A delta that has once been computed winding by winding stays so: its loop may carry a current.
void Drive::Impl::choose_model() noexcept {
  const bool loop =
      par.machine.connection == Connection::delta && s.machine.model == MachineModel::phase_magnet;
  if (!loop) s.machine.model = machine.model_for(s.machine);
  if (phase_quantities) s.machine.model = MachineModel::phase_magnet;
  choose_path();
}

void Drive::Impl::choose_path() noexcept {
  const SwitchFaults& now = s.switches;
  switches_broken = (now.open | now.shorted) != 0 || now.next_end_ps() != SwitchFaults::never_ps;
  mapped = s.machine.model == MachineModel::saturated_magnet;
  const bool plain_feed =
      par.supply.cable_inductance_H <= 0.0 && !supply_law.regulated && s.supply.ripple_V == 0.0;
  phased = machine.is_phased_star(s.machine);
  ever_fast = (Machine::plain(s.machine) || ((mapped || phased) && !s.machine.shorted)) &&
              plain_feed && shaft_law.plain();
  extras = !plain_feed || s.machine.shorted || machine.has_inner_states(s.machine);
  watched = mapped || machine.can_lose_flux();
  inputs_changed();
}

void Drive::restore(const DriveState& checkpoint) noexcept {
  impl_->s = checkpoint;
  impl_->note_turn();
  impl_->refresh_shaft();
  impl_->choose_path();
  if (checkpoint.grounded >= 0) ground_laws(impl_->laws, impl_->par.bridge, checkpoint.ground_ohm);
  impl_->use_legs(impl_->legs());
  impl_->refresh_bus();
}

void Drive::Impl::set_switch(Switch which, bool on) noexcept {
  if (driver.acts(s.driver)) {
    driver.command(s.driver, which, on, now_ps());
    follow_driver();
    return;
  }
  const auto mask = static_cast<std::uint8_t>(1U << static_cast<int>(which));
  switch_gates(static_cast<std::uint8_t>(on ? s.asked | mask : s.asked & ~mask));
}

void Drive::set_switch(Switch which, bool on) noexcept { impl_->set_switch(which, on); }

void Drive::Impl::switch_gates(std::uint8_t asked) noexcept {
  s.asked = asked;
  const std::uint8_t gates = switches_broken ? s.switches.acting(asked) : asked;
  if (gates == s.gates) return;
  if (switching_costs) {
    const Terminals before = terminals_now();
    const std::array<Conduction, 3> leg_before = legs();
    const unsigned gates_before = s.gates;
    s.gates = gates;
    choose_legs();
    pay_for_switching(before, gates_before, leg_before);
  } else {
    s.gates = gates;
    choose_legs();
  }
  choose_supply();
  if (s.rotation == 0) choose_motion();
}

void Drive::set_load_torque_Nm(Ramp r) noexcept {
  impl_->s.load_torque_Nm = r;
  impl_->inputs_changed();
  impl_->choose_motion();
}

void Drive::set_slope(Ramp r) noexcept {
  impl_->s.slope = r;
  impl_->inputs_changed();
  impl_->choose_motion();
}

void Drive::set_wind_m_s(Ramp r) noexcept {
  impl_->s.wind_m_s = r;
  impl_->inputs_changed();
  impl_->choose_motion();
}

void Drive::set_pedal_Nm(Ramp r) noexcept {
  impl_->s.pedal_Nm = r;
  impl_->inputs_changed();
  impl_->choose_motion();
}

void Drive::set_supply_V(Ramp r) noexcept {
  impl_->s.supply_V = r;
  impl_->inputs_changed();
  impl_->choose_legs();
  impl_->choose_supply();
}

void Drive::hold_speed_rad_s(Ramp r) noexcept {
  Impl& d = *impl_;
  d.s.speed_held = true;
  d.s.held_speed_rad_s = r;
  if (d.shaft_law.imposes(d.shaft_mode())) d.s.omega_m_rad_s = r.value;
  d.inputs_changed();
  d.choose_legs();
  d.choose_motion();
}

void Drive::release_speed() noexcept {
  Impl& d = *impl_;
  d.s.speed_held = false;
  d.s.held_speed_rad_s = {};
  if (d.shaft_law.hold_gain <= 0.0) d.s.rotation = 0;
  d.inputs_changed();
  d.choose_motion();
}

void Drive::set_phase_open(Leg leg, bool open) noexcept {
  Impl& d = *impl_;
  const auto k = static_cast<std::size_t>(leg);
  const auto mask = static_cast<std::uint8_t>(1U << k);
  const bool was_open = d.s.open_phases & mask;
  if (was_open == open) return;
  if (open) {
    const double before = d.machine.stored_J(d.point(), d.s.machine);
    d.cut_phase(k);
    d.s.open_phases = static_cast<std::uint8_t>(d.s.open_phases | mask);
    // With a second phase open already no current can flow at all.
    if ((d.s.open_phases & (d.s.open_phases - 1)) != 0) d.cut_all();
    if (d.ledger) d.s.dissipated_J += before - d.machine.stored_J(d.point(), d.s.machine);
  } else {
    d.s.open_phases = static_cast<std::uint8_t>(d.s.open_phases & ~mask);
  }
  d.settle_jump();
}

void Drive::ground_phase(Leg leg, double ohm) noexcept {
  Impl& d = *impl_;
  d.s.grounded = static_cast<std::int8_t>(leg);
  d.s.ground_ohm = ohm;
  ground_laws(d.laws, d.par.bridge, ohm);
  d.settle_modes();
}

void Drive::end_ground() noexcept {
  impl_->s.grounded = -1;
  impl_->settle_modes();
}

bool Drive::set_joint_ohm(Leg leg, double ohm) noexcept {
  Impl& d = *impl_;
  if (!d.machine.has_phases()) return false;
  d.machine.set_joint(d.s.machine, static_cast<std::size_t>(leg), ohm);
  d.choose_model();
  d.refresh_bus();
  d.settle_modes();
  return true;
}

bool Drive::use_phase_quantities(bool use) noexcept {
  if (!impl_->machine.has_phases()) return false;
  impl_->phase_quantities = use;
  impl_->choose_model();
  impl_->refresh_bus();
  return true;
}

void Drive::keep_ledger(bool keep) noexcept {
  impl_->ledger = keep;
  impl_->inputs_changed();
}

Drive::Stop Drive::advance(std::int64_t until_ps, SegmentObserver* observer) noexcept {
  Impl::Way way{until_ps};
  return impl_->advance(way, false, observer);
}

Drive::Stop Drive::follow(std::int64_t until_ps, SegmentObserver* observer) noexcept {
  Impl::Way way{until_ps};
  return impl_->advance(way, true, observer);
}

Drive::Played Drive::play(std::span<const GateChange> changes, std::int64_t until_ps,
                          SegmentObserver* observer) noexcept {
  const GateChange* const begin = changes.data();
  Impl::Way way{until_ps};
  if (!changes.empty())
    way = {std::max(begin->at_ps, impl_->s.time_ps), until_ps, begin, begin + changes.size()};
  const Stop stop = impl_->advance(way, false, observer);
  return {stop, static_cast<std::size_t>(way.next - begin)};
}

std::int64_t Drive::quiet_until(std::int64_t limit_ps, Edges edges) const noexcept {
  return impl_->quiet_until(limit_ps, edges);
}

TimeConstant Drive::quickest() const {
  const auto all = impl_->time_constants();
  return *std::min_element(
      all.begin(), all.end(),
      [](const TimeConstant& a, const TimeConstant& b) { return a.seconds < b.seconds; });
}

Drive::Health Drive::health() const noexcept {
  return {impl_->forced_steps, impl_->inconsistent_modes, impl_->s.outside_map_s};
}

}  // namespace stillrotor::plant
