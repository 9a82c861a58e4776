// From accepted plant steps to frames on the record's grid.
//
// Grid    point k at (k + 1) / rate, rounded to the picosecond.
// Values  at the point's own instant, interpolated inside the step that crosses it (Drive::inside).
//         An input that jumps exactly there still has its old value.
// Spread  least and greatest over every step's begin and end in the bin, and its grid points.
// Mean    integral over the bin, straight lines in each step (plant/tally.hpp), over its length.
//         Heat of a step that crosses a point is shared out by time.
// Sense   bus_voltage: exact. phase_current: straight between the ends of the step that crosses the
//         point, so exact but for the bend of the sensor's own lag in the first microseconds after
//         a switch; what the controller itself reads is always exact.
// RT      safe where the sink is: no allocation, lock, log or throw.
#pragma once

#include <array>
#include <cstdint>
#include <functional>
#include <vector>

#include "emulator/handover/frame.hpp"
#include "plant/drive.hpp"

namespace stillrotor {

class Sampler final : public plant::SegmentObserver {
 public:
  /// Volts at the controller's pins at a grid instant.
  struct Pins {
    double throttle_V = 0.0;
    std::array<double, 3> phase_current_V{};
    double bus_V = 0.0;
  };
  /// at_pins: gets what the sensors say, puts in what the pins do. Throws std::invalid_argument:
  /// rate_Hz is not a whole number from 1 to 1,000,000.
  Sampler(const plant::Drive&, double rate_Hz, RunSink&,
          std::function<void(Pins&, std::int64_t)> at_pins);

  void on_segment(const plant::Segment&) noexcept override;

  /// The drive's inputs (other than its switches) or its state have been set from outside: what
  /// follows does not continue what was.
  void inputs_changed() noexcept { bin_.tally.mode = plant::Tally::no_mode; }

  // What is seen from hold() on may be taken back. Frames wait for keep().
  void hold() noexcept;
  void keep() noexcept;
  void forget() noexcept;

  /// The latest frame; before the first one all zero.
  const Frame& latest() const noexcept { return latest_; }

 private:
  static_assert(std::size_t{plant::Tally::spread_count} == spread_count);
  struct Bin {
    std::int64_t point = 0;  // number of the grid instant that ends it
    plant::Tally tally;      // until that instant
    // of changes of switches, until the bin began
    double switching_J = 0.0, drawn_J = 0.0;
    std::int64_t next_ps() const noexcept { return tally.until_ps; }
  };

  std::int64_t instant_ps(std::int64_t point) const noexcept;
  void open_bin(std::int64_t point) noexcept;
  void enter_mode(std::uint32_t, const plant::Continuous& begin) noexcept;
  double cross_points(const plant::Segment&, double point_s) noexcept;
  void emit(const plant::Snapshot&, const plant::AnalogState& before,
            double share_of_step) noexcept;
  std::array<double, 3> sense_V(const plant::AnalogState& before,
                                double share_of_step) const noexcept;
  double sense_bus_V(double bus_V, const plant::AnalogState& before,
                     double share_of_step) const noexcept;

  const plant::Drive& drive_;
  RunSink& sink_;
  std::function<void(Pins&, std::int64_t)> at_pins_;
  std::int64_t rate_Hz_;
  std::int64_t whole_ps_, rest_ps_;  // of a second over rate_Hz_
  Bin bin_, held_bin_;
  std::vector<Frame> held_frames_;
  bool holding_ = false;
  Frame latest_;
};

}  // namespace stillrotor
