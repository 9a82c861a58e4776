#include "io/standin/rotor_angle.hpp"

namespace stillrotor::io::standin {
namespace {

constexpr double two_pi = 6.28318530717958647693;

/// Into 0 to 2 pi from within a few turns.
constexpr double wrapped(double angle) noexcept {
  while (angle >= two_pi) angle -= two_pi;
  while (angle < 0.0) angle += two_pi;
  return angle;
}

}  // namespace

RotorAngle::RotorAngle(int pole_pairs, int encoder_lines, double index_rad) noexcept
    : pole_pairs_(pole_pairs),
      counts_a_turn_(4 * static_cast<std::int64_t>(encoder_lines)),
      rad_per_count_(two_pi / static_cast<double>(counts_a_turn_)),
      speed_to_omega_(rad_per_count_ * pole_pairs),
      index_theta_e_rad_(wrapped(pole_pairs * index_rad)) {}

void RotorAngle::reset(const std::array<bool, line_count>& levels, bool has_hall,
                       Time now) noexcept {
  encoder_.reset(levels[index(line::encoder_A)], levels[index(line::encoder_B)], now);
  has_hall_ = has_hall;
  disagrees_ = false;
  known_ = Known::nothing;
  hall_ = (levels[index(line::hall_U)] ? 1 : 0) + (levels[index(line::hall_V)] ? 2 : 0) +
          (levels[index(line::hall_W)] ? 4 : 0);
  sector_ = hall_sector(hall_ & 1, hall_ & 2, hall_ & 4, {});
  take_sector(now);
}

void RotorAngle::take_sector(Time now) noexcept {
  if (!has_hall_ || sector_ == no_sector) return;
  refer(sector_centre_rad(sector_), now);
  known_ = Known::sector;
}

void RotorAngle::edge(const Edge& e) noexcept {
  const bool high = e.level == Level::high;
  if (e.line == line::encoder_A) return encoder_.set_a(high, e.at);
  if (e.line == line::encoder_B) return encoder_.set_b(high, e.at);
  if (e.line == line::encoder_Z) return encoder_.set_z(high, e.at);
  if (e.line < line::hall_U || e.line > line::hall_W) return;
  const int bit = 1 << (index(e.line) - index(line::hall_U));
  hall_ = high ? hall_ | bit : hall_ & ~bit;
  const int before = sector_;
  sector_ = hall_sector(hall_ & 1, hall_ & 2, hall_ & 4, {});
  if (!has_hall_ || sector_ == no_sector) return;
  const bool passed_a_border = before != no_sector && neighbours(before, sector_);
  if (known_ > Known::sector) {
    if (passed_a_border) compare(sector_border_rad(before, sector_), e.at);
  } else if (!passed_a_border) {
    take_sector(e.at);
  } else {
    refer(sector_border_rad(before, sector_), e.at);
    known_ = Known::hall_edge;
  }
}

void RotorAngle::compare(double border_rad, Time at) noexcept {
  const double ahead = wrapped(theta_e_rad(at) - border_rad);
  disagrees_ = ahead > two_pi / 8.0 && ahead < two_pi * 7.0 / 8.0;
}

void RotorAngle::update(Time now) noexcept {
  encoder_.update(now);
  if (!encoder_.indexed()) return;
  reference_count_ = encoder_.index_count();
  reference_rad_ = index_theta_e_rad_;
  known_ = Known::index;
}

void RotorAngle::refer(double theta_e_rad, Time now) noexcept {
  reference_count_ = encoder_.count();
  reference_rad_ = wrapped(theta_e_rad - pole_pairs_ * rad_per_count_ * encoder_.fraction(now));
}

void RotorAngle::is_at(double theta_e_rad, Time now) noexcept {
  refer(theta_e_rad, now);
  known_ = Known::hall_edge;
}

double RotorAngle::theta_e_rad(Time now) const noexcept {
  const std::int64_t turned = (encoder_.count() - reference_count_) * pole_pairs_ % counts_a_turn_;
  return wrapped(reference_rad_ + rad_per_count_ * (static_cast<double>(turned) +
                                                    pole_pairs_ * encoder_.fraction(now)));
}

}  // namespace stillrotor::io::standin
