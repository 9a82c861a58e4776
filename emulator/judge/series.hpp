// Stretches of one signal's grid points, smoothed where switching would drown them.
#pragma once

#include <string>
#include <vector>

#include "emulator/judge/measure_rows.hpp"

namespace stillrotor {

struct Series {
  std::vector<double> value;
  double first_s = 0.0, step_s = 0.0;  // instant of the first value; from one to the next
  double blur_s = 0.0;                 // half the width over which each value is a mean
  std::string undefined;

  double at_s(std::size_t k) const noexcept { return first_s + static_cast<double>(k) * step_s; }
};

/// Grid points of the window, at their instants; none is undefined.
Series points(const MeasureInput&, Signal);
/// The same, each the mean over one period of the pulse-width modulation about it (pwm_frequency of
/// the window; where nothing switches: as they are).
Series smoothed(const MeasureInput&, Signal);
/// Grid points of at most `before_s` before the window's event; undefined without event, without
/// a point.
Series before_event(const MeasureInput&, Signal, double before_s);

double mean(const std::vector<double>&) noexcept;

}  // namespace stillrotor
