// The sensors' parameters. Each turns a physical quantity into a level or a voltage at the
// controller's connector, with its real imperfections. Levels are positive logic; polarity of the
// wire and pull-ups belong to the harness.
#pragma once

namespace stillrotor::plant {

/// Three Hall switches. Line k is high while the electrical angle, less its placement error, lies
/// in the half turn that starts at -90 deg + k * spacing: then UVW reads 100 at 0 deg; see the
/// table in docs/notation.md. Hysteresis: full width; the flip lags by half of it, both ways.
struct HallParameters {
  bool fitted = false;
  double spacing_rad = 2.0943951023931953;          // 120 deg or 60 deg electrical
  double placement_error_rad[3] = {0.0, 0.0, 0.0};  // electrical, positive: line flips late
  double hysteresis_rad = 0.0;                      // electrical, >= 0, < 30 deg
};

/// Incremental encoder, A leads B when turning forward; 4 * lines counts a mechanical turn; Z is
/// high for the one count that holds index_rad (mechanical).
struct EncoderParameters {
  bool fitted = false;
  int lines = 256;         // 1 to 100000
  double index_rad = 0.0;  // mechanical angle of the index pulse
};

enum class CurrentSensing : unsigned char { none, low_side_shunt, in_line };

/// Current to volts: offset + polarity * gain * resistance * i, first-order bandwidth, clipped.
/// Low-side shunt: sees -i_phase while the low switch or its diode carries the phase current, else
/// 0; polarity -1 therefore reads positive for positive phase current (inverting amplifier).
/// In-line: sees i_phase always.
struct CurrentSensorParameters {
  CurrentSensing kind = CurrentSensing::none;
  double gain_V_per_A[3] = {0.02, 0.02, 0.02};  // shunt times amplifier gain, or sensor's own
  double offset_V[3] = {2.5, 2.5, 2.5};
  double polarity = 1.0;                         // +1 or -1
  double bandwidth_Hz = 200e3;                   // > 0; first order
  double low_limit_V = 0.0, high_limit_V = 5.0;  // saturation of the amplifier
};

/// Bus voltage through a divider: volts = ratio * v_dc, clipped to the limits.
struct BusVoltageSensorParameters {
  double ratio = 0.05;  // 0 < ratio <= 1
  double low_limit_V = 0.0, high_limit_V = 5.0;
};

}  // namespace stillrotor::plant
