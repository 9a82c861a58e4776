// Centre-aligned pulse-width modulation of three legs, with dead time.
//
// Carrier  triangular; the high side's on-time is centred in the period, so a period begins and
//          ends in the middle of the low side's on-time. Every edge is an integer of picoseconds;
//          nothing drifts.
// Dead time a switch turns off at once and on one dead time after it is asked to, whatever its
//          partner did. Two partners can therefore never overlap, and a pulse shorter than the dead
//          time is not generated at all.
// Mean     leg mean over bus = duty - sign(i) * dead_time / period, current flowing out positive.
// RT       everything but the constructor is safe: no allocation, lock, throw or libm call.
#pragma once

#include <array>
#include <cstdint>
#include <span>

#include "io/connector.hpp"

namespace stillrotor::io {

enum class LegMode : std::uint8_t {
  off,           // both switches off
  low,           // low switch on
  chopped_high,  // high switch follows the carrier, low switch off: freewheels through its diode
  complementary  // high switch follows the carrier, low switch its opposite
};

class Modulator {
 public:
  Modulator(double frequency_Hz, double dead_time_s) noexcept;

  Time period() const noexcept { return period_; }
  double period_s() const noexcept { return period_s_; }
  Time period_end() const noexcept { return begin_ + period_; }

  /// All gates are off at that time and every leg's mode is off.
  void reset(Time) noexcept;
  /// Share of the period in which the leg is asked high, 0 to 1 (clamped). From the next period on.
  void set_duty(int leg, double duty) noexcept;
  /// At once; call plan() afterwards.
  void set_mode(int leg, LegMode, Time now) noexcept;
  LegMode mode(int leg) const noexcept { return legs_[leg].mode; }

  /// The carrier starts a period: duties set since take effect. Call plan() afterwards.
  void begin_period(Time) noexcept;
  /// Lays out the edges from now to the end of the period, from what the gates really are.
  void plan(Time now) noexcept;

  /// The next edge of the plan, or nullptr; taken() says that it was driven.
  const Edge* next() const noexcept { return next_ < count_ ? &plan_[next_] : nullptr; }
  /// That one and all behind it up to then.
  std::span<const Edge> until(Time) const noexcept;
  void taken(std::size_t count = 1) noexcept;
  bool all_off() const noexcept { return gates_ == 0; }

 private:
  struct Leg {
    LegMode mode = LegMode::off;
    Time mode_since{};
    Time next_on{};       // on-time asked for the next period; even
    bool level = false;   // carrier comparator at the begin of the period
    Time level_since{};   // when it last changed
    bool pulse = false;   // it rises and falls within this period
    Time rise{}, fall{};  // valid with pulse
  };
  std::array<int, 3> widest_first() const noexcept;
  bool whole_period(Time now) const noexcept;
  void plan_whole_period(const std::array<int, 3>& order) noexcept;

  Time period_, dead_time_;
  double period_s_;
  Time begin_{};
  std::array<Leg, 3> legs_{};
  std::uint8_t gates_ = 0;    // as driven; bit = index of the gate line
  std::uint8_t planned_ = 0;  // as they will be when the plan is driven
  std::array<Edge, 24> plan_{};
  unsigned count_ = 0, next_ = 0;
};

}  // namespace stillrotor::io
