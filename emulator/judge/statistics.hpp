// One pass over a signal in a window: what the measures of currents, voltages and motion share.
//
// Spread signals come as least and greatest per bin. Inside a bin the value is taken as a straight
// ramp between the two: exact for a straight line and for the triangles of switched currents. How
// far that is from what the grid points alone say is the uncertainty of means: it covers ripple
// that the grid meets always at the same phase.
#pragma once

#include "emulator/judge/stretch.hpp"

namespace stillrotor {

/// Half a step of float32 at this size.
double float_resolution(double size) noexcept;

struct SpreadStatistics {
  double least = 0.0, greatest = 0.0;                    // over bins wholly inside
  double least_touching = 0.0, greatest_touching = 0.0;  // over bins that touch the window
  double mean_of_ramps = 0.0, mean_of_points = 0.0;
  double mean_square_of_ramps = 0.0, mean_square_of_points = 0.0;
  std::string undefined;  // window shorter than a bin, values that are not numbers

  double largest_size() const noexcept;  // of any value that touches the window
};
SpreadStatistics spread_statistics(const RecordReader&, Signal, const Stretch&);

/// Mean over the window, by bins.
Measurement mean_of(const SpreadStatistics&, const Stretch&);
Measurement least_of(const SpreadStatistics&);
Measurement greatest_of(const SpreadStatistics&);
/// Greatest magnitude.
Measurement peak_of(const SpreadStatistics&);

}  // namespace stillrotor
