#include "io/modulator.hpp"

#include <algorithm>
#include <utility>

namespace stillrotor::io {
namespace {

constexpr std::int64_t even(double x) noexcept {
  return 2 * static_cast<std::int64_t>(0.5 * x + 0.5);
}

enum class Want : std::uint8_t { none, high, low };

/// By LegMode, then by the carrier comparator's level.
constexpr Want wants[][2] = {{Want::none, Want::none},
                             {Want::low, Want::low},
                             {Want::none, Want::high},
                             {Want::low, Want::high}};

constexpr bool follows_carrier(LegMode mode) noexcept {
  return mode == LegMode::chopped_high || mode == LegMode::complementary;
}

constexpr std::uint8_t bit(int gate) noexcept { return static_cast<std::uint8_t>(1u << gate); }
constexpr std::uint8_t all_low = bit(1) | bit(3) | bit(5);
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

std::array<int, 3> Modulator::widest_first() const noexcept {
  std::array<int, 3> order{0, 1, 2};
  const auto wider_first = [&](int& a, int& b) {
    if (legs_[b].rise < legs_[a].rise) std::swap(a, b);
  };
  wider_first(order[0], order[1]);
  wider_first(order[1], order[2]);
  wider_first(order[0], order[1]);
  return order;
}

/// A whole period in which every leg goes from low to high and back: the usual one under control.
bool Modulator::whole_period(Time now) const noexcept {
  constexpr std::uint8_t highs = bit(0) | bit(2) | bit(4);
  if (now != begin_ || (gates_ & highs) != 0) return false;
  bool whole = true;
  for (const Leg& leg : legs_)
    whole = whole && leg.mode == LegMode::complementary && leg.pulse && !leg.level;
  return whole;
}

/// What the general way below comes to. Low switches that the last period's end left off come on
/// first. Then all legs' low ones go off before the first high one does: two times two sorted rows,
/// each pair merged. Pulses shorter than the dead time are left out of them.
void Modulator::plan_whole_period(const std::array<int, 3>& order) noexcept {
  unsigned gates = gates_;
  Edge* next = plan_.data();
  Time latest = Time::min();
  const auto add = [&](Time at, unsigned gate, Level level) __attribute__((always_inline)) {
    Edge* place = next++;
    if (at >= latest) [[likely]]
      latest = at;
    else
      for (; place != plan_.data() && place[-1].at > at; --place) *place = place[-1];
    *place = {at, LineId{static_cast<std::uint16_t>(gate)}, level};
    gates ^= 1U << gate;
  };
  const unsigned lows = gates_ ^ all_low;  // that are off
  if (lows != 0)
    for (const int k : order) {
      const Leg& leg = legs_[k];
      const auto low = 2U * static_cast<unsigned>(k) + 1U;
      if ((lows >> low & 1U) == 0) continue;
      const Time on_at = std::max(std::max(leg.level_since, leg.mode_since) + dead_time_, begin_);
      if (on_at < leg.rise) add(on_at, low, Level::high);
    }
  // A leg's crossing from one side to the other; it comes on before `until`, or not at all.
  struct Crossing {
    Time off_at, until;
    unsigned leg;
  };
  const auto cross = [&](const std::array<Crossing, 3>& row, unsigned from, unsigned to)
      __attribute__((always_inline)) {
    const Crossing* on = row.data();  // the next leg that comes on; never before it went off
    const auto come_on = [&](const Crossing& one) __attribute__((always_inline)) {
      const Time at = one.off_at + dead_time_;
      if (at < one.until) add(at, 2 * one.leg + to, Level::high);
    };
    for (const Crossing& one : row) {
      for (; on != &one && on->off_at + dead_time_ <= one.off_at; ++on) come_on(*on);
      const unsigned gate = 2 * one.leg + from;
      if ((gates >> gate & 1U) != 0) add(one.off_at, gate, Level::low);
    }
    for (; on != row.data() + row.size(); ++on) come_on(*on);
  };
  const auto rising = [&](int k) {
    return Crossing{legs_[k].rise, legs_[k].fall, static_cast<unsigned>(k)};
  };
  const auto falling = [&](int k) {
    return Crossing{legs_[k].fall, period_end(), static_cast<unsigned>(k)};
  };
  cross({rising(order[0]), rising(order[1]), rising(order[2])}, 1, 0);
  cross({falling(order[2]), falling(order[1]), falling(order[0])}, 0, 1);
  count_ = static_cast<unsigned>(next - plan_.data());
  planned_ = static_cast<std::uint8_t>(gates);
}

/// Before the pulses, the pulses from the widest to the narrowest, after the pulses the other way
/// round: so the edges come nearly sorted, whatever the duties.
void Modulator::plan(Time now) noexcept {
  count_ = next_ = 0;
  planned_ = gates_;
  const std::array<int, 3> order = widest_first();
  if (whole_period(now)) return plan_whole_period(order);
  unsigned count = 0, gates = gates_;
  const auto add = [&](Time at, unsigned gate, Level level) {
    unsigned k = count++;
    for (; k > 0 && plan_[k - 1].at > at; --k) plan_[k] = plan_[k - 1];
    plan_[k] = {at, LineId{static_cast<std::uint16_t>(gate)}, level};
    gates ^= 1U << gate;
  };
  // A stretch in which the carrier comparator of a leg keeps its level.
  const auto lay_out = [&](int k, Time begin, Time end, bool level, Time level_since)
      __attribute__((always_inline)) {
    if (end <= now) return;
    const Leg& leg = legs_[k];
    const unsigned high = 2U * static_cast<unsigned>(k), low = high + 1;
    const auto is_on = [&](unsigned gate) { return (gates >> gate & 1U) != 0; };
    const Want want = wants[static_cast<std::size_t>(leg.mode)][level ? 1 : 0];
    begin = std::max(begin, now);
    if (want != Want::high && is_on(high)) add(begin, high, Level::low);
    if (want != Want::low && is_on(low)) add(begin, low, Level::low);
    if (want == Want::none) return;
    const unsigned gate = want == Want::high ? high : low;
    if (is_on(gate)) return;
    const Time asked =
        follows_carrier(leg.mode) ? std::max(level_since, leg.mode_since) : leg.mode_since;
    const Time on_at = std::max(asked + dead_time_, begin);
    // Not before the end: the pulse is shorter than the dead time, or belongs to what follows.
    if (on_at < end) add(on_at, gate, Level::high);
  };
  const Time end = period_end();
  for (const int k : order) {
    const Leg& leg = legs_[k];
    lay_out(k, begin_, leg.pulse ? leg.rise : end, leg.level, leg.level_since);
  }
  for (const int k : order) {
    const Leg& leg = legs_[k];
    if (leg.pulse) lay_out(k, leg.rise, leg.fall, true, leg.rise);
  }
  for (auto k = order.rbegin(); k != order.rend(); ++k) {
    const Leg& leg = legs_[*k];
    if (leg.pulse) lay_out(*k, leg.fall, end, false, leg.fall);
  }
  count_ = count;
  planned_ = static_cast<std::uint8_t>(gates);
}

std::span<const Edge> Modulator::until(Time end) const noexcept {
  if (next_ < count_ && plan_[count_ - 1].at <= end) return {&plan_[next_], count_ - next_};
  unsigned beyond = next_;
  while (beyond < count_ && plan_[beyond].at <= end) ++beyond;
  return {&plan_[next_], beyond - next_};
}

void Modulator::taken(std::size_t count) noexcept {
  if (next_ + count == count_) {
    gates_ = planned_;
    next_ = count_;
    return;
  }
  for (; count > 0; --count) {
    const Edge& edge = plan_[next_++];
    gates_ = with(gates_, static_cast<int>(index(edge.line)), edge.level == Level::high);
  }
}

}  // namespace stillrotor::io
