// How the machine of a recording turned, from its recorded Hall or encoder lines, and for how long
// an open-loop replay of its gates can be believed.
//
// Units  rad and rad/s electrical unless a name says otherwise; s.
// Angle  0: magnet axis on phase U. Hall line k is high in the half turn from -90 deg + k * spacing
//        on; A leads B when turning forward.
// Source delta_i: derived for stamps quantised independently of one another, dead time longer than
//        the tick; docs/architecture.md.
#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "io/capture/config.hpp"
#include "io/connector.hpp"

namespace stillrotor::io {

/// How the recorded machine's sensors sit; as far as the lines are recorded.
struct CapturedMachine {
  int pole_pairs = 1;
  double hall_spacing_rad = 2.0943951023931953;
  double hall_placement_error_rad[3] = {0.0, 0.0, 0.0};  // positive: line flips late
  double hall_hysteresis_rad = 0.0;                      // full width
  int encoder_lines = 0;                                 // 0: no encoder
  double encoder_index_rad = 0.0;                        // mechanical
};

/// The speed holds from `at` until the next point; its integral meets every anchored angle.
struct SpeedPoint {
  Time at{};
  double electrical_rad_s = 0.0;
};

struct RecordedMotion {
  enum class Source : std::uint8_t { none, hall, encoder };
  Source source = Source::none;
  std::vector<SpeedPoint> speed;  // empty: not recorded, or the machine stood still
  double initial_electrical_rad = 0.0;
  double initial_uncertainty_rad = 3.14159265358979324;  // half width
  /// Between two anchors the speed is taken as constant: the largest angle error that follows, from
  /// the change of speed from one interval to the next, and when it first passes 5 degrees.
  double interpolation_error_rad = 0.0;
  Time exceeds_limit_at{-1};           // < 0: never
  std::uint64_t anchors = 0;           // edges that fix the angle
  std::uint64_t impossible_steps = 0;  // invalid Hall codes, skipped sectors, double encoder steps
};

/// Reads the recording. No Halls and no encoder among its signals: source none. Throws ConfigError.
RecordedMotion recorded_motion(const CaptureConfig&, const CapturedMachine&);

/// What an estimate of trust needs to know beside the recording.
struct TrustQuestion {
  double resolution_s = 0.0, length_s = 0.0;  // of the recording
  // a speed that is given instead of the recorded one; electrical
  double held_speed_rad_s = 0.0;          // 0: the recorded motion is used
  double speed_uncertainty_rad_s = 0;     // half width, of the held speed
  double initial_uncertainty_rad = -1.0;  // of a stated start angle; < 0: the recorded motion's
  double clock_error = 50e-6;  // relative, of the recording's clock; crystals, common practice
  // the circuit
  double bus_V = 0.0, inductance_H = 0.0, resistance_ohm = 0.0, pwm_frequency_Hz = 0.0;
};

struct CaptureTrust {
  double trusted_s = 0.0;        // angle error below 5 electrical degrees until then
  double angle_error_rad = 0.0;  // at the end of the recording
  double current_error_A = 0.0;  // rms, from the resolution of the stamps
  std::string text;              // all of it in sentences, with the numbers and the formulas
};

/// delta_theta(t) = delta_theta(0) + p * integral of (omega_recorded - omega_plant) dt, trusted
/// while |delta_theta| <= 5 degrees. Held speed: (speed_uncertainty + clock_error * |speed|) * t on
/// top of the initial uncertainty. Recorded motion: anchored by every sensor edge, so it does not
/// grow. delta_i = (2 / sqrt 3) (V_dc sigma / L) sqrt(f_s tau / 2), sigma = resolution / sqrt 12,
/// tau = L / R.
CaptureTrust trust(const RecordedMotion&, const TrustQuestion&);

}  // namespace stillrotor::io
