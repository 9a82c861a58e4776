// What dead time does to the mean voltage of a leg.
#include <gtest/gtest.h>

#include "tests/reference/support/edges.hpp"
#include "tests/reference/support/integrals.hpp"

namespace stillrotor::reference {
namespace {

struct Mean {
  double leg_V, current_A, bus_V;
};

/// Leg U switches with duty d, the other two legs are held at one rail, so that the current of U
/// keeps one sign. One period in the steady state.
Mean mean_leg_voltage(double duty, bool others_high, double dead_s, double period_s) {
  plant::DriveParameters p = stiff_drive();
  p.machine.winding_resistance_ohm = 1.0;
  p.machine.inductance_d_H = p.machine.inductance_q_H = 1e-3;
  p.bridge.diode_resistance_ohm = p.bridge.switch_on_resistance_ohm;  // one r in every interval
  p.step_max_s = 2e-6;
  plant::Drive drive(p);
  drive.start();
  hold_electrical(drive, 0.0);
  const auto other = [&](Switch high, Switch low) { return others_high ? high : low; };
  std::vector<GateEdge> edges = {{0, other(Switch::VH, Switch::VL), true},
                                 {0, other(Switch::WH, Switch::WL), true}};
  const int settle = 600;
  for (int n = 0; n <= settle; ++n) {
    turn_leg(edges, plant::Leg::U, true, ps(n * period_s), ps(dead_s));
    turn_leg(edges, plant::Leg::U, false, ps((n + duty) * period_s), ps(dead_s));
  }
  sort_edges(edges);
  std::size_t next = replay(drive, edges, 0, ps(settle * period_s) - 1);
  advance_to(drive, ps(settle * period_s));
  Integrals sums(drive, 3, [](double, const plant::Snapshot& s, double* out) {
    out[0] = s.terminal_V.U;
    out[1] = s.current_A.U;
    out[2] = s.bus_V;
  });
  replay(drive, edges, next, ps((settle + 1) * period_s), &sums);
  return {sums.mean(0), sums.mean(1), sums.mean(2)};
}

// Both switches are off for t_d after each of the two transitions of a period. Current out of the
// leg (i > 0) flows through the low diode meanwhile: the high interval loses t_d, and the diode's
// -V_f stands for 2 t_d. Current into the leg: mirrored. With one resistance r in all devices
//   v = d V_dc -+ (t_d f_s)(V_dc + 2 V_f) - r i.
// Source: Jeong & Park, The analysis and compensation of dead-time effects in PWM inverters, IEEE
// Trans. Industrial Electronics 38(2), 1991 (mean error, ideal devices); V_f and r derived here.
// By hand, 48 V, 1 us, 50 us: (0.02)(48 + 1.6) = 0.992 V.
// Tolerance: rounding of the mean; the edges lie on the picosecond grid.
TEST(DeadTime, LosesItsShareOfBusAndTwoDiodesWhenCurrentFlowsOut) {
  const Mean m = mean_leg_voltage(0.4, false, 1e-6, 50e-6);
  ASSERT_GT(m.current_A, 1.0);
  EXPECT_NEAR(m.leg_V - (0.4 * m.bus_V - 4e-3 * m.current_A), -0.02 * (m.bus_V + 1.6), 1e-12);
  EXPECT_NEAR(0.02 * (m.bus_V + 1.6), 0.992, 1e-6);
}

TEST(DeadTime, GainsItsShareOfBusAndTwoDiodesWhenCurrentFlowsIn) {
  const Mean m = mean_leg_voltage(0.4, true, 1e-6, 50e-6);
  ASSERT_LT(m.current_A, -1.0);
  EXPECT_NEAR(m.leg_V - (0.4 * m.bus_V - 4e-3 * m.current_A), 0.02 * (m.bus_V + 1.6), 1e-12);
}

// Control: without dead time there is no error.
TEST(DeadTime, WithoutItTheLegFollowsItsDuty) {
  const Mean m = mean_leg_voltage(0.4, false, 0.0, 50e-6);
  EXPECT_NEAR(m.leg_V, 0.4 * m.bus_V - 4e-3 * m.current_A, 1e-12);
}

}  // namespace
}  // namespace stillrotor::reference
