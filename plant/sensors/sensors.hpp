// The sensors' parameters. Each turns a physical quantity into a level or a voltage at the
// controller's connector, with its real imperfections. Levels are positive logic; polarity of the
// wire and pull-ups belong to the harness. Hall switches and encoder here, the others beside their
// laws.
#pragma once

#include <vector>

#include "plant/sensors/absolute_angle.hpp"
#include "plant/sensors/current.hpp"
#include "plant/sensors/sin_cos.hpp"
#include "plant/sensors/temperature.hpp"
#include "plant/sensors/voltage.hpp"

namespace stillrotor::plant {

/// Three Hall switches. Line k is high while the electrical angle, less its placement error, lies
/// in the half turn that starts at -90 deg + k * spacing: then UVW reads 100 at 0 deg; see the
/// table in docs/notation.md. Hysteresis: full width; the flip lags by half of it, both ways.
/// Jitter belongs to the edge's place (line, electrical turn, rise or fall): a rotor that comes
/// back finds the edge where it was, so a standing rotor does not chatter.
struct HallParameters {
  bool fitted = false;
  double spacing_rad = 2.0943951023931953;          // 120 deg or 60 deg electrical
  double placement_error_rad[3] = {0.0, 0.0, 0.0};  // electrical, positive: line flips late
  double hysteresis_rad = 0.0;                      // electrical, >= 0, < 30 deg
  double jitter_rad = 0.0;  // electrical, 0 to 10 deg: each edge is off by up to this, either way
};

/// Incremental encoder, A leads B when turning forward; 4 * lines counts a mechanical turn; Z is
/// high for index_counts counts from the one that holds index_rad (mechanical) on. A missing line
/// (counted from the angle 0) gives no pulse: A and B stay low over its four counts.
struct EncoderParameters {
  bool fitted = false;
  int lines = 256;         // 1 to 100000
  double index_rad = 0.0;  // mechanical angle of the index pulse
  int index_counts = 1;    // 1, 2 or 4: gated with A and B, with one of them, with none
  bool reversed = false;   // B leads A when turning forward
  std::vector<int> missing_lines = {};  // 0 to lines - 1
};

}  // namespace stillrotor::plant
