#include "plant/sensors/absolute_angle.hpp"

#include <cmath>

#include "plant/frames.hpp"
#include "plant/sensors/noise.hpp"

namespace stillrotor::plant {
namespace {
constexpr double ps_per_second = 1e12;
}

AbsoluteAngle::AbsoluteAngle(const AbsoluteAngleParameters& par, std::uint64_t seed)
    : par_(par),
      seed_(seed),
      period_ps_(std::llround(ps_per_second / par.pwm_frequency_Hz)),
      delay_ps_(std::llround(par.data_delay_s * ps_per_second)),
      monoflop_ps_(std::llround(par.monoflop_s * ps_per_second)) {}

std::uint32_t AbsoluteAngle::code(const Shaft& shaft, std::int64_t now_ps) const noexcept {
  const double theta = shaft.theta_m_rad - shaft.omega_m_rad_s * par_.latency_s;
  double seen =
      theta - par_.zero_rad + par_.eccentricity_rad * std::sin(theta - par_.eccentricity_phase_rad);
  if (par_.noise_rad > 0.0)
    seen += par_.noise_rad * noise_at(seed_, NoiseOf::absolute_angle, now_ps);
  const double share = (par_.reversed ? -seen : seen) / two_pi;
  const double steps = std::floor(std::ldexp(share - std::floor(share), par_.bits));
  return static_cast<std::uint32_t>(steps) & ((1U << par_.bits) - 1U);
}

std::uint32_t AbsoluteAngle::sent_code(const AbsoluteAngleState& s, const Shaft& shaft,
                                       std::int64_t now_ps) const noexcept {
  return s.stuck ? s.stuck_code : code(shaft, now_ps);
}

/// Each bit by itself, on its way to the controller.
AngleFrame AbsoluteAngle::damaged(const AbsoluteAngleState& s, AngleFrame frame,
                                  std::int64_t now_ps) const noexcept {
  if (s.bit_error_share <= 0.0) return frame;
  std::uint64_t random = noise_bits(seed_, NoiseOf::angle_bits, now_ps);
  for (int bit = 0; bit < frame.bits; ++bit, random = mixed(random))
    if (unit_share(random) <= s.bit_error_share) frame.word ^= 1U << bit;
  return frame;
}

std::int64_t AbsoluteAngle::pulse_ps(std::uint32_t code) const noexcept {
  const std::int64_t clocks = par_.start_clocks + (std::int64_t{1} << par_.bits) + par_.stop_clocks;
  return period_ps_ * (par_.start_clocks + static_cast<std::int64_t>(code)) / clocks;
}

void AbsoluteAngle::start(AbsoluteAngleState& s, const Shaft& shaft,
                          std::int64_t now_ps) const noexcept {
  s = {};
  s.idle_ps = now_ps;
  if (par_.output == AngleOutput::pwm) {
    s.high = true;
    s.period_ps = now_ps;
    s.next_ps = now_ps + pulse_ps(sent_code(s, shaft, now_ps));
  } else if (par_.output == AngleOutput::ssi) {
    s.high = true;
  } else if (par_.output == AngleOutput::spi) {
    s.following = spi_answer(s, shaft, now_ps);
  }
}

void AbsoluteAngle::pass(AbsoluteAngleState& s, const Shaft& shaft) const noexcept {
  const std::int64_t now_ps = s.next_ps;
  s.high = s.next_high;
  s.next_ps = AbsoluteAngleState::never_ps;
  if (par_.output == AngleOutput::pwm) {
    if (s.high) s.period_ps = now_ps;
    s.next_ps = s.period_ps + (s.high ? pulse_ps(sent_code(s, shaft, now_ps)) : period_ps_);
    s.next_high = !s.high;
  } else if (par_.output == AngleOutput::ssi && !s.high) {
    s.next_ps = s.idle_ps;
    s.next_high = true;
  }
}

// Time moves the line to this level at that moment, and in the end back to idle.
void AbsoluteAngle::show(AbsoluteAngleState& s, bool level, std::int64_t at_ps) const noexcept {
  s.next_ps = AbsoluteAngleState::never_ps;
  if (level != s.high) {
    s.next_ps = at_ps;
    s.next_high = level;
  } else if (par_.output == AngleOutput::ssi && !level) {
    s.next_ps = s.idle_ps;
    s.next_high = true;
  }
}

void AbsoluteAngle::set_clock(AbsoluteAngleState& s, bool high, const Shaft& shaft,
                              std::int64_t now_ps) const noexcept {
  if (high == s.clock) return;
  s.clock = high;
  if (par_.output == AngleOutput::spi) {
    if (!s.selected || !high) return;
    show(s, s.frame.bit(s.sent), now_ps + delay_ps_);
    if (s.sent < s.frame.bits) ++s.sent;
    return;
  }
  if (par_.output != AngleOutput::ssi) return;
  if (s.sent >= 0 && now_ps >= s.idle_ps) s.sent = -1;
  if (s.sent < 0) {
    if (high) return;
    s.frame =
        damaged(s, ssi_frame(sent_code(s, shaft, now_ps), par_.bits, s.error, par_.ssi), now_ps);
    s.sent = 0;
  }
  const bool waits_for_idle = s.next_ps == s.idle_ps;
  s.idle_ps = now_ps + monoflop_ps_;
  if (high) {
    const bool level = s.frame.bit(s.sent);  // one past the last: the low bit between two frames
    s.sent = s.sent < s.frame.bits ? s.sent + 1 : 0;
    show(s, level, now_ps + delay_ps_);
  } else if (waits_for_idle) {
    s.next_ps = s.idle_ps;
  }
}

AngleFrame AbsoluteAngle::spi_answer(const AbsoluteAngleState& s, const Shaft& shaft,
                                     std::int64_t now_ps) const noexcept {
  return spi_frame(sent_code(s, shaft, now_ps), par_.bits, s.error, par_.spi_check);
}

void AbsoluteAngle::set_selected(AbsoluteAngleState& s, bool selected, const Shaft& shaft,
                                 std::int64_t now_ps) const noexcept {
  if (par_.output != AngleOutput::spi || selected == s.selected) return;
  s.selected = selected;
  if (selected) {
    const AngleFrame taken = spi_answer(s, shaft, now_ps);
    s.frame = damaged(s, par_.answers_previous ? s.following : taken, now_ps);
    s.following = taken;
    s.sent = 0;
  } else {
    s.sent = -1;
    show(s, false, now_ps + delay_ps_);
  }
}

}  // namespace stillrotor::plant
