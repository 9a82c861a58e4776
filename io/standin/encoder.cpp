#include "io/standin/encoder.hpp"

#include <algorithm>
#include <cmath>

namespace stillrotor::io::standin {
namespace {

constexpr double filter_s = 2e-3;  // of the speed estimate: passes what a shaft can do

constexpr double seconds(Time t) noexcept { return 1e-12 * static_cast<double>(t.count()); }

/// Place in the forward order 00, 10, 11, 01.
constexpr int phase(bool a, bool b) noexcept { return a ? (b ? 2 : 1) : (b ? 3 : 0); }

}  // namespace

void Encoder::reset(bool a, bool b, Time now) noexcept {
  *this = Encoder{};
  a_ = a;
  b_ = b;
  edge_at_ = last_at_ = now;
  edge_position_ = 0.5;  // somewhere in the count
}

void Encoder::channel_edge(bool a, bool b, Time at) noexcept {
  const int step = (phase(a, b) - phase(a_, b_)) & 3;
  a_ = a;
  b_ = b;
  if (step == 0) return;
  settle_index(at);
  count_ += step == 3 ? -1 : 1;  // one channel changes at a time, so 2 does not occur
  edge_position_ = step == 3 ? 1.0 : 0.0;
  edge_at_ = at;
}

void Encoder::set_z(bool z, Time at) noexcept {
  if (!z) return;
  z_waits_ = true;
  z_at_ = at;
}

void Encoder::settle_index(Time before) noexcept {
  if (!z_waits_ || z_at_ >= before) return;
  z_waits_ = false;
  indexed_ = true;
  index_count_ = count_;
}

double Encoder::fraction(Time now) const noexcept {
  return std::clamp(edge_position_ + speed_ * seconds(now - edge_at_), 0.0, 1.0);
}

void Encoder::update(Time now) noexcept {
  settle_index(now);
  const std::int64_t boundary = count_ + (edge_position_ > 0.75 ? 1 : 0);
  if (edge_at_ != last_at_) {
    const double elapsed = seconds(edge_at_ - last_at_);
    const double measured = static_cast<double>(boundary - last_boundary_) / elapsed;
    if (moved_) speed_ += elapsed / (filter_s + elapsed) * (measured - speed_);
    moved_ = true;
    last_at_ = edge_at_;
    last_boundary_ = boundary;
  } else {
    const double silence = seconds(now - edge_at_);
    if (std::abs(speed_) * silence > 1.0) speed_ = std::copysign(1.0 / silence, speed_);
  }
}

}  // namespace stillrotor::io::standin
