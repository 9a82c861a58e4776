#include "io/standin/pwm.hpp"

#include <algorithm>

namespace stillrotor::io::standin {
namespace {

constexpr std::int64_t even(double x) noexcept {
  return 2 * static_cast<std::int64_t>(0.5 * x + 0.5);
}

enum class Want : std::uint8_t { none, high, low };

constexpr Want want(LegMode mode, bool level) noexcept {
  switch (mode) {
    case LegMode::low:
      return Want::low;
    case LegMode::chopped_high:
      return level ? Want::high : Want::none;
    case LegMode::complementary:
      return level ? Want::high : Want::low;
    case LegMode::off:
      break;
  }
  return Want::none;
}

constexpr bool follows_carrier(LegMode mode) noexcept {
  return mode == LegMode::chopped_high || mode == LegMode::complementary;
}

constexpr std::uint8_t bit(int gate) noexcept { return static_cast<std::uint8_t>(1u << gate); }

}  // namespace

Modulator::Modulator(double frequency_Hz, double dead_time_s) noexcept
    : period_(even(1e12 / frequency_Hz)),
      dead_time_(static_cast<std::int64_t>(1e12 * dead_time_s + 0.5)),
      period_s_(1e-12 * static_cast<double>(period_.count())) {}

void Modulator::reset(Time now) noexcept {
  begin_ = now;
  for (Leg& leg : legs_) leg = Leg{.mode_since = now, .level_since = now};
  gates_ = 0;
  count_ = next_ = 0;
}

void Modulator::set_duty(int leg, double duty) noexcept {
  legs_[leg].next_on =
      Time{even(std::clamp(duty, 0.0, 1.0) * static_cast<double>(period_.count()))};
}

void Modulator::set_mode(int k, LegMode mode, Time now) noexcept {
  Leg& leg = legs_[k];
  if (leg.mode == mode) return;
  leg.mode = mode;
  leg.mode_since = now;
}

void Modulator::begin_period(Time begin) noexcept {
  begin_ = begin;
  for (Leg& leg : legs_) {
    if (leg.pulse) {
      leg.level = false;
      leg.level_since = leg.fall;
    }
    const Time on = leg.next_on;
    const bool level = on >= period_;
    if (level != leg.level) {
      leg.level = level;
      leg.level_since = begin;
    }
    leg.pulse = on > Time{0} && on < period_;
    leg.rise = begin + (period_ - on) / 2;
    leg.fall = begin + (period_ + on) / 2;
  }
}

void Modulator::plan(Time now) noexcept {
  count_ = next_ = 0;
  for (int leg = 0; leg < 3; ++leg) plan_leg(leg, now);
  for (unsigned k = 1; k < count_; ++k) {  // insertion sort: stable, and nearly sorted already
    const Edge edge = plan_[k];
    unsigned j = k;
    for (; j > 0 && plan_[j - 1].at > edge.at; --j) plan_[j] = plan_[j - 1];
    plan_[j] = edge;
  }
}

void Modulator::plan_leg(int k, Time now) noexcept {
  const Leg& leg = legs_[k];
  const int gate_high = 2 * k, gate_low = 2 * k + 1;
  bool high = gates_ & bit(gate_high), low = gates_ & bit(gate_low);
  const auto segment = [&](Time begin, Time end, bool level, Time since) {
    if (end <= now) return;
    begin = std::max(begin, now);
    const Want wanted = want(leg.mode, level);
    if (high && wanted != Want::high) add(begin, gate_high, high = false);
    if (low && wanted != Want::low) add(begin, gate_low, low = false);
    const Time asked = follows_carrier(leg.mode) ? std::max(since, leg.mode_since) : leg.mode_since;
    const Time on_at = std::max(asked + dead_time_, begin);
    if (on_at >= end)
      return;  // the pulse is shorter than the dead time, or belongs to what follows
    if (wanted == Want::high && !high) add(on_at, gate_high, high = true);
    if (wanted == Want::low && !low) add(on_at, gate_low, low = true);
  };
  const Time end = period_end();
  if (!leg.pulse) {
    segment(begin_, end, leg.level, leg.level_since);
  } else {
    segment(begin_, leg.rise, false, leg.level_since);
    segment(leg.rise, leg.fall, true, leg.rise);
    segment(leg.fall, end, false, leg.fall);
  }
}

void Modulator::add(Time at, int gate, bool on) noexcept {
  plan_[count_++] = {at, LineId{static_cast<std::uint16_t>(gate)}, on ? Level::high : Level::low};
}

void Modulator::taken() noexcept {
  const Edge& edge = plan_[next_++];
  const std::uint8_t mask = bit(static_cast<int>(index(edge.line)));
  gates_ = static_cast<std::uint8_t>(edge.level == Level::high ? gates_ | mask : gates_ & ~mask);
}

}  // namespace stillrotor::io::standin
