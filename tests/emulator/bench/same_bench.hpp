// Are two benches the same to a run? Paths of the files themselves do not count.
#pragma once

#include "tests/emulator/bench/support.hpp"

namespace stillrotor::test {

inline void expect_same_scaling(const io::StandinScaling& a, const io::StandinScaling& b) {
  EXPECT_EQ(a.supply_V, b.supply_V);
  EXPECT_EQ(a.current_gain_V_per_A, b.current_gain_V_per_A);
  EXPECT_EQ(a.current_offset_V, b.current_offset_V);
  EXPECT_EQ(a.low_side_shunts, b.low_side_shunts);
  EXPECT_EQ(a.bus_ratio, b.bus_ratio);
  EXPECT_EQ(a.throttle_zero_V, b.throttle_zero_V);
  EXPECT_EQ(a.throttle_full_V, b.throttle_full_V);
  EXPECT_EQ(a.throttle_low_fault_V, b.throttle_low_fault_V);
  EXPECT_EQ(a.throttle_high_fault_V, b.throttle_high_fault_V);
}

inline void expect_same_controller(const io::SixStepConfig& a, const io::SixStepConfig& b) {
  expect_same_scaling(a.scaling, b.scaling);
  EXPECT_EQ(a.pwm_frequency_Hz, b.pwm_frequency_Hz);
  EXPECT_EQ(a.dead_time_s, b.dead_time_s);
  EXPECT_EQ(a.current_limit_A, b.current_limit_A);
  EXPECT_EQ(a.duty_ramp_per_s, b.duty_ramp_per_s);
  EXPECT_EQ(a.hall_spacing_deg, b.hall_spacing_deg);
  EXPECT_EQ(a.hall_permutation, b.hall_permutation);
  EXPECT_EQ(a.hall_inverted, b.hall_inverted);
}
inline void expect_same_controller(const io::FieldOrientedConfig& a,
                                   const io::FieldOrientedConfig& b) {
  expect_same_scaling(a.scaling, b.scaling);
  EXPECT_EQ(a.pwm_frequency_Hz, b.pwm_frequency_Hz);
  EXPECT_EQ(a.dead_time_s, b.dead_time_s);
  EXPECT_EQ(a.current_limit_A, b.current_limit_A);
  EXPECT_EQ(a.regen_limit_A, b.regen_limit_A);
  EXPECT_EQ(a.current_loop_Hz, b.current_loop_Hz);
  EXPECT_EQ(a.torque_ramp_A_per_s, b.torque_ramp_A_per_s);
  EXPECT_EQ(a.limited_speed_rad_s, b.limited_speed_rad_s);
  EXPECT_EQ(a.pole_pairs, b.pole_pairs);
  EXPECT_EQ(a.winding_resistance_ohm, b.winding_resistance_ohm);
  EXPECT_EQ(a.inductance_d_H, b.inductance_d_H);
  EXPECT_EQ(a.inductance_q_H, b.inductance_q_H);
  EXPECT_EQ(a.flux_linkage_Wb, b.flux_linkage_Wb);
  EXPECT_EQ(a.encoder_lines, b.encoder_lines);
  EXPECT_EQ(a.encoder_index_rad, b.encoder_index_rad);
  EXPECT_EQ(a.has_hall, b.has_hall);
  EXPECT_EQ(a.dead_time_compensation, b.dead_time_compensation);
}
inline void expect_same_controller(const io::VoltsPerHertzConfig& a,
                                   const io::VoltsPerHertzConfig& b) {
  expect_same_scaling(a.scaling, b.scaling);
  EXPECT_EQ(a.pwm_frequency_Hz, b.pwm_frequency_Hz);
  EXPECT_EQ(a.dead_time_s, b.dead_time_s);
  EXPECT_EQ(a.current_limit_A, b.current_limit_A);
  EXPECT_EQ(a.base_frequency_Hz, b.base_frequency_Hz);
  EXPECT_EQ(a.base_voltage_V, b.base_voltage_V);
  EXPECT_EQ(a.boost_voltage_V, b.boost_voltage_V);
  EXPECT_EQ(a.top_frequency_Hz, b.top_frequency_Hz);
  EXPECT_EQ(a.acceleration_Hz_per_s, b.acceleration_Hz_per_s);
  EXPECT_EQ(a.deceleration_Hz_per_s, b.deceleration_Hz_per_s);
  EXPECT_EQ(a.dead_time_compensation, b.dead_time_compensation);
}
inline void expect_same_settings(const std::vector<io::SettingChange>& a,
                                 const std::vector<io::SettingChange>& b) {
  ASSERT_EQ(a.size(), b.size());
  for (std::size_t k = 0; k < a.size(); ++k) {
    EXPECT_EQ(a[k].name, b[k].name);
    EXPECT_EQ(a[k].value, b[k].value);
    EXPECT_EQ(a[k].unit, b[k].unit);
  }
}
inline void expect_same_controller(const io::HostFirmwareConfig& a,
                                   const io::HostFirmwareConfig& b) {
  EXPECT_EQ(a.firmware, b.firmware);
  EXPECT_EQ(a.supply_V, b.supply_V);
  EXPECT_EQ(a.patience_s, b.patience_s);
  EXPECT_EQ(a.in_process, b.in_process);
  expect_same_settings(a.settings, b.settings);
}
inline void expect_same_controller(const io::McuConfig& a, const io::McuConfig& b) {
  EXPECT_EQ(a.part, b.part);
  EXPECT_EQ(a.firmware, b.firmware);
  EXPECT_EQ(a.clock_Hz, b.clock_Hz);
  EXPECT_EQ(a.supply_V, b.supply_V);
  EXPECT_EQ(a.line_pins, b.line_pins);
  EXPECT_EQ(a.adc_pins, b.adc_pins);
  expect_same_settings(a.settings, b.settings);
}
inline void expect_same_controller(const io::CaptureConfig& a, const io::CaptureConfig& b) {
  EXPECT_EQ(a.file, b.file);
  EXPECT_EQ(a.signals, b.signals);
  EXPECT_EQ(a.start_s, b.start_s);
}
inline void expect_same_controller(const io::GpiodConfig& a, const io::GpiodConfig& b) {
  EXPECT_TRUE(a == b);
}
inline void expect_same_controller(const io::PolledConfig& a, const io::PolledConfig& b) {
  EXPECT_TRUE(a == b);
}

inline void expect_same_controller(const io::LinkConfig& a, const io::LinkConfig& b) {
  EXPECT_EQ(a.address, b.address);
  for (const auto member :
       {&io::LinkConfig::tick_Hz, &io::LinkConfig::step_s, &io::LinkConfig::settle_s,
        &io::LinkConfig::silence_s, &io::LinkConfig::behind_s, &io::LinkConfig::report_s,
        &io::LinkConfig::current_range_A, &io::LinkConfig::voltage_range_V,
        &io::LinkConfig::converter_V, &io::LinkConfig::stamp_resolution_s,
        &io::LinkConfig::stamp_jitter_s, &io::LinkConfig::lead_s, &io::LinkConfig::broken_after_s,
        &io::LinkConfig::warm_up_s, &io::LinkConfig::patience_s})
    EXPECT_EQ(a.*member, b.*member);
  EXPECT_EQ(a.converter_bits, b.converter_bits);
  EXPECT_EQ(a.channels, b.channels);
  EXPECT_EQ(a.safe_V, b.safe_V);
  EXPECT_EQ(a.thread, b.thread);
}

inline void expect_same_curve(const std::vector<plant::CurvePoint>& a,
                              const std::vector<plant::CurvePoint>& b) {
  ASSERT_EQ(a.size(), b.size());
  for (std::size_t k = 0; k < a.size(); ++k) {
    EXPECT_EQ(a[k].x, b[k].x);
    EXPECT_EQ(a[k].y, b[k].y);
  }
}
inline void expect_same_feed(const plant::DriveParameters& a, const plant::DriveParameters& b) {
  EXPECT_EQ(a.supply.cable_inductance_H, b.supply.cable_inductance_H);
  EXPECT_EQ(a.supply.fold_back_A, b.supply.fold_back_A);
  EXPECT_EQ(a.supply.voltage_loop_Hz, b.supply.voltage_loop_Hz);
  EXPECT_EQ(a.supply.current_loop_Hz, b.supply.current_loop_Hz);
  EXPECT_EQ(a.supply.latch_above_V, b.supply.latch_above_V);
  const plant::BatteryParameters &p = a.supply.battery, &q = b.supply.battery;
  expect_same_curve(p.open_circuit_V, q.open_circuit_V);
  expect_same_curve(p.resistance_share, q.resistance_share);
  EXPECT_EQ(p.capacity_C, q.capacity_C);
  EXPECT_EQ(p.charge, q.charge);
  EXPECT_EQ(p.temperature_K, q.temperature_K);
  for (std::size_t k = 0; k < p.branch.size(); ++k) {
    EXPECT_EQ(p.branch[k].resistance_ohm, q.branch[k].resistance_ohm);
    EXPECT_EQ(p.branch[k].time_s, q.branch[k].time_s);
  }
  const plant::ProtectionParameters &m = a.supply.protection, &n = b.supply.protection;
  EXPECT_EQ(m.fitted, n.fitted);
  EXPECT_EQ(m.sample_time_s, n.sample_time_s);
  EXPECT_EQ(m.over_voltage.trip_V, n.over_voltage.trip_V);
  EXPECT_EQ(m.over_voltage.release_V, n.over_voltage.release_V);
  EXPECT_EQ(m.over_voltage.delay_s, n.over_voltage.delay_s);
  EXPECT_EQ(m.under_voltage.trip_V, n.under_voltage.trip_V);
  EXPECT_EQ(m.under_voltage.release_V, n.under_voltage.release_V);
  EXPECT_EQ(m.under_voltage.delay_s, n.under_voltage.delay_s);
  EXPECT_EQ(m.discharge.trip_A, n.discharge.trip_A);
  EXPECT_EQ(m.discharge.delay_s, n.discharge.delay_s);
  EXPECT_EQ(m.charge.trip_A, n.charge.trip_A);
  EXPECT_EQ(m.charge.delay_s, n.charge.delay_s);
  EXPECT_EQ(m.retry_s, n.retry_s);
  EXPECT_EQ(a.contactor.fitted, b.contactor.fitted);
  EXPECT_EQ(a.contactor.pull_in_s, b.contactor.pull_in_s);
  EXPECT_EQ(a.contactor.drop_out_s, b.contactor.drop_out_s);
  EXPECT_EQ(a.contactor.pre_charge_ohm, b.contactor.pre_charge_ohm);
  EXPECT_EQ(a.chopper.resistance_ohm, b.chopper.resistance_ohm);
  EXPECT_EQ(a.chopper.by_itself, b.chopper.by_itself);
  EXPECT_EQ(a.chopper.on_V, b.chopper.on_V);
  EXPECT_EQ(a.chopper.off_V, b.chopper.off_V);
}

inline void expect_same_sensor(const plant::CurrentSensorParameters& a,
                               const plant::CurrentSensorParameters& b) {
  EXPECT_EQ(a.kind, b.kind);
  EXPECT_EQ(a.polarity, b.polarity);
  EXPECT_EQ(a.bandwidth_Hz, b.bandwidth_Hz);
  EXPECT_EQ(a.low_limit_V, b.low_limit_V);
  EXPECT_EQ(a.high_limit_V, b.high_limit_V);
  EXPECT_EQ(a.slew_V_per_s, b.slew_V_per_s);
  EXPECT_EQ(a.offset_drift_V_per_s, b.offset_drift_V_per_s);
  EXPECT_EQ(a.compression, b.compression);
  EXPECT_EQ(a.full_scale_A, b.full_scale_A);
  EXPECT_EQ(a.hysteresis_A, b.hysteresis_A);
  EXPECT_EQ(a.noise_V, b.noise_V);
  for (int k = 0; k < 3; ++k) {
    EXPECT_EQ(a.fitted[k], b.fitted[k]);
    EXPECT_EQ(a.gain_V_per_A[k], b.gain_V_per_A[k]);
    EXPECT_EQ(a.offset_V[k], b.offset_V[k]);
  }
}
inline void expect_same_sensor(const plant::VoltageSensorParameters& a,
                               const plant::VoltageSensorParameters& b) {
  EXPECT_EQ(a.fitted, b.fitted);
  EXPECT_EQ(a.ratio, b.ratio);
  EXPECT_EQ(a.filter_s, b.filter_s);
  EXPECT_EQ(a.low_limit_V, b.low_limit_V);
  EXPECT_EQ(a.high_limit_V, b.high_limit_V);
}
inline void expect_same_sensor(const plant::SinCosParameters& a, const plant::SinCosParameters& b) {
  EXPECT_EQ(a.fitted, b.fitted);
  EXPECT_EQ(a.periods_per_turn, b.periods_per_turn);
  EXPECT_EQ(a.zero_rad, b.zero_rad);
  EXPECT_EQ(a.amplitude_V, b.amplitude_V);
  EXPECT_EQ(a.offset_V, b.offset_V);
  EXPECT_EQ(a.phase_error_rad, b.phase_error_rad);
  EXPECT_EQ(a.second_harmonic, b.second_harmonic);
  EXPECT_EQ(a.third_harmonic, b.third_harmonic);
  EXPECT_EQ(a.noise_V, b.noise_V);
  EXPECT_EQ(a.low_limit_V, b.low_limit_V);
  EXPECT_EQ(a.high_limit_V, b.high_limit_V);
  for (int k = 0; k < 2; ++k) {
    EXPECT_EQ(a.offset_error_V[k], b.offset_error_V[k]);
    EXPECT_EQ(a.gain_error[k], b.gain_error[k]);
  }
}
inline void expect_same_sensor(const plant::AbsoluteAngleParameters& a,
                               const plant::AbsoluteAngleParameters& b) {
  EXPECT_EQ(a.output, b.output);
  EXPECT_EQ(a.bits, b.bits);
  EXPECT_EQ(a.zero_rad, b.zero_rad);
  EXPECT_EQ(a.reversed, b.reversed);
  EXPECT_EQ(a.eccentricity_rad, b.eccentricity_rad);
  EXPECT_EQ(a.eccentricity_phase_rad, b.eccentricity_phase_rad);
  EXPECT_EQ(a.noise_rad, b.noise_rad);
  EXPECT_EQ(a.latency_s, b.latency_s);
  EXPECT_EQ(a.data_delay_s, b.data_delay_s);
  EXPECT_EQ(a.pwm_frequency_Hz, b.pwm_frequency_Hz);
  EXPECT_EQ(a.start_clocks, b.start_clocks);
  EXPECT_EQ(a.stop_clocks, b.stop_clocks);
  EXPECT_EQ(a.ssi.gray, b.ssi.gray);
  EXPECT_EQ(a.ssi.error_bit, b.ssi.error_bit);
  EXPECT_EQ(a.ssi.parity_bit, b.ssi.parity_bit);
  EXPECT_EQ(a.monoflop_s, b.monoflop_s);
  EXPECT_EQ(a.spi_check, b.spi_check);
  EXPECT_EQ(a.answers_previous, b.answers_previous);
}
inline void expect_same_sensor(const plant::TemperatureSensorParameters& a,
                               const plant::TemperatureSensorParameters& b) {
  EXPECT_EQ(a.kind, b.kind);
  EXPECT_EQ(a.node, b.node);
  EXPECT_EQ(a.nominal_ohm, b.nominal_ohm);
  EXPECT_EQ(a.b_K, b.b_K);
  EXPECT_EQ(a.linear_per_K, b.linear_per_K);
  EXPECT_EQ(a.quadratic_per_K2, b.quadratic_per_K2);
  EXPECT_EQ(a.pull_up_ohm, b.pull_up_ohm);
  EXPECT_EQ(a.supply_V, b.supply_V);
}

inline void expect_same_plant(const plant::DriveParameters& a, const plant::DriveParameters& b) {
  EXPECT_EQ(a.bridge.switch_on_resistance_ohm, b.bridge.switch_on_resistance_ohm);
  EXPECT_EQ(a.bridge.diode_voltage_V, b.bridge.diode_voltage_V);
  EXPECT_EQ(a.bridge.diode_resistance_ohm, b.bridge.diode_resistance_ohm);
  EXPECT_EQ(a.bridge.switch_kind, b.bridge.switch_kind);
  EXPECT_EQ(a.bridge.switch_knee_V, b.bridge.switch_knee_V);
  EXPECT_EQ(a.bridge.output_capacitance_F, b.bridge.output_capacitance_F);
  EXPECT_EQ(a.bridge.switching.on_J, b.bridge.switching.on_J);
  EXPECT_EQ(a.bridge.switching.off_J, b.bridge.switching.off_J);
  EXPECT_EQ(a.bridge.switching.recovery_J, b.bridge.switching.recovery_J);
  EXPECT_EQ(a.bridge.switching.at_V, b.bridge.switching.at_V);
  EXPECT_EQ(a.bridge.switching.at_A, b.bridge.switching.at_A);
  for (int k = 0; k < plant::switch_count; ++k) {
    // A delay is written as the common one and a line's own addition: their sum may round.
    EXPECT_NEAR(a.gate_driver.on_delay_s[k], b.gate_driver.on_delay_s[k], 1e-21);
    EXPECT_NEAR(a.gate_driver.off_delay_s[k], b.gate_driver.off_delay_s[k], 1e-21);
  }
  EXPECT_EQ(a.gate_driver.trip_A, b.gate_driver.trip_A);
  EXPECT_EQ(a.gate_driver.trip_delay_s, b.gate_driver.trip_delay_s);
  EXPECT_EQ(a.gate_driver.retry_after_s, b.gate_driver.retry_after_s);
  EXPECT_EQ(a.gate_driver.supply_V, b.gate_driver.supply_V);
  EXPECT_EQ(a.gate_driver.undervoltage_V, b.gate_driver.undervoltage_V);
  EXPECT_EQ(a.gate_driver.hysteresis_V, b.gate_driver.hysteresis_V);
  const auto &boot_a = a.gate_driver.bootstrap, &boot_b = b.gate_driver.bootstrap;
  EXPECT_EQ(boot_a.capacitance_F, boot_b.capacitance_F);
  EXPECT_EQ(boot_a.resistance_ohm, boot_b.resistance_ohm);
  EXPECT_EQ(boot_a.diode_voltage_V, boot_b.diode_voltage_V);
  EXPECT_EQ(boot_a.quiescent_A, boot_b.quiescent_A);
  EXPECT_EQ(boot_a.gate_charge_C, boot_b.gate_charge_C);
  EXPECT_EQ(boot_a.undervoltage_V, boot_b.undervoltage_V);
  EXPECT_EQ(boot_a.hysteresis_V, boot_b.hysteresis_V);
  EXPECT_EQ(a.machine.pole_pairs, b.machine.pole_pairs);
  EXPECT_EQ(a.machine.winding_resistance_ohm, b.machine.winding_resistance_ohm);
  EXPECT_EQ(a.machine.inductance_d_H, b.machine.inductance_d_H);
  EXPECT_EQ(a.machine.inductance_q_H, b.machine.inductance_q_H);
  EXPECT_EQ(a.machine.flux_linkage_Wb, b.machine.flux_linkage_Wb);
  EXPECT_EQ(a.machine.flux_map.i_d_A, b.machine.flux_map.i_d_A);
  EXPECT_EQ(a.machine.flux_map.i_q_A, b.machine.flux_map.i_q_A);
  EXPECT_EQ(a.machine.flux_map.psi_d_Wb, b.machine.flux_map.psi_d_Wb);
  EXPECT_EQ(a.machine.flux_map.psi_q_Wb, b.machine.flux_map.psi_q_Wb);
  ASSERT_EQ(a.machine.cogging.size(), b.machine.cogging.size());
  for (std::size_t k = 0; k < a.machine.cogging.size(); ++k) {
    EXPECT_EQ(a.machine.cogging[k].order, b.machine.cogging[k].order);
    EXPECT_EQ(a.machine.cogging[k].amplitude_Nm, b.machine.cogging[k].amplitude_Nm);
    EXPECT_EQ(a.machine.cogging[k].phase_rad, b.machine.cogging[k].phase_rad);
  }
  EXPECT_EQ(a.machine.iron_loss.reference_W, b.machine.iron_loss.reference_W);
  EXPECT_EQ(a.machine.iron_loss.reference_frequency_Hz, b.machine.iron_loss.reference_frequency_Hz);
  EXPECT_EQ(a.machine.iron_loss.hysteresis_share, b.machine.iron_loss.hysteresis_share);
  EXPECT_EQ(a.machine.reference_temperature_K, b.machine.reference_temperature_K);
  EXPECT_EQ(a.machine.winding_temperature_coefficient_per_K,
            b.machine.winding_temperature_coefficient_per_K);
  EXPECT_EQ(a.machine.flux_temperature_coefficient_per_K,
            b.machine.flux_temperature_coefficient_per_K);
  EXPECT_EQ(a.machine.demagnetisation.possible, b.machine.demagnetisation.possible);
  EXPECT_EQ(a.machine.demagnetisation.knee_A, b.machine.demagnetisation.knee_A);
  EXPECT_EQ(a.machine.demagnetisation.knee_per_K_A, b.machine.demagnetisation.knee_per_K_A);
  EXPECT_EQ(a.machine.demagnetisation.lose_all_within_A,
            b.machine.demagnetisation.lose_all_within_A);
  expect_same_curve(a.machine.demagnetisation.knee_over_temperature,
                    b.machine.demagnetisation.knee_over_temperature);
  ASSERT_EQ(a.machine.back_emf.size(), b.machine.back_emf.size());
  for (std::size_t k = 0; k < a.machine.back_emf.size(); ++k) {
    EXPECT_EQ(a.machine.back_emf[k].order, b.machine.back_emf[k].order);
    EXPECT_EQ(a.machine.back_emf[k].ratio, b.machine.back_emf[k].ratio);
  }
  ASSERT_EQ(a.induction.has_value(), b.induction.has_value());
  if (a.induction) {
    EXPECT_EQ(a.induction->pole_pairs, b.induction->pole_pairs);
    EXPECT_EQ(a.induction->stator_resistance_ohm, b.induction->stator_resistance_ohm);
    EXPECT_EQ(a.induction->stator_leakage_H, b.induction->stator_leakage_H);
    EXPECT_EQ(a.induction->rotor_resistance_ohm, b.induction->rotor_resistance_ohm);
    EXPECT_EQ(a.induction->rotor_leakage_H, b.induction->rotor_leakage_H);
    EXPECT_EQ(a.induction->magnetising_inductance_H, b.induction->magnetising_inductance_H);
    ASSERT_EQ(a.induction->magnetising_curve.size(), b.induction->magnetising_curve.size());
    for (std::size_t k = 0; k < a.induction->magnetising_curve.size(); ++k) {
      EXPECT_EQ(a.induction->magnetising_curve[k].current_A,
                b.induction->magnetising_curve[k].current_A);
      EXPECT_EQ(a.induction->magnetising_curve[k].flux_linkage_Wb,
                b.induction->magnetising_curve[k].flux_linkage_Wb);
    }
  }
  EXPECT_EQ(a.supply.kind, b.supply.kind);
  EXPECT_EQ(a.supply.voltage_V, b.supply.voltage_V);
  EXPECT_EQ(a.supply.resistance_ohm, b.supply.resistance_ohm);
  EXPECT_EQ(a.supply.current_limit_A, b.supply.current_limit_A);
  expect_same_feed(a, b);
  EXPECT_EQ(a.dc_link.capacitance_F, b.dc_link.capacitance_F);
  EXPECT_EQ(a.dc_link.series_resistance_ohm, b.dc_link.series_resistance_ohm);
  EXPECT_EQ(a.shaft.inertia_kg_m2, b.shaft.inertia_kg_m2);
  EXPECT_EQ(a.shaft.viscous_friction_Nm_s_per_rad, b.shaft.viscous_friction_Nm_s_per_rad);
  EXPECT_EQ(a.shaft.coulomb_friction_Nm, b.shaft.coulomb_friction_Nm);
  EXPECT_EQ(a.shaft.cart_mass_kg, b.shaft.cart_mass_kg);
  EXPECT_EQ(a.shaft.wheel_radius_m, b.shaft.wheel_radius_m);
  EXPECT_EQ(a.shaft.gear_ratio, b.shaft.gear_ratio);
  EXPECT_EQ(a.shaft.rolling_resistance, b.shaft.rolling_resistance);
  EXPECT_EQ(a.shaft.gear_efficiency, b.shaft.gear_efficiency);
  EXPECT_EQ(a.shaft.coupling, b.shaft.coupling);
  EXPECT_EQ(a.shaft.stiffness_Nm_per_rad, b.shaft.stiffness_Nm_per_rad);
  EXPECT_EQ(a.shaft.torsion_damping_Nm_s_per_rad, b.shaft.torsion_damping_Nm_s_per_rad);
  EXPECT_EQ(a.shaft.load_inertia_kg_m2, b.shaft.load_inertia_kg_m2);
  EXPECT_EQ(a.shaft.quadratic_drag_Nm_s2_per_rad2, b.shaft.quadratic_drag_Nm_s2_per_rad2);
  EXPECT_EQ(a.shaft.constant_torque_Nm, b.shaft.constant_torque_Nm);
  EXPECT_EQ(a.shaft.static_torque_Nm, b.shaft.static_torque_Nm);
  EXPECT_EQ(a.shaft.constant_power_W, b.shaft.constant_power_W);
  EXPECT_EQ(a.shaft.power_floor_rad_s, b.shaft.power_floor_rad_s);
  EXPECT_EQ(a.shaft.drag_area_m2, b.shaft.drag_area_m2);
  EXPECT_EQ(a.shaft.air_density_kg_m3, b.shaft.air_density_kg_m3);
  EXPECT_EQ(a.shaft.driven_weight_share, b.shaft.driven_weight_share);
  EXPECT_EQ(a.shaft.peak_friction, b.shaft.peak_friction);
  EXPECT_EQ(a.shaft.slide_friction, b.shaft.slide_friction);
  EXPECT_EQ(a.shaft.peak_slip, b.shaft.peak_slip);
  EXPECT_EQ(a.shaft.slip_floor_m_s, b.shaft.slip_floor_m_s);
  EXPECT_EQ(a.shaft.pedal_ripple, b.shaft.pedal_ripple);
  EXPECT_EQ(a.shaft.pedal_gear, b.shaft.pedal_gear);
  EXPECT_EQ(a.shaft.hold, b.shaft.hold);
  EXPECT_EQ(a.shaft.hold_gain_Nm_s_per_rad, b.shaft.hold_gain_Nm_s_per_rad);
  EXPECT_EQ(a.shaft.hold_torque_limit_Nm, b.shaft.hold_torque_limit_Nm);
  EXPECT_EQ(a.hall.fitted, b.hall.fitted);
  EXPECT_EQ(a.hall.spacing_rad, b.hall.spacing_rad);
  EXPECT_EQ(a.hall.hysteresis_rad, b.hall.hysteresis_rad);
  EXPECT_EQ(a.encoder.fitted, b.encoder.fitted);
  EXPECT_EQ(a.encoder.lines, b.encoder.lines);
  EXPECT_EQ(a.encoder.index_rad, b.encoder.index_rad);
  EXPECT_EQ(a.hall.jitter_rad, b.hall.jitter_rad);
  for (int k = 0; k < 3; ++k)
    EXPECT_EQ(a.hall.placement_error_rad[k], b.hall.placement_error_rad[k]);
  EXPECT_EQ(a.encoder.index_counts, b.encoder.index_counts);
  EXPECT_EQ(a.encoder.reversed, b.encoder.reversed);
  EXPECT_EQ(a.encoder.missing_lines, b.encoder.missing_lines);
  expect_same_sensor(a.sin_cos, b.sin_cos);
  expect_same_sensor(a.absolute_angle, b.absolute_angle);
  expect_same_sensor(a.phase_current, b.phase_current);
  expect_same_sensor(a.dc_link_current, b.dc_link_current);
  expect_same_sensor(a.bus_voltage, b.bus_voltage);
  expect_same_sensor(a.phase_voltage, b.phase_voltage);
  for (int k = 0; k < 2; ++k) expect_same_sensor(a.temperature[k], b.temperature[k]);
  EXPECT_EQ(a.step_max_s, b.step_max_s);
}

inline void expect_same_bench(const Bench& a, const Bench& b) {
  EXPECT_EQ(a.name, b.name);
  expect_same_plant(a.drive, b.drive);
  for (std::size_t k = 0; k < io::line_count; ++k) {
    EXPECT_EQ(a.harness.lines[k].connected, b.harness.lines[k].connected);
    EXPECT_EQ(a.harness.lines[k].active_high, b.harness.lines[k].active_high);
    EXPECT_EQ(a.harness.lines[k].pull, b.harness.lines[k].pull);
  }
  EXPECT_EQ(a.harness.channels, b.harness.channels);
  EXPECT_EQ(a.controls.throttle_idle_V, b.controls.throttle_idle_V);
  EXPECT_EQ(a.controls.throttle_full_V, b.controls.throttle_full_V);
  EXPECT_EQ(a.backend, b.backend);
  EXPECT_EQ(a.controller_kind, b.controller_kind);
  EXPECT_EQ(a.controller_supply_V, b.controller_supply_V);
  EXPECT_EQ(a.controller_stays_supplied, b.controller_stays_supplied);
  EXPECT_EQ(a.key_closes_contactor, b.key_closes_contactor);
  EXPECT_EQ(a.expects.pwm_frequency_Hz, b.expects.pwm_frequency_Hz);
  EXPECT_EQ(a.expects.dead_time_s, b.expects.dead_time_s);
  EXPECT_EQ(a.expects.top_speed_rad_s, b.expects.top_speed_rad_s);
  EXPECT_EQ(a.expects.current_loop_Hz, b.expects.current_loop_Hz);
  EXPECT_EQ(a.record_rate_Hz, b.record_rate_Hz);
  EXPECT_EQ(a.keep_before_s, b.keep_before_s);
  EXPECT_EQ(a.keep_after_s, b.keep_after_s);
  EXPECT_EQ(a.cycle.period_s, b.cycle.period_s);
  EXPECT_EQ(a.cycle.delay_s, b.cycle.delay_s);
  EXPECT_EQ(a.cycle.spin_s, b.cycle.spin_s);
  EXPECT_EQ(a.cycle.priority, b.cycle.priority);
  EXPECT_EQ(a.cycle.core, b.cycle.core);
  EXPECT_EQ(a.cycle.watchdog_periods, b.cycle.watchdog_periods);
  EXPECT_EQ(a.cycle.gates.overlap_tolerance_s, b.cycle.gates.overlap_tolerance_s);
  EXPECT_EQ(a.cycle.gates.skew_s, b.cycle.gates.skew_s);
  EXPECT_EQ(a.cycle.gates.averaged, b.cycle.gates.averaged);
  EXPECT_EQ(a.cycle.gates.filtered, b.cycle.gates.filtered);
  EXPECT_EQ(a.analog, b.analog);
  EXPECT_EQ(a.capture_speed_rad_s, b.capture_speed_rad_s);
  ASSERT_EQ(a.controller.index(), b.controller.index());
  std::visit(
      [&](const auto& config) {
        expect_same_controller(config, std::get<std::decay_t<decltype(config)>>(b.controller));
      },
      a.controller);
}

}  // namespace stillrotor::test
