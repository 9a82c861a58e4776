// Volts per hertz: a sine whose voltage follows its frequency, open loop, for an induction machine.
//
// Frequency  the throttle's, by ramps. Over the current limit it yields: a machine that is driven
//            gets a lower one, a machine that drives back a higher one; the power that goes into
//            the machine tells the two apart. A bus that rises holds the ramp down.
// Voltage    from boost_voltage at standstill in a straight line to base_voltage at base_frequency,
//            constant beyond (there the flux falls with frequency), never more than the bus gives.
// Source     common practice for pumps and fans; nothing here knows the machine.
#include <algorithm>
#include <cmath>
#include <memory>

#include "io/standin/settings_check.hpp"
#include "io/standin/sine_controller.hpp"
#include "io/standin/standin.hpp"

namespace stillrotor::io {
namespace standin {
namespace {

constexpr double trip_over = 2.0;     // of the current limit
constexpr double bus_trip = 1.3;      // of the bus at the start
constexpr double soft_limit = 0.1;    // of the limit: the ramp fades over that much below it
constexpr double smoothing_s = 2e-3;  // of current and power
constexpr double peak_per_rms = 0.81649658092772603;  // sqrt(2/3): line-to-line rms to phase peak

class VoltsPerHertz final : public SineController {
 public:
  explicit VoltsPerHertz(const VoltsPerHertzConfig& c) noexcept
      : SineController(c.scaling, c.pwm_frequency_Hz, c.dead_time_s, c.current_limit_A,
                       c.dead_time_compensation),
        config_(c),
        smoothing_(std::min(1.0, pwm().period_s() / smoothing_s)) {}

 private:
  void awake() noexcept override { rest(); }

  void begin() noexcept override {
    rest();
    bus_at_start_V_ = bus_V();
    if (bus_at_start_V_ < least_bus_V) stop("bus reads %.1f V", bus_at_start_V_);
  }

  void sensor_edge(const Edge&) noexcept override {}
  void react() noexcept override {}  // the brake is a goal of the ramp

  /// No speed is known: the shaft is taken to stand where the ramp has come to its end.
  bool near_standstill() const noexcept override { return frequency_Hz_ == 0.0; }

  void control() noexcept override {
    const double bus = bus_V();
    if (bus < bus_collapse * bus_at_start_V_) return stop("bus fell to %.1f V", bus);
    if (bus > bus_trip * bus_at_start_V_) return stop("bus rose to %.1f V", bus);
    const bool asked = !throttle_at_rest() && !brake();
    if (!asked && frequency_Hz_ == 0.0) return rest();

    const Vector current_A = pwm().mode(0) == LegMode::complementary && has_current_sense()
                                 ? sampled_currents()
                                 : Vector{};
    const double length_A = std::sqrt(current_A.x * current_A.x + current_A.y * current_A.y);
    if (length_A > trip_over * config_.current_limit_A)
      return stop("phase current %.1f A is over %.1f A", length_A,
                  trip_over * config_.current_limit_A);
    current_A_ += smoothing_ * (length_A - current_A_);
    power_W_ +=
        smoothing_ * (1.5 * (voltage_V_.x * current_A.x + voltage_V_.y * current_A.y) - power_W_);

    follow(asked ? throttle() * config_.top_frequency_Hz : 0.0, bus / bus_at_start_V_);
    turn_on(usable_voltage / sqrt3 * bus);
    all_legs(LegMode::complementary);
    modulate(voltage_V_, to_phases(current_A), bus);
  }

  /// Gates off, so that a machine at rest carries no current and one that turns coasts.
  void rest() noexcept {
    frequency_Hz_ = angle_rad_ = current_A_ = power_W_ = 0.0;
    voltage_V_ = {};
    modulate_nothing();
    all_legs(LegMode::off);
  }

  /// One period of the ramp.
  void follow(double goal_Hz, double bus_share) noexcept {
    const double room = std::clamp(
        (config_.current_limit_A - current_A_) / (soft_limit * config_.current_limit_A), -1.0, 1.0);
    double up = config_.acceleration_Hz_per_s;
    double down =
        config_.deceleration_Hz_per_s *
        std::clamp((bus_rise_end - bus_share) / (bus_rise_end - bus_rise_start), 0.0, 1.0);
    const bool driven = power_W_ >= 0.0;
    (driven ? up : down) *= std::max(room, 0.0);
    double rate = std::clamp((goal_Hz - frequency_Hz_) / pwm().period_s(), -down, up);
    if (room < 0.0)
      rate = driven ? std::min(rate, room * config_.deceleration_Hz_per_s)
                    : std::max(rate, -room * config_.acceleration_Hz_per_s);
    frequency_Hz_ =
        std::clamp(frequency_Hz_ + rate * pwm().period_s(), 0.0, config_.top_frequency_Hz);
  }

  /// Turns the voltage vector by one period and sets its length.
  void turn_on(double usable_V) noexcept {
    angle_rad_ = std::remainder(
        angle_rad_ + direction() * 2.0 * pi * frequency_Hz_ * pwm().period_s(), 2.0 * pi);
    const double share = std::min(frequency_Hz_ / config_.base_frequency_Hz, 1.0);
    const double rms_V =
        config_.boost_voltage_V + share * (config_.base_voltage_V - config_.boost_voltage_V);
    const double length_V = std::min(peak_per_rms * rms_V, usable_V);
    voltage_V_ = {length_V * std::cos(angle_rad_), length_V * std::sin(angle_rad_)};
  }

  VoltsPerHertzConfig config_;
  double smoothing_;  // share a period
  double frequency_Hz_ = 0.0, angle_rad_ = 0.0;
  double current_A_ = 0.0, power_W_ = 0.0;  // smoothed
  Vector voltage_V_;
  double bus_at_start_V_ = 0.0;
};

}  // namespace
}  // namespace standin

std::unique_ptr<SimulatedController> make_volts_per_hertz(const VoltsPerHertzConfig& config) {
  standin::check(config);
  return std::make_unique<standin::VoltsPerHertz>(config);
}

}  // namespace stillrotor::io
