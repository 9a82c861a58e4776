// Voltages of the six-step bridge, from the plant's terminal potentials.
// Source of all expected numbers: textbook, from memory; the Fourier integrals stand below.
#include <gtest/gtest.h>

#include <array>
#include <cmath>
#include <complex>

#include "tests/reference/support/integrals.hpp"

namespace stillrotor::reference {
namespace {

using plant::pi;
using plant::sqrt3;

constexpr double thd = 0.310841939307;  // sqrt(pi^2/9 - 1), both conduction patterns

struct PhaseVoltage {
  double fundamental, rms;  // over the bus voltage
};

/// 180 degrees: U high for half a period, V and W a third later each. A resistive-inductive star
/// carries current; the switch drop R_on i is added back, so the bridge's own voltage remains.
PhaseVoltage conduct_180_deg() {
  plant::DriveParameters p = stiff_drive();
  p.machine.winding_resistance_ohm = 5.0;
  p.machine.inductance_d_H = p.machine.inductance_q_H = 10e-3;
  plant::Drive drive(p);
  drive.start();
  hold_electrical(drive, 0.0);
  const std::int64_t period_ps = 18'000'000'000, sector_ps = period_ps / 6;
  const double w = plant::two_pi / (1e-12 * static_cast<double>(period_ps));
  const double r_on = p.bridge.switch_on_resistance_ohm;
  Integrals sums(drive, 3, [&](double t, const plant::Snapshot& s, double* out) {
    const double u = s.terminal_V.U + r_on * s.current_A.U;
    const double v = s.terminal_V.V + r_on * s.current_A.V;
    const double x = s.terminal_V.W + r_on * s.current_A.W;
    const double phase = (u - (u + v + x) / 3.0) / s.bus_V;
    out[0] = phase * std::cos(w * t);
    out[1] = phase * std::sin(w * t);
    out[2] = phase * phase;
  });
  using S = Switch;
  const std::initializer_list<S> pattern[6] = {{S::UH, S::VL, S::WH}, {S::UH, S::VL, S::WL},
                                               {S::UH, S::VH, S::WL}, {S::UL, S::VH, S::WL},
                                               {S::UL, S::VH, S::WH}, {S::UL, S::VL, S::WH}};
  for (int k = 0; k < 6; ++k) {
    only_on(drive, pattern[k]);
    advance_to(drive, (k + 1) * sector_ps, &sums);
  }
  return {2.0 * std::hypot(sums.mean(0), sums.mean(1)), std::sqrt(sums.mean(2))};
}

/// 120 degrees: one high, one low, the third terminal floats at the star potential. Each of the six
/// patterns is applied to a machine at rest without current, so no freewheel interval is mixed in.
PhaseVoltage conduct_120_deg() {
  plant::Drive drive(stiff_drive());
  using S = Switch;
  const std::initializer_list<S> pattern[6] = {{S::UH, S::VL}, {S::UH, S::WL}, {S::VH, S::WL},
                                               {S::VH, S::UL}, {S::WH, S::UL}, {S::WH, S::VL}};
  std::complex<double> sum = 0.0;
  double square = 0.0;
  for (int k = 0; k < 6; ++k) {
    drive.start();
    hold_electrical(drive, 0.0);
    only_on(drive, pattern[k]);
    const plant::Snapshot s = drive.snapshot();
    const double u = s.terminal_V.U, v = s.terminal_V.V, w = s.terminal_V.W;
    const double phase = (u - (u + v + w) / 3.0) / s.bus_V;
    // Integral of exp(-j x) over the sector [k, k+1] * 60 deg.
    const auto turn = [](int n) { return std::polar(1.0, -n * pi / 3.0); };
    sum += phase * (turn(k + 1) - turn(k)) / std::complex<double>(0.0, -1.0);
    square += phase * phase / 6.0;
  }
  return {std::abs(sum) / pi, std::sqrt(square)};
}

// Leg: +-V_dc/2 square wave, whose fundamental is (4/pi)(V_dc/2); the star removes triplens only.
// Tolerance: rounding; the edges lie on the picosecond grid exactly.
TEST(SixStepVoltage, FundamentalIsTwoOverPiOfBusWithHalfTurnConduction) {
  EXPECT_NEAR(conduct_180_deg().fundamental, 2.0 / pi, 3e-13);
}

// Phase: V_dc/2 for 120 deg, 0 for 60 deg: (4/pi)(V_dc/2) cos 30 deg. Tolerance: rounding.
TEST(SixStepVoltage, FundamentalIsRootThreeOverPiOfBusWithThirdTurnConduction) {
  EXPECT_NEAR(conduct_120_deg().fundamental, sqrt3 / pi, 3e-13);
}

// 180 deg: rms sqrt(2)/3, fundamental rms sqrt(2)/pi. 120 deg: rms sqrt(1/6), fundamental rms
// sqrt(3/2)/pi. Both: (rms/fundamental)^2 = pi^2/9. Tolerance: rounding, amplified by 1/THD.
TEST(SixStepVoltage, TotalHarmonicDistortionIs31PercentEitherWay) {
  for (const PhaseVoltage v : {conduct_180_deg(), conduct_120_deg()}) {
    const double ratio = v.rms / (v.fundamental / std::sqrt(2.0));
    EXPECT_NEAR(std::sqrt(ratio * ratio - 1.0), std::sqrt(pi * pi / 9.0 - 1.0), 1e-12);
    EXPECT_NEAR(std::sqrt(ratio * ratio - 1.0), thd, 1e-8);
  }
}

}  // namespace
}  // namespace stillrotor::reference
