// The driver's command as a pulse: once a period, its width between idle and full.
// Units s. Common practice: 1 to 2 ms at 50 Hz, up to some hundred hertz.
#pragma once

namespace stillrotor {

struct CommandPulse {
  bool fitted = false;
  double period_s = 20e-3;
  double idle_s = 1e-3;  // the throttle at rest
  double full_s = 2e-3;  // fully open
};

}  // namespace stillrotor
