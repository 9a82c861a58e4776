// From accepted plant steps to frames on the record's grid.
//
// Grid    point k at (k + 1) / rate, rounded to the picosecond.
// Values  at the point's own instant, interpolated inside the step that crosses it (Drive::inside).
//         An input that jumps exactly there still has its old value.
// Spread  least and greatest over every step's begin and end in the bin, and its grid points.
// Mean    bridge_current, torque_mean: integral over the bin by trapezoids over the steps, over its
// length. Sense   bus_voltage: exact. phase_current: straight between the ends of the step that
// crosses the
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
  void inputs_changed() noexcept { bin_.mode = no_mode; }

  // What is seen from hold() on may be taken back. Frames wait for keep().
  void hold() noexcept;
  void keep() noexcept;
  void forget() noexcept;

  /// The latest frame; before the first one all zero.
  const Frame& latest() const noexcept { return latest_; }

 private:
  static constexpr std::uint32_t no_mode = 0xFFFFFFFF;
  struct Bin {
    std::int64_t next_ps = 0;  // grid instant that ends it
    std::int64_t point = 0;    // its number
    std::array<double, spread_count> least{}, greatest{};
    double bridge_As = 0.0, torque_Nm_s = 0.0;
    double length_s = 0.0;
    // at the latest step's end
    double bridge_A = 0.0, torque_Nm = 0.0;
    double i_alpha_A = 0.0, i_beta_A = 0.0;
    std::array<double, 3> sensed_A{};
    double sensed_bus_V = 0.0;
    std::uint32_t mode = no_mode;  // conduction in that step
  };

  std::int64_t instant_ps(std::int64_t point) const noexcept;
  std::uint32_t mode() const noexcept;
  void open_bin(std::int64_t point) noexcept;
  void enter_mode(std::uint32_t, const plant::Continuous& begin) noexcept;
  void add(const plant::Probe& to, double length_s) noexcept;
  double cross_points(const plant::Segment&, double point_s) noexcept;
  void include(std::size_t signal, double value) noexcept;
  void include(const plant::Probe&) noexcept;
  void emit(const plant::Snapshot&, double share_of_step) noexcept;
  double sense_V(int leg, double share_of_step) const noexcept;
  double sense_bus_V(double bus_V, double share_of_step) const noexcept;

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
