// What a step of each kind of machine costs. One iteration: 1 us of a drive whose legs all conduct,
// turning at 200 Hz electrical with some 60 A; every call is one step.
#include <benchmark/benchmark.h>

#include <cmath>

#include "plant/drive.hpp"

namespace {

using namespace stillrotor::plant;

DriveParameters straight() {
  DriveParameters p;
  p.machine.inductance_q_H = 250e-6;
  p.machine.flux_linkage_Wb = 17e-3;
  p.dc_link.capacitance_F = 3e-3;
  return p;
}
DriveParameters trapezoid() {
  DriveParameters p = straight();
  p.machine.back_emf = trapezoid_harmonics(120.0, 25);
  return p;
}
DriveParameters with_iron_and_cogging() {
  DriveParameters p = straight();
  p.machine.cogging = {{24, 0.05, 0.3}};
  p.machine.iron_loss = {50.0, 100.0, 0.5};
  return p;
}
/// Co-energy A sqrt(1 + (x/a)^2 + (i_q/b)^2) and straight parts; invented.
DriveParameters saturated() {
  DriveParameters p = straight();
  FluxMapTable& t = p.machine.flux_map;
  for (int k = -12; k <= 8; ++k) t.i_d_A.push_back(20.0 * k);
  for (int k = -12; k <= 12; ++k) t.i_q_A.push_back(20.0 * k);
  for (const double d : t.i_d_A)
    for (const double q : t.i_q_A) {
      const double x = d + 100.0;
      const double r = std::sqrt(1.0 + x * x / 22500.0 + q * q / 14400.0);
      t.psi_d_Wb.push_back((3.75 / 22500.0 / r + 30e-6) * x);
      t.psi_q_Wb.push_back((3.75 / 14400.0 / r + 60e-6) * q);
    }
  return p;
}

void step(benchmark::State& state, DriveParameters (*machine)(), bool general) {
  Drive drive(machine());
  drive.start({two_pi * 200.0 / 4.0, 0.0, -1.0});
  drive.hold_speed_rad_s({two_pi * 200.0 / 4.0, 0.0});
  drive.keep_ledger(general);
  for (const Switch on : {Switch::UL, Switch::VL, Switch::WL}) drive.set_switch(on, true);
  for (auto _ : state) drive.advance(drive.state().time_ps + 1'000'000);
  benchmark::DoNotOptimize(drive.state().i_alpha_A);
  if (drive.health().outside_map_s > 0.0) state.SkipWithError("outside the map");
}

BENCHMARK_CAPTURE(step, straight, straight, false);
BENCHMARK_CAPTURE(step, trapezoid, trapezoid, false);
BENCHMARK_CAPTURE(step, iron_and_cogging, with_iron_and_cogging, false);
BENCHMARK_CAPTURE(step, saturated, saturated, false);
BENCHMARK_CAPTURE(step, saturated_with_ledger, saturated, true);

}  // namespace

BENCHMARK_MAIN();
