#include "tests/reference/benches/model/angle_answers.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "plant/sensors/noise.hpp"
#include "tests/reference/support/drive_setup.hpp"

namespace stillrotor::reference {
namespace {

using plant::AngleOutput;

std::vector<bool> bits_of(std::uint32_t word, int count) {
  std::vector<bool> out;
  for (int k = count - 1; k >= 0; --k) out.push_back((word >> k & 1U) != 0);
  return out;
}

bool odd(const std::vector<bool>& bits) {
  return std::count(bits.begin(), bits.end(), true) % 2 != 0;
}

/// CRC-8 SAE J1850 of whole bytes by its definition: the first eight bits inverted, eight zeros
/// behind, the rest of the division by x^8 + x^4 + x^3 + x^2 + 1, inverted.
std::vector<bool> rest_of(std::vector<bool> message) {
  for (std::size_t k = 0; k < 8; ++k) message[k] = !message[k];
  message.resize(message.size() + 8, false);
  const bool divisor[9] = {true, false, false, false, true, true, true, false, true};
  for (std::size_t at = 0; at + 8 < message.size(); ++at)
    if (message[at])
      for (std::size_t k = 0; k < 9; ++k) message[at + k] = message[at + k] != divisor[k];
  std::vector<bool> rest(message.end() - 8, message.end());
  for (std::size_t k = 0; k < 8; ++k) rest[k] = !rest[k];
  return rest;
}

}  // namespace

AngleAnswers::AngleAnswers(const plant::DriveParameters& d, const Shaft& shaft, double decided_rad,
                           Shown& shown)
    : p_(d.absolute_angle),
      seed_(d.seed),
      decided_rad_(decided_rad),
      delay_ps_(ps(p_.data_delay_s)),
      monoflop_ps_(ps(p_.monoflop_s)),
      period_ps_(ps(1.0 / p_.pwm_frequency_Hz)) {
  if (p_.output == AngleOutput::none) return;
  level_ = p_.output != AngleOutput::spi;
  if (p_.output == AngleOutput::spi) next_bits_ = frame(shaft, 0, shown);
  if (p_.output == AngleOutput::pwm) {
    takes_ps_ = 0;
    take(shaft, shown);
  }
}

std::uint32_t AngleAnswers::code(const Shaft& s, std::int64_t now_ps, Shown& shown) const {
  if (stuck_) return stuck_code_;
  const double theta = s.theta_m - s.omega_m * p_.latency_s;
  double seen =
      theta - p_.zero_rad + p_.eccentricity_rad * std::sin(theta - p_.eccentricity_phase_rad);
  if (p_.noise_rad > 0.0)
    seen += p_.noise_rad * plant::noise_at(seed_, plant::NoiseOf::absolute_angle, now_ps);
  if (p_.reversed) seen = -seen;
  const double steps = std::pow(2.0, p_.bits), share = seen / (2.0 * std::numbers::pi);
  const double exact = steps * (share - std::floor(share));
  if (std::abs(exact - std::nearbyint(exact)) < decided_rad_ / (2.0 * std::numbers::pi) * steps)
    ++shown.undecided;
  return static_cast<std::uint32_t>(std::min(std::floor(exact), steps - 1.0));
}

AngleAnswers::Bits AngleAnswers::frame(const Shaft& s, std::int64_t now_ps, Shown& shown) const {
  const std::uint32_t taken = code(s, now_ps, shown);
  Bits out;
  if (p_.output == AngleOutput::ssi) {
    out = bits_of(taken, p_.bits);
    if (p_.ssi.gray)  // each bit against the one before it
      for (std::size_t k = out.size() - 1; k > 0; --k) out[k] = out[k] != out[k - 1];
    if (p_.ssi.error_bit) out.push_back(error);
    if (p_.ssi.parity_bit) out.push_back(odd(out));
    return out;
  }
  out = bits_of(taken, p_.bits);
  out.resize(14, false);
  out.insert(out.begin(), error);
  if (p_.spi_check == plant::SpiCheck::parity) {
    out.insert(out.begin(), odd(out));
    return out;
  }
  out.insert(out.begin(), false);
  const Bits rest = rest_of(out);
  out.insert(out.end(), rest.begin(), rest.end());
  return out;
}

void AngleAnswers::move(bool level, std::int64_t at_ps, Shown& shown) {
  if (level == level_) return;
  level_ = level;
  shown.edges.push_back({.at_ps = at_ps, .line = plant::SensorLine::absolute_angle, .high = level});
}

void AngleAnswers::take(const Shaft& shaft, Shown& shown) {
  const std::int64_t now = takes_ps_;
  move(true, now, shown);
  const double clocks = p_.start_clocks + std::pow(2.0, p_.bits) + p_.stop_clocks;
  const double share = (p_.start_clocks + code(shaft, now, shown)) / clocks;
  falls_ps_ = now + static_cast<std::int64_t>(share * static_cast<double>(period_ps_));
  takes_ps_ = now + period_ps_;
}

void AngleAnswers::pass(std::int64_t until_ps, Shown& shown) {
  if (falls_ps_ <= until_ps) {
    move(false, falls_ps_, shown);
    falls_ps_ = never;
  }
  if (comes_ps_ <= until_ps) {
    move(coming_, comes_ps_, shown);
    comes_ps_ = never;
  }
  if (idle_ps_ <= until_ps) {
    move(true, idle_ps_, shown);
    framed_ = false;
    idle_ps_ = never;
  }
}

void AngleAnswers::send_later(bool level, std::int64_t now_ps) {
  coming_ = level;
  comes_ps_ = now_ps + delay_ps_;
}

void AngleAnswers::clock(bool high, const Shaft& shaft, std::int64_t now_ps, Shown& shown) {
  if (high == clock_) return;
  clock_ = high;
  if (p_.output == AngleOutput::ssi) {
    if (!framed_ && high) return;
    if (!framed_) {
      framed_ = true;
      rises_ = 0;
      bits_ = frame(shaft, now_ps, shown);
      if (all_bits_wrong) bits_.flip();
    }
    idle_ps_ = now_ps + monoflop_ps_;
  }
  if (!high || (p_.output == AngleOutput::spi && !selected_)) return;
  const std::size_t count = bits_.size(), at = static_cast<std::size_t>(rises_++);
  const std::size_t in_frame = p_.output == AngleOutput::ssi ? at % (count + 1) : at;
  send_later(in_frame < count && bits_[in_frame], now_ps);
}

void AngleAnswers::select(bool selected, const Shaft& shaft, std::int64_t now_ps, Shown& shown) {
  if (selected == selected_) return;
  selected_ = selected;
  if (!selected) return send_later(false, now_ps);
  rises_ = 0;
  const Bits taken = frame(shaft, now_ps, shown);
  bits_ = p_.answers_previous ? next_bits_ : taken;
  if (all_bits_wrong) bits_.flip();
  next_bits_ = taken;
}

void AngleAnswers::stick(bool on, const Shaft& shaft, std::int64_t now_ps, Shown& shown) {
  stuck_ = false;
  stuck_code_ = code(shaft, now_ps, shown);
  stuck_ = on;
}

}  // namespace stillrotor::reference
