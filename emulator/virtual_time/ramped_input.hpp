// A quantity that the scenario moves in time: it stands still, runs straight to a new value or
// along a table; a sine and a noise may come on top. Kept within what the quantity may be. Units
// the quantity's own; time in ps. Exact at every instant, so that a read needs no event; the plant,
// which knows straight lines only, is told a new one at each next_change_ps(). Error of those
// lines: a sine's amplitude * (2 pi / 64)^2 / 8 = 0.12 % of it. RT: no allocation, lock, log or
// throw.
#pragma once

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <limits>
#include <numbers>

#include "emulator/scenario/scenario.hpp"
#include "plant/drive.hpp"

namespace stillrotor {

inline constexpr std::int64_t never_ps = std::numeric_limits<std::int64_t>::max();

class RampedInput {
 public:
  explicit RampedInput(double value) noexcept : from_(value), to_(value) {}

  /// What the action says, from at_ps on. It outlives this.
  void act(std::int64_t at_ps, const Action& action) noexcept {
    if (!action.shape) return go(at_ps, action.value, action.over_ps);
    least_ = action.least;
    most_ = action.most;
    if (action.shape->kind == Shape::Kind::sine)
      sine_ = {action.shape.get(), at_ps};
    else if (action.shape->kind == Shape::Kind::noise)
      noise_ = {action.shape.get(), at_ps};
    else
      table_ = {action.shape.get(), at_ps};
  }

  /// Sets out at at_ps for `to`, and is there over_ps later (0: at once).
  void go(std::int64_t at_ps, double to, std::int64_t over_ps) noexcept {
    from_ = over_ps > 0 ? base(at_ps) : to;
    to_ = to;
    start_ps_ = at_ps;
    over_ps_ = over_ps;
    table_ = {};
  }

  double at(std::int64_t t_ps) const noexcept {
    if (plain()) return base(t_ps);
    double value = base(t_ps);
    if (sine_.on(t_ps)) {
      const double t_s = static_cast<double>(t_ps - sine_.start_ps) * 1e-12;
      value +=
          sine_.shape->size * std::sin(2.0 * std::numbers::pi * sine_.shape->frequency_Hz * t_s);
    }
    if (noise_.on(t_ps)) value += on_line(noise_, t_ps);
    return std::clamp(value, least_, most_);
  }

  /// What the plant has to be told at t_ps: the value then, and its slope from there on.
  plant::Ramp ramp_at(std::int64_t t_ps) const noexcept {
    if (plain()) {
      const bool moving = t_ps < start_ps_ + over_ps_;
      return {at(t_ps), moving ? (to_ - from_) / (static_cast<double>(over_ps_) * 1e-12) : 0.0};
    }
    const std::int64_t next_ps = next_change_ps(t_ps);
    const double now = at(t_ps);
    if (next_ps == never_ps) return {now, 0.0};
    return {now, (at(next_ps) - now) / (static_cast<double>(next_ps - t_ps) * 1e-12)};
  }

  /// The end of the straight line that it is on; never_ps: it stands still.
  std::int64_t next_change_ps(std::int64_t t_ps) const noexcept {
    std::int64_t next = never_ps;
    if (table_.shape == nullptr && t_ps < start_ps_ + over_ps_) next = start_ps_ + over_ps_;
    for (const Laid* laid : {&table_, &noise_})
      if (laid->on(t_ps)) {
        const auto& points = laid->shape->points;
        const auto after = upper(*laid, t_ps);
        if (after != points.end()) next = std::min(next, laid->start_ps + after->at_ps);
      }
    if (sine_.on(t_ps)) {
      const auto step_ps = static_cast<std::int64_t>(1e12 / (64.0 * sine_.shape->frequency_Hz));
      const std::int64_t gone = (t_ps - sine_.start_ps) / step_ps;
      next = std::min(
          {next, sine_.start_ps + (gone + 1) * step_ps, sine_.start_ps + sine_.shape->lasts_ps});
    }
    return next;
  }

 private:
  /// A shape and when it began.
  struct Laid {
    const Shape* shape = nullptr;
    std::int64_t start_ps = 0;
    bool on(std::int64_t t_ps) const noexcept {
      return shape != nullptr && t_ps >= start_ps && t_ps < start_ps + shape->lasts_ps;
    }
  };

  bool plain() const noexcept {
    return table_.shape == nullptr && sine_.shape == nullptr && noise_.shape == nullptr;
  }

  static std::vector<ShapePoint>::const_iterator upper(const Laid& laid,
                                                       std::int64_t t_ps) noexcept {
    const auto& points = laid.shape->points;
    return std::upper_bound(
        points.begin(), points.end(), t_ps - laid.start_ps,
        [](std::int64_t t, const ShapePoint& point) { return t < point.at_ps; });
  }
  static double on_line(const Laid& laid, std::int64_t t_ps) noexcept {
    const auto& points = laid.shape->points;
    const auto after = upper(laid, t_ps);
    if (after == points.begin()) return points.front().value;
    if (after == points.end()) return points.back().value;
    const ShapePoint &a = *(after - 1), &b = *after;
    const double share = static_cast<double>(t_ps - laid.start_ps - a.at_ps) /
                         static_cast<double>(b.at_ps - a.at_ps);
    return a.value + (b.value - a.value) * share;
  }

  /// Without sine and noise.
  double base(std::int64_t t_ps) const noexcept {
    if (table_.shape != nullptr) return on_line(table_, t_ps);
    const std::int64_t gone_ps = t_ps - start_ps_;
    if (gone_ps >= over_ps_) return to_;
    if (gone_ps <= 0) return from_;
    return from_ + (to_ - from_) * (static_cast<double>(gone_ps) / static_cast<double>(over_ps_));
  }

  double from_, to_;
  std::int64_t start_ps_ = 0, over_ps_ = 0;
  Laid table_, sine_, noise_;
  double least_ = -std::numeric_limits<double>::infinity();
  double most_ = std::numeric_limits<double>::infinity();
};

}  // namespace stillrotor
