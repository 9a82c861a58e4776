// From SI to the co-processor's integers, and back. For Linux; the chip never sees a double.
// Everything that does not fit the number format is refused here, with the range that does: the
// core trusts its parameters. Errors std::invalid_argument: what, its value, what is allowed, the
// remedy. Units  in the names. Signs and frames: docs/notation.md.
#pragma once

#include <cstdint>
#include <vector>

#include "io/link/coprocessor/coprocessor.h"

namespace stillrotor::io::coprocessor {

struct Harmonic {
  int order = 1;       // odd, 1 to 49; multiples of 3 cancel between terminals
  double ratio = 1.0;  // of the back-EMF, to its fundamental
};

/// A star machine of constant inductances on a bridge of MOSFETs with a DC link behind a battery.
struct Machine {
  int pole_pairs = 4;  // 1 to 64
  double winding_resistance_ohm = 0.05;
  double inductance_d_H = 150e-6, inductance_q_H = 150e-6;  // either at most four times the other
  double flux_linkage_Wb = 12e-3;
  std::vector<Harmonic> back_emf;  // empty: sine; else with order 1
};
struct Bridge {
  double switch_on_resistance_ohm = 4e-3;
  double diode_voltage_V = 0.8;  // above what the on-resistance drops at current_range_A
  double diode_resistance_ohm = 3e-3;
};
struct Link {
  double capacitance_F = 1e-3, series_resistance_ohm = 5e-3;
  double source_V = 48.0, source_ohm = 40e-3;  // source_ohm 0: none, the link floats
};
struct Format {
  double tick_s = 1.0 / 133e6;
  int step_ticks = 133;            // 16 to 256
  double current_range_A = 200.0;  // amplitude that must fit
  double voltage_range_V = 100.0;  // bus that must fit, with its swing
};

/// What one unit of the integers is worth.
struct Scale {
  double tick_s = 0.0;
  int step_ticks = 0;
  double volt = 0.0, ampere = 0.0, weber = 0.0;

  double step_s() const noexcept { return tick_s * step_ticks; }
  std::int32_t amperes(double) const noexcept;  // nearest
  std::int32_t volts(double) const noexcept;
};

struct Plant {
  cp_plant_parameters parameters{};
  Scale scale;
};
Plant plant_parameters(const Machine&, const Bridge&, const Link&, const Format&);

/// Resistance (winding and one switch) and magnets' flux as temperatures make them; within 0.25 to
/// 2 times what the plant was made with.
cp_command heat(const Plant&, double resistance_ohm, double flux_ratio, std::uint32_t at);
/// 0 to the voltage range.
cp_command supply(const Scale&, double source_V, std::uint32_t at);

struct Motion {
  double theta_m_rad = 0.0, omega_m_rad_s = 0.0, alpha_rad_s2 = 0.0;
};
/// Speed at most max_speed_rad_s(): see below.
cp_piece piece(const Scale&, const Motion&, std::uint32_t at);

struct AngleOutputs {
  bool halls = true;
  double hall_spacing_rad = 2.0943951023931953;
  double hall_placement_error_rad[3] = {0.0, 0.0, 0.0};
  int encoder_lines = 0;  // 0 to 16384; 0: not fitted
  double index_rad = 0.0;
  int index_counts = 1;  // 1, 2, 4
  bool reversed = false;
  int word_bits = 0;   // 8 to 20; 0: not fitted
  int word_turns = 1;  // words a mechanical turn
  double word_zero_rad = 0.0;
};
cp_angle_parameters angle_parameters(const AngleOutputs&, int pole_pairs, const Scale&);

/// Up to which speed no edge of these outputs is lost, and the EMF of straight lines over
/// CP_REFRESH_STEPS steps costs 1 % of sine-shaped magnets' flux at most: one count and two
/// electrical degrees a step, and a 256th of a turn.
double max_speed_rad_s(const cp_angle_parameters&, const Scale&);
/// slew: speed, on top of the trajectory's, at which a gap at a joint is worked off.
cp_track_parameters track_parameters(const cp_angle_parameters&, const Scale&, double join_rad,
                                     double slew_rad_s);

/// limit within the current range; delay up to 1 ms.
cp_trip_parameters trip_parameters(std::uint32_t watches, double limit_A, double delay_s,
                                   const Plant&);

struct Channel {
  std::uint32_t what = CP_SENSE_PHASE_U;
  double volts_per_unit =
      0.02;  // at the connector, per ampere or per volt of the bus; signed; not of one that is told
  double offset_V = 2.5;     // at nothing; the safe level
  double converter_V = 5.0;  // of code most + 1
  int converter_bits = 12;   // 8 to 16
};
cp_sense_channel sense_channel(const Channel&, const Scale&);
/// For a channel that is told, the code of CP_TELL; beyond its range: the nearest it can show.
std::int32_t told_code(const cp_sense_channel&, double volts, double converter_V) noexcept;

struct Timing {
  double settle_s = 0.2e-6;  // until an edge has come through the capture; up to 1 ms
  double silence_s = 20e-3;  // between two commands, 1 ms to 1 s
  double behind_s = 200e-6;  // lateness at which the outputs go safe, up to 10 ms
  int report_steps = 100;    // 1 to 4096
  double theta_m_rad = 0.0;  // at the start
};
/// All together. Channels: CP_CHANNELS at most.
cp_parameters core_parameters(const Plant&, const Timing&, const cp_angle_parameters&,
                              const cp_track_parameters&, const cp_trip_parameters&,
                              const std::vector<cp_sense_channel>&);

}  // namespace stillrotor::io::coprocessor
