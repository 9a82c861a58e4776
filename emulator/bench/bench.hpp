// A bench, read, checked and in SI: everything a run needs, nothing that still has to be parsed.
#pragma once

#include <cstdint>
#include <filesystem>
#include <map>
#include <optional>
#include <string>
#include <vector>

#include "emulator/bench/command_pulse.hpp"
#include "emulator/bench/cycle_settings.hpp"
#include "emulator/bench/harness.hpp"
#include "emulator/bench/line_calibration.hpp"
#include "emulator/bench/watch_list.hpp"
#include "io/backends.hpp"
#include "plant/drive.hpp"

namespace stillrotor {

/// A parameter as it was read: for `check`, the resolved bench.yaml and the record.
struct ParameterValue {
  std::string path;     // machine.winding_resistance
  std::string written;  // "42 mohm"; the default's text where the file is silent
  std::string si;       // "0.042 ohm"
  std::string origin;   // "file:line", "default", "--set"
};

/// What the bench expects of its controller; demands are computed from it (0: not stated).
struct Expects {
  double pwm_frequency_Hz = 0.0;
  double dead_time_s = 0.0;
  double top_speed_rad_s = 0.0;
  double current_loop_Hz = 0.0;
};

/// Drivers' controls at the connector.
struct Controls {
  double throttle_idle_V = 0.85;  // voltage of a throttle at rest
  double throttle_full_V = 4.2;
  CommandPulse pulse;
};

struct Bench {
  std::string name;
  std::filesystem::path file;
  plant::DriveParameters drive;
  Harness harness;
  Controls controls;
  std::string backend;          // as written: mcu, hostfw, standin, capture, gpiod, polled, link
  std::string controller_kind;  // six_step, ...; part number; else empty
  io::ControllerConfig controller;
  io::AnalogConfig analog;  // converters of a controller on real wires
  double controller_supply_V = 5.0;
  bool controller_stays_supplied = false;  // from the start, whatever the key does
  bool key_closes_contactor = true;        // else the controller's line does
  Expects expects;
  std::optional<LineCalibration> calibration;  // of the wires, on this computer
  CycleSettings cycle;                         // on the wall clock, and rehearsed
  double record_rate_Hz = 20e3;
  std::vector<WatchEntry> firmware_watch;  // variables of the firmware that are recorded
  // Where one is said, signals are kept only around faults and events; < 0: it is not.
  double keep_before_s = -1.0, keep_after_s = -1.0;
  double back_emf_left_out = 0.0;      // of a measured shape: largest part that no machine here has
  double capture_speed_rad_s = 0.0;    // capture only: given speed; 0: the recorded one
  std::vector<ParameterValue> values;  // every parameter, in table order
  std::vector<std::string> overrides;  // "machine.winding_resistance=50 mohm", as given
  std::string resolved_yaml;           // complete, loads to the same bench
};

/// Reads, resolves `from:`, applies overrides ("path=value"), checks. build_dir replaces ${build}.
/// Throws InputError (emulator/bench/input_error.hpp), listing every problem found.
Bench load_bench(const std::filesystem::path& file, const std::vector<std::string>& overrides,
                 const std::filesystem::path& build_dir);

}  // namespace stillrotor
