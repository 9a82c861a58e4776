// The mirror of the co-processor's plant: the bench's own plant on the gate edges that the chip has
// stamped, corrected to the currents that the chip reports. Record, measures, faults and scenario
// see the mirror, as they see the plant on every other route; what is slow (shaft, battery, heat)
// is the mirror's alone, and goes ahead to the chip.
//
// Time    the world's ps; 0 is the moment of arming on CLOCK_MONOTONIC, see arm(). The mirror
//         stands behind the clock, so that edges and reports of its present have come in.
// Correct at a report's end the currents become the chip's. How far they were off is kept, and held
//         against what two right plants can differ by (bounds.hpp): above that either edges are
//         missing that nobody has told, or the bench has something that the chip's plant lacks;
//         what lies between this report and the last one is then not to be trusted.
// Ahead   angle and speed: motion_ahead.hpp. Supply and heat as they are, with their rates.
// Threads one: the cycle's.
// RT      everything but the constructor is safe: no allocation, lock, log, throw or system call.
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>

#include "emulator/partition/bounds.hpp"
#include "emulator/partition/motion_ahead.hpp"
#include "emulator/virtual_time/world.hpp"
#include "io/link/far_plant.hpp"
#include "io/link/settings.hpp"

namespace stillrotor {

/// How well mirror and chip agree, since arming. All but rms_A only grow.
struct MirrorReport {
  std::uint64_t corrections = 0;
  std::uint64_t missed = 0;  // came for a moment that the mirror had passed, or too many at once
  std::uint64_t distrusted = 0;       // of the corrections
  double worst_A = 0.0, rms_A = 0.0;  // of a phase; what was corrected
  double worst_bus_V = 0.0;           // not corrected
  double worst_angle_rad = 0.0;       // mechanical, what the chip showed beside what it was
};

class Mirror {
 public:
  /// All outlive it.
  Mirror(const Bench&, const io::LinkSettings&, BenchWorld&);

  /// The world's time 0. Reports of before are dropped, also those that come later.
  void arm(std::int64_t armed_ns) noexcept { armed_ns_ = armed_ns; }

  /// A report has come in; in the order in which they come.
  void take(const io::LinkReport&) noexcept;
  /// The moment of the next correction; the world must not pass it without. never_ps: none known.
  std::int64_t due_ps() const noexcept { return count_ == 0 ? never_ps : next().at_ps; }
  static constexpr std::int64_t never_ps = INT64_MAX;

  struct Correction {
    std::int64_t from_ps = 0, to_ps = 0;  // since the last one
    const char* distrust = nullptr;       // nullptr: they agree; else why not, in a few words
  };
  /// The world stands at due_ps().
  Correction correct() noexcept;

  /// What the chip is to do from at_ns (CLOCK_MONOTONIC) on. Before arm(): as the scenario starts,
  /// at rest.
  io::Ahead predict(std::int64_t at_ns) noexcept;

  const MirrorReport& report() const noexcept { return report_; }

 private:
  struct Waiting {
    std::int64_t at_ps = 0, theta_at_ps = 0;
    plant::Phases current_A;
    double bus_V = 0.0, theta_m_rad = 0.0;
  };
  static constexpr std::int64_t not_armed = INT64_MIN;
  static constexpr std::size_t room = 64;  // reports: 64 ms of one a millisecond

  const Waiting& next() const noexcept { return waiting_[first_ % room]; }
  double theta_m_rad() const noexcept;
  const char* judge(const Waiting&, const plant::Probe& own) noexcept;
  bool trip_is_over() noexcept;

  BenchWorld& world_;
  Bounds bounds_;
  MotionAhead motion_;
  double switch_ohm_, flux_Wb_, pole_pairs_;
  std::int64_t armed_ns_ = not_armed;
  std::array<Waiting, room> waiting_;
  std::size_t first_ = 0, count_ = 0;
  std::int64_t corrected_ps_ = 0;
  double angle_off_rad_ = 0.0, largest_A_ = 0.0;  // at the last report
  double sum_A2_ = 0.0;
  bool latched_ = false, clears_trip_ = false;
  MirrorReport report_;
};

}  // namespace stillrotor
