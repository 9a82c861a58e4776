// One pass over a signal in a window: what the measures of currents, voltages and motion share.
//
// Spread signals come as least and greatest per bin, and as points at the bins' ends. Inside a bin
// the value is taken as a straight ramp from least to greatest: exact for straight lines and for
// the triangles of switched currents. What a bin may hide is limited by what can be seen around it:
//   doubt = min(greatest - least, excess + bend) / 2
// excess: the spread beyond the step from point to point; bend: the greater second difference of
// the points at the bin's two ends. A smooth signal has next to no doubt; one that jumps or bends
// within a few bins, as switching makes it, has half its spread, which nothing can exceed.
#pragma once

#include <string>

#include "emulator/judge/stretch.hpp"

namespace stillrotor {

/// Half a step of float32 at this size.
double float_resolution(double size) noexcept;

struct SpreadStatistics {
  double least = 0.0, greatest = 0.0;                    // over bins wholly inside
  double least_touching = 0.0, greatest_touching = 0.0;  // over bins that touch the window
  double widest = 0.0;                                   // bin, of those wholly inside
  double mean = 0.0, mean_doubt = 0.0;                   // over bins wholly inside, of ramps
  std::string undefined;  // window shorter than a bin, values that are not numbers

  double largest_size() const noexcept;  // of any value that touches the window
};
SpreadStatistics spread_statistics(const RecordReader&, Signal, const Stretch&);

/// Over the grid's points.
struct SpeedStatistics {
  double least = 0.0, greatest = 0.0, mean = 0.0;
  double step_at_least = 0.0, step_at_greatest = 0.0;  // largest change to a neighbouring point
  std::size_t count = 0;
  std::string undefined;
};
SpeedStatistics speed_statistics(const RecordReader&, const Stretch&);

/// Of a signal that holds each bin's mean. The uncertainty: between two ends of a plant step (at
/// most 50 us and 0.05 electrical radians) what is taken as a straight line bends by less than this
/// share (estimated: 0.05^2 / 12 of what turns, and as much of what decays); what lay in cut bins;
/// float32.
inline constexpr double step_doubt = 1e-3;
Measurement mean_of_means(const RecordReader&, Signal, const Stretch&);

/// Mean over the window, by bins.
Measurement mean_of(const SpreadStatistics&, const Stretch&);
Measurement least_of(const SpreadStatistics&);
Measurement greatest_of(const SpreadStatistics&);
/// Greatest magnitude.
Measurement peak_of(const SpreadStatistics&);

}  // namespace stillrotor
