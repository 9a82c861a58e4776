#include "io/link/clock.hpp"

#include <algorithm>
#include <cmath>

namespace stillrotor::io {

LinkClock::LinkClock(double tick_Hz) { restart(tick_Hz); }

void LinkClock::restart(double tick_Hz) noexcept {
  ns_per_tick_ = 1e9 / tick_Hz;
  count_ = next_ = 0;
  anchor_ = anchor_ns_ = least_ns_ = 0.0;
  slope_ = 1.0;
  steps_ = 0;
  runs_ = false;
}

std::int64_t LinkClock::unwrapped(std::uint32_t tick, double near_ns) const noexcept {
  const double by_counter = anchor_ + (near_ns - anchor_ns_) / slope_;
  const std::int64_t expected = base_tick_ + std::llround(by_counter / ns_per_tick_);
  return expected + static_cast<std::int32_t>(tick - static_cast<std::uint32_t>(expected));
}

std::int64_t LinkClock::ns(std::uint32_t tick, std::int64_t now_ns) const noexcept {
  const std::int64_t ticks = unwrapped(tick, static_cast<double>(now_ns - base_ns_)) - base_tick_;
  const double by_counter = static_cast<double>(ticks) * ns_per_tick_;
  return base_ns_ + std::llround(anchor_ns_ + (by_counter - anchor_) * slope_);
}

std::uint32_t LinkClock::tick(std::int64_t at_ns) const noexcept {
  const double x = static_cast<double>(at_ns - base_ns_);
  const double by_counter = anchor_ + (x - anchor_ns_) / slope_;
  return static_cast<std::uint32_t>(base_tick_ + std::llround(by_counter / ns_per_tick_));
}

void LinkClock::add(const RoundTrip& trip) noexcept {
  if (count_ == 0) {
    base_ns_ = trip.sent_ns;
    base_tick_ = trip.heard;
  }
  const auto sent = static_cast<double>(trip.sent_ns - base_ns_);
  const auto back = static_cast<double>(trip.back_ns - base_ns_);
  const std::size_t before = (next_ + window - 1) % window;
  if (count_ > 0 && (sent <= there_[before].x || back <= back_[before].x)) return;
  const std::int64_t heard = unwrapped(trip.heard, 0.5 * (sent + back));
  const auto on_chip = static_cast<std::int32_t>(trip.answered - trip.heard);
  const double heard_ns = static_cast<double>(heard - base_tick_) * ns_per_tick_;
  const double answered_ns = heard_ns + on_chip * ns_per_tick_;
  there_[next_] = {sent, heard_ns - sent};
  back_[next_] = {back, answered_ns - back};
  delay_[next_] = back - sent - on_chip * ns_per_tick_;
  next_ = (next_ + 1) % window;
  count_ = std::min(count_ + 1, window);
  if (count_ >= fewest && next_ % between == 0) estimate();
}

/// The line below all points (sign 1: there) or above them (sign -1: back) that touches them at the
/// edge of the hull over `middle`.
LinkClock::Line LinkClock::below(double sign, double middle) noexcept {
  const auto& points = sign > 0.0 ? there_ : back_;
  const std::size_t first = count_ < window ? 0 : next_;
  std::size_t n = 0;
  for (std::size_t k = 0; k < count_; ++k) {
    const Point& raw = points[(first + k) % window];
    const Point p{raw.x, sign * raw.y};
    while (n >= 2 && (hull_[n - 1].y - hull_[n - 2].y) * (p.x - hull_[n - 2].x) >=
                         (p.y - hull_[n - 2].y) * (hull_[n - 1].x - hull_[n - 2].x))
      --n;
    hull_[n++] = p;
  }
  std::size_t k = 1;
  while (k + 1 < n && hull_[k].x < middle) ++k;
  const Point &a = hull_[k - 1], &b = hull_[k];
  const double slope = (b.y - a.y) / (b.x - a.x);
  return {sign * (a.y + slope * (middle - a.x)), sign * slope};
}

void LinkClock::estimate() noexcept {
  least_ns_ =
      *std::min_element(delay_.begin(), delay_.begin() + static_cast<std::ptrdiff_t>(count_));
  const std::size_t newest = (next_ + window - 1) % window;
  const double x = back_[newest].x;
  const double middle = 0.5 * (there_[count_ < window ? 0 : next_].x + x);
  const Line there = below(1.0, middle), back = below(-1.0, middle);
  const Line found{0.5 * (there.at + back.at),
                   std::clamp(0.5 * (there.slope + back.slope), -most_drift, most_drift)};
  const double by_counter = x + found.at + found.slope * (x - middle);
  const double rate = 1.0 / (1.0 + found.slope);
  const double shown = anchor_ns_ + (by_counter - anchor_) * slope_;
  const double error = x - shown;
  const bool jump = !runs_ || std::fabs(error) > jump_ns;
  if (runs_ && jump) ++steps_;
  runs_ = true;
  anchor_ = by_counter;
  anchor_ns_ = jump ? x : shown;
  slope_ = rate + (jump ? 0.0 : std::clamp(error / approach_ns, -slew_limit, slew_limit));
}

}  // namespace stillrotor::io
