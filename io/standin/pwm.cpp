#include "io/standin/pwm.hpp"

#include <algorithm>
#include <utility>

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
constexpr std::uint8_t with(std::uint8_t gates, int gate, bool on) noexcept {
  return static_cast<std::uint8_t>(on ? gates | bit(gate) : gates & ~bit(gate));
}

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

/// Before the pulses, the pulses from the widest to the narrowest, after the pulses the other way
/// round: so the plan comes out nearly sorted, whatever the duties.
void Modulator::plan(Time now) noexcept {
  count_ = next_ = 0;
  planned_ = gates_;
  int order[3] = {0, 1, 2};
  const auto wider_first = [&](int& a, int& b) {
    if (legs_[b].rise < legs_[a].rise) std::swap(a, b);
  };
  wider_first(order[0], order[1]);
  wider_first(order[1], order[2]);
  wider_first(order[0], order[1]);

  const Time end = period_end();
  for (const int k : order) {
    const Leg& leg = legs_[k];
    plan_leg(k, now, {begin_, leg.pulse ? leg.rise : end, leg.level, leg.level_since});
  }
  for (const int k : order) {
    const Leg& leg = legs_[k];
    if (leg.pulse) plan_leg(k, now, {leg.rise, leg.fall, true, leg.rise});
  }
  std::swap(order[0], order[2]);
  for (const int k : order) {
    const Leg& leg = legs_[k];
    if (leg.pulse) plan_leg(k, now, {leg.fall, end, false, leg.fall});
  }

  for (unsigned k = 1; k < count_; ++k) {  // insertion sort: stable
    const Edge edge = plan_[k];
    unsigned j = k;
    for (; j > 0 && plan_[j - 1].at > edge.at; --j) plan_[j] = plan_[j - 1];
    plan_[j] = edge;
  }
}

void Modulator::plan_leg(int k, Time now, const Stretch& stretch) noexcept {
  if (stretch.end <= now) return;
  const Leg& leg = legs_[k];
  const int gate_high = 2 * k, gate_low = 2 * k + 1;
  const Time begin = std::max(stretch.begin, now);
  const Want wanted = want(leg.mode, stretch.level);
  if (wanted != Want::high && (planned_ & bit(gate_high))) add(begin, gate_high, false);
  if (wanted != Want::low && (planned_ & bit(gate_low))) add(begin, gate_low, false);
  if (wanted == Want::none) return;
  const int gate = wanted == Want::high ? gate_high : gate_low;
  if (planned_ & bit(gate)) return;
  const Time asked =
      follows_carrier(leg.mode) ? std::max(stretch.level_since, leg.mode_since) : leg.mode_since;
  const Time on_at = std::max(asked + dead_time_, begin);
  // Not before the end: the pulse is shorter than the dead time, or belongs to what follows.
  if (on_at < stretch.end) add(on_at, gate, true);
}

void Modulator::add(Time at, int gate, bool on) noexcept {
  plan_[count_++] = {at, LineId{static_cast<std::uint16_t>(gate)}, on ? Level::high : Level::low};
  planned_ = with(planned_, gate, on);
}

void Modulator::taken() noexcept {
  const Edge& edge = plan_[next_++];
  gates_ = with(gates_, static_cast<int>(index(edge.line)), edge.level == Level::high);
}

}  // namespace stillrotor::io::standin
