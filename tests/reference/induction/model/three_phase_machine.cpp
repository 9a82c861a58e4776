#include "tests/reference/induction/model/three_phase_machine.hpp"

#include <cvode/cvode.h>
#include <nvector/nvector_serial.h>
#include <sunnonlinsol/sunnonlinsol_fixedpoint.h>

#include <cmath>
#include <stdexcept>
#include <string>

namespace stillrotor::reference {
namespace {

constexpr double third = 2.0 * plant::pi / 3.0;
constexpr int states = 8;

void check(int flag, const char* call) {
  if (flag < 0) throw std::runtime_error(std::string(call) + " failed: " + std::to_string(flag));
}

void pack(const ThreePhaseState& x, double* v) {
  for (int k = 0; k < 6; ++k) v[k] = x.linkage_Wb[k];
  v[6] = x.omega_m_rad_s;
  v[7] = x.theta_e_rad;
}
ThreePhaseState unpack(const double* v) {
  ThreePhaseState x;
  for (int k = 0; k < 6; ++k) x.linkage_Wb[k] = v[k];
  x.omega_m_rad_s = v[6];
  x.theta_e_rad = v[7];
  return x;
}

struct Problem {
  const ThreePhaseMachine* machine;
  const ThreePhaseRun* run;
};

int right_hand_side(double t, N_Vector y, N_Vector dy, void* self) {
  const auto* p = static_cast<const Problem*>(self);
  pack(p->machine->rates(unpack(N_VGetArrayPointer(y)), p->run->stator_V(t)),
       N_VGetArrayPointer(dy));
  return 0;
}

}  // namespace

ThreePhaseMachine::ThreePhaseMachine(const plant::InductionParameters& p, double inertia_kg_m2)
    : p_(p), inertia_(inertia_kg_m2) {}

Eigen::Matrix3d ThreePhaseMachine::mutual(double theta_e, bool derivative) const {
  Eigen::Matrix3d m;
  for (int j = 0; j < 3; ++j)
    for (int k = 0; k < 3; ++k) {
      const double angle = theta_e + third * (k - j);
      m(j, k) = derivative ? -std::sin(angle) : std::cos(angle);
    }
  return 2.0 / 3.0 * p_.magnetising_inductance_H * m;
}

Eigen::Matrix<double, 6, 6> ThreePhaseMachine::inductance(double theta_e) const {
  Eigen::Matrix3d own = Eigen::Matrix3d::Constant(-0.5);
  own.diagonal().setOnes();
  own *= 2.0 / 3.0 * p_.magnetising_inductance_H;
  const Eigen::Matrix3d m = mutual(theta_e, false);
  Eigen::Matrix<double, 6, 6> l;
  l.topLeftCorner<3, 3>() = own + p_.stator_leakage_H * Eigen::Matrix3d::Identity();
  l.bottomRightCorner<3, 3>() = own + p_.rotor_leakage_H * Eigen::Matrix3d::Identity();
  l.topRightCorner<3, 3>() = m;
  l.bottomLeftCorner<3, 3>() = m.transpose();
  return l;
}

Eigen::Matrix<double, 6, 1> ThreePhaseMachine::currents_A(const ThreePhaseState& x) const {
  return inductance(x.theta_e_rad).ldlt().solve(x.linkage_Wb);
}

double ThreePhaseMachine::torque_Nm(const ThreePhaseState& x) const {
  const Eigen::Matrix<double, 6, 1> i = currents_A(x);
  return p_.pole_pairs * i.head<3>().dot(mutual(x.theta_e_rad, true) * i.tail<3>());
}

ThreePhaseState ThreePhaseMachine::rates(const ThreePhaseState& x,
                                         const Eigen::Vector3d& stator_V) const {
  const Eigen::Matrix<double, 6, 1> i = currents_A(x);
  ThreePhaseState d;
  d.linkage_Wb.head<3>() = stator_V - p_.stator_resistance_ohm * i.head<3>();
  d.linkage_Wb.tail<3>() = -p_.rotor_resistance_ohm * i.tail<3>();
  const double torque = p_.pole_pairs * i.head<3>().dot(mutual(x.theta_e_rad, true) * i.tail<3>());
  d.omega_m_rad_s = torque / inertia_;
  d.theta_e_rad = p_.pole_pairs * x.omega_m_rad_s;
  return d;
}

void run(const ThreePhaseMachine& machine, const ThreePhaseRun& how,
         const std::function<void(double, const ThreePhaseState&)>& sample) {
  SUNContext context = nullptr;
  check(SUNContext_Create(nullptr, &context), "SUNContext_Create");
  N_Vector y = N_VNew_Serial(states, context);
  pack({}, N_VGetArrayPointer(y));
  Problem problem{&machine, &how};
  void* memory = CVodeCreate(CV_ADAMS, context);
  SUNNonlinearSolver iteration = SUNNonlinSol_FixedPoint(y, 0, context);
  check(CVodeInit(memory, right_hand_side, 0.0, y), "CVodeInit");
  check(CVodeSStolerances(memory, how.tolerance, how.tolerance), "CVodeSStolerances");
  check(CVodeSetUserData(memory, &problem), "CVodeSetUserData");
  check(CVodeSetNonlinearSolver(memory, iteration), "CVodeSetNonlinearSolver");
  check(CVodeSetMaxNumSteps(memory, 10'000'000), "CVodeSetMaxNumSteps");
  const auto samples = static_cast<long>(how.until_s / how.every_s + 0.5);
  for (long n = 1; n <= samples; ++n) {
    double reached = 0.0;
    check(CVode(memory, static_cast<double>(n) * how.every_s, y, &reached, CV_NORMAL), "CVode");
    sample(reached, unpack(N_VGetArrayPointer(y)));
  }
  CVodeFree(&memory);
  SUNNonlinSolFree(iteration);
  N_VDestroy(y);
  SUNContext_Free(&context);
}

}  // namespace stillrotor::reference
