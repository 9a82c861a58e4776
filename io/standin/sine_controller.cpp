#include "io/standin/sine_controller.hpp"

#include <algorithm>

#include "io/standin/current_control.hpp"

namespace stillrotor::io::standin {

SineController::SineController(const StandinScaling& scaling, double pwm_frequency_Hz,
                               double dead_time_s, double current_limit_A,
                               bool dead_time_compensation) noexcept
    : Controller(scaling, pwm_frequency_Hz, dead_time_s),
      dead_share_(dead_time_compensation ? dead_time_s / pwm().period_s() : 0.0),
      per_A_(1.0 / (0.02 * current_limit_A)) {}

Vector SineController::sampled_currents() noexcept {
  if (!scaling().low_side_shunts) return from_phases(phase_current_A(0), phase_current_A(1));
  if (duty_.u >= duty_.v && duty_.u >= duty_.w) {
    const double v = phase_current_A(1), w = phase_current_A(2);
    return from_phases(-v - w, v);
  }
  const double u = phase_current_A(0);
  if (duty_.v >= duty_.w) return from_phases(u, -u - phase_current_A(2));
  return from_phases(u, phase_current_A(1));
}

void SineController::modulate(Vector stator_V, ThreePhases current_A, double bus_V) noexcept {
  const auto lost = [&](double i) { return dead_share_ * std::clamp(i * per_A_, -1.0, 1.0); };
  const ThreePhases d = duties(stator_V, bus_V);
  duty_ = {d.u + lost(current_A.u), d.v + lost(current_A.v), d.w + lost(current_A.w)};
  pwm().set_duty(0, duty_.u);
  pwm().set_duty(1, duty_.v);
  pwm().set_duty(2, duty_.w);
}

void SineController::modulate_nothing() noexcept {
  duty_ = {};
  for (int leg = 0; leg < 3; ++leg) pwm().set_duty(leg, 0.0);
}

}  // namespace stillrotor::io::standin
