#include "emulator/cli/replay_trust.hpp"

#include <fmt/core.h>

#include <algorithm>
#include <cmath>

#include "emulator/virtual_time/given_motion.hpp"
#include "io/capture/capture.hpp"

namespace stillrotor {
namespace {

/// A bench file states a speed without its uncertainty; a hand-held tachometer's is of this size
/// (common practice).
constexpr double held_speed_uncertainty = 0.01;

io::TrustQuestion question(const Bench& bench, const io::CaptureSurvey& survey) {
  io::TrustQuestion q;
  q.resolution_s = survey.resolution_s;
  q.length_s = survey.length_s;
  q.held_speed_rad_s = bench.capture_speed_rad_s * bench.drive.machine.pole_pairs;
  q.speed_uncertainty_rad_s = held_speed_uncertainty * std::abs(q.held_speed_rad_s);
  q.bus_V = bench.drive.supply.voltage_V;
  const auto star = plant::equivalent_star(bench.drive.machine);
  q.inductance_H = std::min(star.inductance_d_H, star.inductance_q_H);
  q.resistance_ohm = star.winding_resistance_ohm;
  if (bench.drive.induction) {
    const plant::InductionMachine machine(*bench.drive.induction);
    q.inductance_H = machine.inductance_min_H();
    q.resistance_ohm = machine.transient_ohm();
  }
  q.pwm_frequency_Hz = survey.pwm_frequency_Hz;
  return q;
}

}  // namespace

std::string replay_trust(const Bench& bench, const io::SimulatedController& controller) {
  const auto* replay = dynamic_cast<const io::CaptureReplay*>(&controller);
  if (replay == nullptr) return {};
  const io::CaptureSurvey& survey = replay->survey();
  std::string text =
      io::trust(replay->motion(captured_machine(bench.drive)), question(bench, survey)).text;
  if (bench.capture_speed_rad_s != 0.0)
    text += fmt::format(" The stated speed is taken to be known to {:g} %.",
                        100.0 * held_speed_uncertainty);
  if (survey.unknown_values > 0)
    text += fmt::format(" {} values are x (unknown); the level before them was kept.",
                        survey.unknown_values);
  return text;
}

}  // namespace stillrotor
