// What a bench on real wires asks of every signal, held against what its routes can do, in both
// directions; and what such a bench can therefore answer for.
//
// Averages  a gate behind a filter is late by the filter and by its converter; that is part of the
//           loop's delay.
// Demand    from controller.expects and the sensors that are wired.
// Limits    io/route.hpp: declared by the backend, or measured by loop-back on this computer.
// Tolerances the constants below. Common practice where no source stands beside them.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "emulator/bench/bench.hpp"
#include "io/route.hpp"

namespace stillrotor {

/// Electrical angle by which a Hall edge may come late: as much as Halls are placed wrong anyway.
inline constexpr double hall_late_most_deg = 5.0;
/// Phase that a current loop may lose at its crossover: of the 45 to 60 deg that it has.
inline constexpr double phase_lost_most_deg = 10.0;
/// Three legs, two switches, on and off.
inline constexpr double gate_edges_a_period = 12.0;
/// Ripple of a filtered gate, peak to peak, in % of duty: as much as a dead time of 1 us takes at
/// 20 kHz.
inline constexpr double ripple_most_percent = 2.0;
/// Step in which a pulse's width reaches the controller, in % of its travel from idle to full: a
/// receiver's dead band of some microseconds in 1 ms.
inline constexpr double pulse_step_most_percent = 1.0;
/// A dead time is clean while it is this many times the stamps' rms jitter.
inline constexpr double dead_time_in_jitters = 4.0;

struct Routes {
  io::LineRoute lines;
  std::optional<io::VoltsRoute> volts;
  std::optional<io::AveragesRoute> averages;  // of gates that come in so
  double cycle_s = 0.0;                       // of the loop
};

/// One signal's demand and limit, ready to print; both in `unit`.
struct Demand {
  std::string signal;  // "gates, in"
  std::string asks;    // the formula with its numbers
  double demand = 0.0, limit = 0.0;
  std::string unit;
  bool fits = false;
  std::string fits_up_to;   // the largest PWM, speed, bandwidth ... that would fit
  std::string consequence;  // where it does not fit: what would go wrong
  std::string remedy;
  std::string grounds;  // of the limit
};

/// What a Linux loop can answer for (docs/real-time.md).
enum class Grade : char {
  sensors = 'a',     // Halls, encoder, slow analog: six-step drives, sequences, faults
  averages = 'b',    // and averaged currents for slow loops
  partitioned = 'c'  // what is asked needs the fast part of the plant beside the pins
};

struct Budget {
  std::vector<Demand> demands;
  Grade grade = Grade::sensors;
  std::string grade_why;
  double loop_delay_s = 0.0;            // from an edge, or its average, to the volts that answer it
  double current_loop_most_Hz = 0.0;    // crossover that keeps its margin through these wires
  std::vector<std::string> not_stated;  // of controller.expects, but needed for a row

  bool fits() const noexcept;
  /// A row, as it is being drawn up.
  void add(Demand, bool does_fit);
  /// Of controller.expects: whether the bench says it; else it is noted once that it does not.
  bool stated(double value, const char* name);
};

Budget budget(const Bench&, const Routes&);
/// Gates against what one read of the cycle takes (io/wired.hpp); more would wait for the next.
void add_edges_a_turn(Budget&, double pwm_frequency_Hz, double cycle_s);

}  // namespace stillrotor
