// Field-oriented control: currents held on the rotor's axes by encoder and Halls, space-vector
// modulation with dead time, most torque per ampere, field weakening, electric brake.
//
// Timing  currents are sampled in the middle of the low switches' on-time (low-side shunts see
//         them); the duties computed from them act in the next period, whose middle lies 1.5
//         periods after the sample: the voltage vector is turned on by that much.
#include <algorithm>
#include <cmath>
#include <memory>

#include "io/standin/current_control.hpp"
#include "io/standin/rotor_angle.hpp"
#include "io/standin/settings_check.hpp"
#include "io/standin/sine_controller.hpp"
#include "io/standin/standin.hpp"

namespace stillrotor::io {
namespace standin {
namespace {

constexpr double delay_periods = 1.5;
constexpr double weaken_from = 0.95;                // of the usable voltage
constexpr double trip_over = 1.6;                   // of the current limit
constexpr double standstill_rad_s = 6.3;            // electrical: 1 turn/s
constexpr double brake_fade_rad_s = 31.4;           // electrical: below 5 turns/s the brake lets go
constexpr double align_s = 0.8, align_share = 0.4;  // of the current limit
constexpr double limit_fade = 0.1;                  // of the limited speed
constexpr double bus_sag_start = 0.75, bus_sag_end = 0.65;  // drive fades as the bus sags

class FieldOriented final : public SineController {
 public:
  explicit FieldOriented(const FieldOrientedConfig& c) noexcept
      : SineController(c.scaling, c.pwm_frequency_Hz, c.dead_time_s, c.current_limit_A,
                       c.dead_time_compensation),
        config_(c),
        winding_{c.winding_resistance_ohm, c.inductance_d_H, c.inductance_q_H, c.flux_linkage_Wb},
        angle_(c.pole_pairs, c.encoder_lines, c.encoder_index_rad),
        current_(winding_, c.current_loop_Hz, pwm().period_s()),
        ramp_A_(c.torque_ramp_A_per_s * pwm().period_s()),
        weaken_step_V_s_(0.1 * 2.0 * pi * c.current_loop_Hz * pwm().period_s()) {}

 private:
  void awake() noexcept override {
    std::array<bool, line_count> levels{};
    for (std::uint16_t id = 0; id < line_count; ++id) levels[id] = line_high(LineId{id});
    angle_.reset(levels, config_.has_hall, now());
  }

  void begin() noexcept override {
    if (!has_current_sense()) return stop("field-oriented control needs its current sense");
    current_.reset();
    torque_A_ = weakening_A_ = 0.0;
    modulate_nothing();
    aligned_s_ = 0.0;
    bus_at_start_V_ = bus_V();
    if (bus_at_start_V_ < least_bus_V) return stop("bus reads %.1f V", bus_at_start_V_);
    all_legs(LegMode::complementary);
  }

  // The encoder is looked at once a period; the Halls may stop everything.
  std::uint32_t hears_later() const noexcept override {
    return 1U << index(line::encoder_A) | 1U << index(line::encoder_B) |
           1U << index(line::encoder_Z);
  }

  void sensor_edge(const Edge& edge) noexcept override {
    angle_.edge(edge);
    if (position_lost()) request_reaction();
  }

  void react() noexcept override {
    if (angle_.hall_invalid())
      stop("Hall lines read %d%d%d, which no rotor position gives", angle_.hall_code() & 1,
           angle_.hall_code() >> 1 & 1, angle_.hall_code() >> 2 & 1);
    if (angle_.disagrees()) stop("Halls and encoder disagree by more than 45 electrical degrees");
  }

  bool position_lost() const noexcept { return angle_.hall_invalid() || angle_.disagrees(); }

  bool near_standstill() const noexcept override {
    return std::abs(angle_.omega_e_rad_s()) < standstill_rad_s;
  }

  void control() noexcept override {
    if (position_lost()) return react();
    hear();
    angle_.update(now());
    const bool aligning = angle_.known() == RotorAngle::Known::nothing;
    const double theta = aligning ? 0.0 : angle_.theta_e_rad(now());
    const double omega = angle_.omega_e_rad_s();
    const Vector stator_A = sampled_currents();
    const double limit_A = trip_over * config_.current_limit_A;
    if (stator_A.x * stator_A.x + stator_A.y * stator_A.y > limit_A * limit_A)
      return stop("phase current is over %.1f A", limit_A);
    const double bus = bus_V();
    if (bus < bus_collapse * bus_at_start_V_) return stop("bus fell to %.1f V", bus);
    const double usable_V = usable_voltage / sqrt3 * bus;

    const Vector wanted_A = aligning ? align() : requested(omega, bus, usable_V);
    const Direction rotor{std::cos(theta), std::sin(theta)};
    const Vector voltage =
        current_.step(wanted_A, to_rotor(stator_A, rotor), aligning ? 0.0 : omega, usable_V);
    const Direction acts =
        aligning ? rotor : ahead(rotor, delay_periods * pwm().period_s() * omega);
    modulate(to_stator(voltage, acts), to_phases(to_stator(wanted_A, acts)), bus);
  }

  /// No Halls: a fixed current vector pulls the rotor's axis to phase U.
  Vector align() noexcept {
    aligned_s_ += pwm().period_s();
    const double share = std::min(1.0, 2.0 * aligned_s_ / align_s);
    if (aligned_s_ >= align_s) {
      angle_.is_at(0.0, now());
      current_.reset();
    }
    return {share * align_share * config_.current_limit_A, 0.0};
  }

  /// What the limited speed leaves to the drive: everything up to nine tenths of it, nothing above.
  double drive_limit_A(double omega) const noexcept {
    const double limit = config_.limited_speed_rad_s * config_.pole_pairs;
    if (limit <= 0.0 || !line_high(line::speed_limit)) return config_.current_limit_A;
    return config_.current_limit_A *
           std::clamp((limit - std::abs(omega)) / (limit_fade * limit), 0.0, 1.0);
  }

  Vector requested(double omega, double bus, double usable_V) noexcept {
    const double share = bus / bus_at_start_V_;
    double goal_A = direction() * throttle() * config_.current_limit_A *
                    std::clamp((share - bus_sag_end) / (bus_sag_start - bus_sag_end), 0.0, 1.0);
    if (brake()) {
      goal_A = -config_.regen_limit_A * std::clamp(omega / brake_fade_rad_s, -1.0, 1.0) *
               std::clamp((bus_rise_end - share) / (bus_rise_end - bus_rise_start), 0.0, 1.0);
      if (torque_A_ * omega > 0.0) torque_A_ = 0.0;  // no drive from the first period on
    }
    torque_A_ = std::clamp(goal_A, torque_A_ - ramp_A_, torque_A_ + ramp_A_);
    if (torque_A_ * omega > 0.0) {  // the ramp would carry it beyond
      const double most_A = drive_limit_A(omega);
      torque_A_ = std::clamp(torque_A_, -most_A, most_A);
    }
    Vector wanted = most_torque_per_ampere(torque_A_, winding_);

    // Too little voltage for the speed: current against the magnet, until the demand fits again.
    const double speed = std::max(std::abs(omega), 100.0);
    const double missing_V = current_.demand_V() - weaken_from * usable_V;
    weakening_A_ =
        std::clamp(weakening_A_ - weaken_step_V_s_ * missing_V / (speed * winding_.inductance_d_H),
                   -0.9 * config_.current_limit_A, 0.0);
    if (weakening_A_ < 0.0) {
      wanted.x = std::max(wanted.x + weakening_A_, -0.9 * config_.current_limit_A);
      const double left =
          std::sqrt(config_.current_limit_A * config_.current_limit_A - wanted.x * wanted.x);
      wanted.y = std::clamp(wanted.y, -left, left);
    }
    return wanted;
  }

  FieldOrientedConfig config_;
  WindingBelief winding_;
  RotorAngle angle_;
  CurrentControl current_;
  double ramp_A_, weaken_step_V_s_;
  double torque_A_ = 0.0;     // ramped request, signed
  double weakening_A_ = 0.0;  // <= 0, added to i_d
  double aligned_s_ = 0.0;
  double bus_at_start_V_ = 0.0;
};

}  // namespace
}  // namespace standin

std::unique_ptr<SimulatedController> make_field_oriented(const FieldOrientedConfig& config) {
  standin::check(config);
  return std::make_unique<standin::FieldOriented>(config);
}

}  // namespace stillrotor::io
