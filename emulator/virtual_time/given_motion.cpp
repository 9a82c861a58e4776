#include "emulator/virtual_time/given_motion.hpp"

#include "io/capture/capture.hpp"

namespace stillrotor {

io::CapturedMachine captured_machine(const plant::DriveParameters& drive) {
  io::CapturedMachine machine;
  machine.pole_pairs = drive.machine.pole_pairs;
  machine.hall_spacing_rad = drive.hall.spacing_rad;
  for (int k = 0; k < 3; ++k)
    machine.hall_placement_error_rad[k] = drive.hall.placement_error_rad[k];
  machine.hall_hysteresis_rad = drive.hall.hysteresis_rad;
  // A replay counts what A and B show: it knows neither a reversed nor a damaged encoder.
  const bool counts = drive.encoder.fitted && !drive.encoder.reversed &&
                      drive.encoder.missing_lines.empty() && drive.encoder.index_counts == 1;
  machine.encoder_lines = counts ? drive.encoder.lines : 0;
  machine.encoder_index_rad = drive.encoder.index_rad;
  return machine;
}

GivenMotion given_motion(const Bench& bench, const io::SimulatedController& controller) {
  GivenMotion given;
  const auto* capture = dynamic_cast<const io::CaptureReplay*>(&controller);
  if (capture == nullptr) return given;
  const double per_electrical = 1.0 / bench.drive.machine.pole_pairs;
  const io::RecordedMotion motion = capture->motion(captured_machine(bench.drive));
  if (motion.source != io::RecordedMotion::Source::none)
    given.start_angle_rad = motion.initial_electrical_rad * per_electrical;
  if (bench.capture_speed_rad_s != 0.0) {
    given.speed = {{0, bench.capture_speed_rad_s}};
  } else {
    for (const io::SpeedPoint& point : motion.speed)
      given.speed.push_back({point.at.count(), point.electrical_rad_s * per_electrical});
  }
  return given;
}

}  // namespace stillrotor
