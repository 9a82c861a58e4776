// The saturated machine against CVODE in flux linkages. The reference never sees a table, a spline
// or an inductance: its states are the linkages on d and q,
//   dlambda_d/dt = v_d - r i_d + w lambda_q,   dlambda_q/dt = v_q - r i_q - w lambda_d,
// and its currents solve lambda = psi(i) of the closed form (support/soft_iron.hpp) by Newton.
// Source: Faraday's law in a turning frame; textbook, from memory.
#include <cvode/cvode.h>
#include <gtest/gtest.h>
#include <nvector/nvector_serial.h>
#include <sunnonlinsol/sunnonlinsol_fixedpoint.h>

#include <cmath>

#include "tests/reference/support/soft_iron.hpp"

namespace stillrotor::reference {
namespace {

struct Problem {
  SoftIron iron;
  double v_alpha, v_beta, r, w, theta_0;
  mutable plant::Dq i;  // the last solution, where Newton begins

  plant::Dq currents(double lambda_d, double lambda_q) const {
    for (int tries = 0; tries < 50; ++tries) {
      const double off_d = lambda_d - iron.psi_d(i.d, i.q), off_q = lambda_q - iron.psi_q(i.d, i.q);
      const double dd = iron.l_dd(i.d, i.q), dq = iron.l_dq(i.d, i.q), qq = iron.l_qq(i.d, i.q);
      const double det = dd * qq - dq * dq;
      const double step_d = (qq * off_d - dq * off_q) / det;
      const double step_q = (dd * off_q - dq * off_d) / det;
      i.d += step_d;
      i.q += step_q;
      if (std::abs(step_d) + std::abs(step_q) < 1e-13) break;
    }
    return i;
  }
};

int rates(double t, N_Vector y, N_Vector dy, void* given) {
  const auto& p = *static_cast<const Problem*>(given);
  const double *x = N_VGetArrayPointer(y), c = std::cos(p.theta_0 + p.w * t),
               s = std::sin(p.theta_0 + p.w * t);
  const plant::Dq i = p.currents(x[0], x[1]);
  double* k = N_VGetArrayPointer(dy);
  k[0] = c * p.v_alpha + s * p.v_beta - p.r * i.d + p.w * x[1];
  k[1] = c * p.v_beta - s * p.v_alpha - p.r * i.q - p.w * x[0];
  return 0;
}

/// Currents at `t` from none at 0.
plant::Dq by_cvode(const Problem& p, double t) {
  SUNContext context = nullptr;
  SUNContext_Create(nullptr, &context);
  N_Vector y = N_VNew_Serial(2, context);
  NV_Ith_S(y, 0) = p.iron.psi_d(0.0, 0.0);
  NV_Ith_S(y, 1) = 0.0;
  void* memory = CVodeCreate(CV_ADAMS, context);
  EXPECT_EQ(CVodeInit(memory, rates, 0.0, y), 0);
  EXPECT_EQ(CVodeSStolerances(memory, 1e-12, 1e-14), 0);
  EXPECT_EQ(CVodeSetUserData(memory, const_cast<Problem*>(&p)), 0);
  SUNNonlinearSolver iteration = SUNNonlinSol_FixedPoint(y, 0, context);
  EXPECT_EQ(CVodeSetNonlinearSolver(memory, iteration), 0);
  CVodeSetMaxNumSteps(memory, 1000000);
  CVodeSetStopTime(memory, t);
  double reached = 0.0;
  EXPECT_GE(CVode(memory, t, y, &reached, CV_NORMAL), 0);
  const plant::Dq i = p.currents(NV_Ith_S(y, 0), NV_Ith_S(y, 1));
  CVodeFree(&memory);
  SUNNonlinSolFree(iteration);
  N_VDestroy(y);
  SUNContext_Free(&context);
  return i;
}

/// Largest distance from CVODE over a millisecond, U against V and W, 200 Hz electrical; peak gets
/// the largest current.
double worst_A(double grid_A, double step_s, double& peak) {
  const SoftIron iron;
  plant::DriveParameters p = soft_iron_drive(iron, grid_A);
  p.step_max_s = step_s;
  plant::Drive drive(p);
  drive.start({0.0, 0.4 / p.machine.pole_pairs, -1.0});
  const double w = plant::two_pi * 200.0;
  hold_electrical(drive, w);
  only_on(drive, {Switch::UH, Switch::VL, Switch::WL});
  const Problem problem{iron, 2.0 / 3.0 * p.supply.voltage_V,
                        0.0,  p.machine.winding_resistance_ohm + p.bridge.switch_on_resistance_ohm,
                        w,    0.4,
                        {}};
  double worst = 0.0;
  peak = 0.0;
  for (int n = 1; n <= 20; ++n) {
    advance_to(drive, ps(n * 50e-6));
    const plant::Dq i = drive.snapshot().current_dq_A, expected = by_cvode(problem, n * 50e-6);
    worst = std::fmax(worst, std::hypot(i.d - expected.d, i.q - expected.q));
    peak = std::fmax(peak, std::hypot(expected.d, expected.q));
  }
  EXPECT_EQ(drive.health().outside_map_s, 0.0);
  return worst;
}

// Two errors meet: the map's fit of the closed form, which falls with the fourth power of its grid,
// and the step's, which is of second order where it crosses a line of the grid.
TEST(SaturatedAgainstCvode, CurrentsAgreeWithFluxLinkagesSolvedByCvode) {
  double peak = 0.0;
  const double fine = worst_A(5.0, 1e-6, peak), coarse = worst_A(20.0, 1e-6, peak);
  ASSERT_GT(peak, 80.0);
  EXPECT_LT(fine, 2e-6 * peak);
  EXPECT_LT(coarse, 2e-4 * peak);
  EXPECT_GT(coarse, 10.0 * fine) << "a finer table must be a better one";
  std::printf("fine %.1e A, coarse %.1e A, 10 us step %.1e A of %.0f A\n", fine, coarse,
              worst_A(5.0, 10e-6, peak), peak);
}

}  // namespace
}  // namespace stillrotor::reference
