#include "io/capture/motion_decode.hpp"

#include <algorithm>
#include <cmath>

namespace stillrotor::io {
namespace {

constexpr double pi = 3.14159265358979324;
double wrapped(double angle) { return std::remainder(angle, 2.0 * pi); }
double in_turn(double angle) { return angle - 2.0 * pi * std::floor(angle / (2.0 * pi)); }

}  // namespace

HallDecoder::HallDecoder(const CapturedMachine& machine)
    : half_hysteresis_rad_(machine.hall_hysteresis_rad / 2.0) {
  std::array<double, 3> rise;
  for (int k = 0; k < 3; ++k)
    rise[k] = -pi / 2.0 + k * machine.hall_spacing_rad + machine.hall_placement_error_rad[k];
  std::array<double, 6> boundary;
  for (int k = 0; k < 3; ++k) {
    boundary[2 * k] = in_turn(rise[k]);
    boundary[2 * k + 1] = in_turn(rise[k] + pi);
  }
  std::sort(boundary.begin(), boundary.end());
  for (std::size_t s = 0; s < 6; ++s) {
    Sector& sector = sectors_[s];
    sector.span = {boundary[s], s < 5 ? boundary[s + 1] : boundary[0] + 2.0 * pi};
    for (int k = 0; k < 3; ++k)
      if (in_turn(sector.span.middle_rad() - rise[k]) < pi) sector.code |= 1U << k;
  }
}

int HallDecoder::find(unsigned code) const noexcept {
  for (int s = 0; s < 6; ++s)
    if (sectors_[s].code == code) return s;
  return -1;
}

std::optional<Interval> HallDecoder::sector() const noexcept {
  if (sector_ < 0) return std::nullopt;
  return sectors_[sector_].span;
}

double HallDecoder::widest_sector_rad() const noexcept {
  double widest = 0.0;
  for (const auto& sector : sectors_) widest = std::max(widest, sector.span.width_rad());
  return widest;
}

std::optional<double> HallDecoder::see(const Edge& edge, bool starting) noexcept {
  const unsigned bit = 1U << (index(edge.line) - index(line::hall_U));
  code_ = edge.level == Level::low ? code_ & ~bit : code_ | bit;  // released: the pull-up
  const int before = sector_;
  sector_ = find(code_);
  if (starting) return std::nullopt;

  const bool forward = before >= 0 && sector_ == (before + 1) % 6;
  const bool backward = before >= 0 && sector_ == (before + 5) % 6;
  if (!forward && !backward) {
    if (before >= 0) ++impossible_;  // the way out of it is not counted a second time
    broken_ = true;
    return std::nullopt;
  }
  ++crossings_;
  const double boundary = forward ? sectors_[sector_].span.begin_rad + half_hysteresis_rad_
                                  : sectors_[before].span.begin_rad - half_hysteresis_rad_;
  double expected = anchored_ ? angle_rad_ : boundary;
  const double apart_s = static_cast<double>((edge.at - at_).count()) * 1e-12;
  if (anchored_ && broken_) expected += speed_rad_s_ * apart_s;
  const double angle = expected + wrapped(boundary - expected);
  if (anchored_ && apart_s > 0.0) speed_rad_s_ = (angle - angle_rad_) / apart_s;
  anchored_ = true;
  broken_ = false;
  at_ = edge.at;
  angle_rad_ = angle;
  return angle;
}

EncoderDecoder::EncoderDecoder(const CapturedMachine& machine)
    : step_rad_(machine.encoder_lines > 0
                    ? 2.0 * pi * machine.pole_pairs / (4.0 * machine.encoder_lines)
                    : 0.0),
      index_rad_(machine.encoder_index_rad * machine.pole_pairs) {}

EncoderDecoder::Step EncoderDecoder::see(const Edge& edge, bool starting) noexcept {
  Step step;
  const bool high = edge.level != Level::low;
  if (edge.line == line::encoder_Z) {
    // Z covers the one count that starts at the index: its edge lies at that count's near end.
    if (!starting && high) step.index_rad = index_rad_ + (direction_ < 0 ? step_rad_ : 0.0);
    return step;
  }
  const bool is_a = edge.line == line::encoder_A;
  // Forward is A, B: 00 10 11 01. An edge of A leads when it ends unlike B, one of B when it ends
  // like A.
  const bool forward = is_a ? high != b_ : high == a_;
  (is_a ? a_ : b_) = high;
  if (starting) return step;
  if (edge.at == last_) ++impossible_;  // both at one tick: which came first is not known
  last_ = edge.at;
  direction_ = forward ? 1 : -1;
  count_ += direction_;
  ++counts_;
  step.counted = true;
  return step;
}

}  // namespace stillrotor::io
