// What the controllers with sinusoidal output share: sampled currents, bus voltage, and a voltage
// vector turned into the legs' duties by space-vector modulation.
//
// Frame  stationary alpha-beta, amplitude-invariant; currents positive into the machine.
// Time   duties computed in one period act in the next.
// RT     safe, O(1).
#pragma once

#include "io/standin/controller.hpp"
#include "io/standin/transforms.hpp"

namespace stillrotor::io::standin {

inline constexpr double usable_voltage = 0.98;  // of bus / sqrt 3
inline constexpr double least_bus_V = 3.0;
inline constexpr double bus_collapse = 0.4;  // of the bus at the start: stop
inline constexpr double bus_rise_start = 1.10, bus_rise_end = 1.20;  // braking ends as it rises

class SineController : public Controller {
 protected:
  SineController(const StandinScaling&, double pwm_frequency_Hz, double dead_time_s,
                 double current_limit_A, bool dead_time_compensation) noexcept;

  /// By low-side shunts: of the two legs whose low switch is on longest; the third closes the sum.
  Vector sampled_currents() noexcept;

  /// The legs' duties for the next period. The dead time takes sign(i) of a share from a leg's
  /// duty; it is added back by `current_A`, proportionally less within 2 % of the limit around
  /// zero, where the sign is not known.
  void modulate(Vector stator_V, ThreePhases current_A, double bus_V) noexcept;
  /// No leg is asked high in the next period.
  void modulate_nothing() noexcept;

 private:
  double dead_share_, per_A_;
  ThreePhases duty_;  // of the period that begins now
};

}  // namespace stillrotor::io::standin
