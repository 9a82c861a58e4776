// A bench while it is being read: every parameter has a member here, in SI, still in the terms in
// which people write it. assemble() turns it into the Bench that a run uses.
#pragma once

#include <array>
#include <string>

#include "emulator/bench/bench.hpp"
#include "emulator/bench/converter_drafts.hpp"

namespace stillrotor {

enum class BackEmfShape : int { sine, trapezoid, harmonics, table };

/// A wire of the harness as written.
struct WireDraft {
  std::string pin;      // of the microcontroller; empty: not connected
  int active_high = 1;  // index into {low, high}
  // Of a controller on real wires: the bench's end.
  std::string chip, name;
  int offset = -1;
  int bias = 0, drive = 0, safe = 2;  // indices of io::Bias, io::Drive, io::Level
  bool inverted = false;

  bool wired() const { return offset >= 0 || !name.empty(); }
};

/// The DC link's sensor uses the first of each three.
struct CurrentSensorDraft {
  int kind = 0;
  int inverted = 0;
  double shunt_ohm = 0.0, amplifier_gain = 1.0, sensitivity_V_per_A = 0.0;
  double offset_V = 2.5;
  std::array<double, 3> gain_error{}, offset_error_V{};
};

struct Draft {
  Bench bench;

  // machine
  int connection = 0;
  int machine_kind = 0;
  plant::InductionParameters induction;
  std::string magnetising_curve;  // "5 A: 0.3 Wb, 12 A: 0.5 Wb"
  int back_emf_shape = 0;
  double flat_top_rad = 0.0;
  int highest_order = 25;
  std::string harmonics;             // "5: 0.04, 7: -0.02"
  double speed_constant_Vs_rad = 0;  // line-to-line peak
  std::string flux_map_file, back_emf_file, cogging_harmonics, cogging_file;
  double demagnetisation_knee_A = 0.0, demagnetisation_hot_knee_A = 0.0,
         demagnetisation_hot_K = 393.15;
  std::string demagnetisation_knees;  // "20 degC: -190 A, 120 degC: -110 A"

  // bridge
  int switch_kind = 0;
  double driver_on_delay_s = 0.0, driver_off_delay_s = 0.0;
  std::array<double, 6> driver_on_skew_s{}, driver_off_skew_s{};  // by gate line

  int supply_kind = 0;
  std::string open_circuit, branches;       // "0 %: 42 V, 100 %: 54 V"; "8 mohm: 0.5 s"
  std::string resistance_over_temperature;  // "-10 degC: 2.1, 25 degC: 1"
  int contactor_driven_by = 0, chopper_driven_by = 0;
  int load_kind = 0, coupling = 0;

  // sensors
  CurrentSensorDraft phase_current, dc_link_current;
  int encoder_index = 0, encoder_reversed = 0;
  std::string missing_lines;  // "3, 17"
  int angle_output = 0, angle_reversed = 0, angle_code = 0, spi_check = 0, spi_answer = 0;
  struct {
    int kind = 0, node = 0;
  } temperature[2];

  // controls
  double throttle_low = 0.0, throttle_high = 0.0;

  // controller
  int backend = 0;
  int kind = 0;  // of the stand-in
  std::string firmware, firmware_settings, firmware_watch, capture_file, eeprom_image;
  io::StandinScaling scaling;
  struct {
    double pwm_frequency_Hz = 0, dead_time_s = 0, current_limit_A = 0;
    bool dead_time_compensation = true;
  } standin;
  io::SixStepConfig six_step;
  int hall_permutation = 0;
  double believed_hall_spacing_rad = 0.0;
  io::FieldOrientedConfig field_oriented;
  io::VoltsPerHertzConfig volts_per_hertz;
  io::McuConfig mcu;
  io::HostFirmwareConfig hostfw;
  io::CaptureConfig capture;
  struct {
    int gates = 0;  // index of io::GateWires
    double dead_time_s = 0.0, gap_tolerance_s = 0.0;
    io::CaptureThread capture;
    std::string registers_file, calibration_file;
    int base = 0;
    io::PolledRegisters registers;  // but for file and base
  } wires;

  io::LinkConfig link;

  // harness
  std::array<WireDraft, io::line_count> line;
  WireDraft stop_circuit, bus_dead, watchdog;
  int gates_active_high = 1, hall_active_high = 1;
  int gates_pull = 0;  // index of Pull
  double hall_pull_up_V = 0.0;
  std::array<std::string, io::channel_count> channel_pin;
  ConverterDrafts converters;
  double gate_on_V = 0.0, gate_off_V = 0.0, gate_tolerance = 0.0;
};

}  // namespace stillrotor
