// Six-step commutation by three Halls: one leg's high switch is chopped, another leg's low switch
// is on, the third leg is off. Current freewheels through the low diode of the chopped leg.
#include <algorithm>
#include <memory>

#include "io/standin/controller.hpp"
#include "io/standin/hall.hpp"
#include "io/standin/settings_check.hpp"
#include "io/standin/standin.hpp"

namespace stillrotor::io {
namespace standin {
namespace {

constexpr Time standstill_after{200'000'000'000};  // no Hall edge for 200 ms
constexpr double limit_proportional = 0.1;         // duty per unit of relative current error
constexpr double limit_integral_per_s = 20.0;
constexpr double skip_pulse_over = 1.15;  // of the limit
constexpr double trip_over = 2.0;         // of the limit

class SixStep final : public Controller {
 public:
  explicit SixStep(const SixStepConfig& c) noexcept
      : Controller(c.scaling, c.pwm_frequency_Hz, c.dead_time_s),
        wiring_{c.hall_spacing_deg, c.hall_permutation, c.hall_inverted},
        limit_A_(c.current_limit_A),
        ramp_per_period_(c.duty_ramp_per_s / c.pwm_frequency_Hz),
        integral_per_period_(limit_integral_per_s / c.pwm_frequency_Hz) {}

 private:
  void awake() noexcept override { hall_moved_at_ = now() - standstill_after; }

  void begin() noexcept override {
    ramped_duty_ = 0.0;
    limit_duty_ = 0.0;
    commutate();
  }

  void control() noexcept override {
    const double asked = brake() ? 0.0 : throttle();
    ramped_duty_ = brake() ? 0.0
                           : std::clamp(asked, ramped_duty_ - ramp_per_period_,
                                        ramped_duty_ + ramp_per_period_);
    const double duty = limited(ramped_duty_);
    for (int leg = 0; leg < 3; ++leg) pwm().set_duty(leg, duty);
    commutate();
  }

  void sensor_edge(const Edge& edge) noexcept override {
    if (edge.line != line::hall_U && edge.line != line::hall_V && edge.line != line::hall_W) return;
    hall_moved_at_ = edge.at;
    request_reaction();
  }

  void react() noexcept override {
    if (brake()) ramped_duty_ = 0.0;
    commutate();
  }

  bool near_standstill() const noexcept override {
    return now() - hall_moved_at_ >= standstill_after;
  }

  /// Puts the legs where the Halls say. At no duty everything is off: a low switch that stayed on
  /// would brake a turning rotor.
  void commutate() noexcept {
    const bool u = line_high(line::hall_U), v = line_high(line::hall_V),
               w = line_high(line::hall_W);
    const int sector = hall_sector(u, v, w, wiring_);
    if (sector == no_sector)
      return stop("Hall lines read %d%d%d, which no rotor position gives", u, v, w);
    if (ramped_duty_ <= 0.0) return all_legs(LegMode::off);
    on_ = commutation(sector, direction());
    for (int leg = 0; leg < 3; ++leg)
      pwm().set_mode(leg,
                     leg == on_.high  ? LegMode::chopped_high
                     : leg == on_.low ? LegMode::low
                                      : LegMode::off,
                     now());
  }

  /// The current goes out through the high leg and comes back through the low leg; after a
  /// commutation one of the two still carries all of it. In the middle of the off-time it passes
  /// through its mean, and both low-side shunts see it.
  double limited(double duty) noexcept {
    if (!has_current_sense() || pwm().mode(on_.low) != LegMode::low) return limit_duty_ = duty;
    const double current_A = std::max(phase_current_A(on_.high), -phase_current_A(on_.low));
    if (current_A > trip_over * limit_A_) {
      stop("phase current %.1f A is over %.1f A", current_A, trip_over * limit_A_);
      return 0.0;
    }
    if (current_A > skip_pulse_over * limit_A_) return 0.0;
    const double room = (limit_A_ - current_A) / limit_A_;
    limit_duty_ = std::clamp(limit_duty_ + integral_per_period_ * room, 0.0, duty);
    return std::clamp(limit_duty_ + limit_proportional * room, 0.0, duty);
  }

  HallWiring wiring_;
  double limit_A_, ramp_per_period_, integral_per_period_;
  double ramped_duty_ = 0.0;
  double limit_duty_ = 0.0;  // integral part of the current limit
  Commutation on_{0, 1};
  Time hall_moved_at_{};
};

}  // namespace
}  // namespace standin

std::unique_ptr<SimulatedController> make_six_step(const SixStepConfig& config) {
  standin::check(config);
  return std::make_unique<standin::SixStep>(config);
}

}  // namespace stillrotor::io
