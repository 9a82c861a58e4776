// How a bench with a controller on real wires keeps time.
#pragma once

namespace stillrotor {

struct CycleSettings {
  double period_s = 200e-6;
  double delay_s = 50e-6;  // of the plant behind the clock, for edges that take time to come in
  double spin_s = 0.0;     // of each wait, kept awake
  int priority = 80;       // SCHED_FIFO
  int core = -1;           // -1: any
  int watchdog_periods = 10;
};

}  // namespace stillrotor
