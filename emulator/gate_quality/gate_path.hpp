// The way of stamped edges from the wires to the plant: cleaned, watched, and averaged where the
// bench asks for it.
//
// Hold     for the plant to pass t, everything stamped up to t + hold() must have come: so far
//          behind the clock a bench has to stand (cycle.delay), and what is left of the delay is
//          what an edge may take to come in.
// Time     since arming.
// RT: what is noexcept here is safe; no allocation, lock or throw.
//     Proof: tests/emulator/cycle/real_time_test.cpp
#pragma once

#include <array>
#include <cstdint>
#include <optional>
#include <span>
#include <string>

#include "emulator/bench/bench.hpp"
#include "emulator/gate_quality/averaged_gates.hpp"
#include "emulator/gate_quality/gate_cleaner.hpp"
#include "emulator/gate_quality/pwm_estimate.hpp"

namespace stillrotor {

/// What the stamps were worth; for run.json.
struct GateReport {
  bool averaged = false;
  std::optional<double> filter_s;  // averages of voltages behind such a filter, not of edges
  io::Time hold{};
  CleaningCounts cleaning;
  std::uint64_t dropped = 0;  // averaged edges for which there was no room
  std::array<LegPwm, 3> legs;
  double jitter_s = 0.0;
};

/// What a bench asks for, ready to build.
struct GateTreatment {
  GateCleaning cleaning;
  std::optional<io::Time> averaged_over;
  std::optional<double> filter_s;  // gates come in as averages
  io::Time hold{};
};

/// From cycle.gates and controller.expects. Throws io::ConfigError: what a treatment needs is not
/// stated, or it holds edges for longer than cycle.delay.
GateTreatment gate_treatment(const Bench&);

class GatePath {
 public:
  explicit GatePath(const GateTreatment&);

  io::Time hold() const noexcept { return hold_; }
  /// When the edge happened, its line's skew taken off.
  io::Time happened(const io::Edge& edge) const noexcept { return cleaner_.happened(edge); }
  /// An edge that comes now and happened before this is late: it acts here.
  io::Time known() const noexcept { return cleaner_.known(); }

  /// The edges that have come, an EdgeBatch at most, all stamped up to known_to among them.
  /// filtered: the gates' shares, where they come in as averages; edges are then those of other
  /// lines.
  void take(std::span<const io::Edge>, io::Time known_to,
            const GateShares* filtered = nullptr) noexcept;
  /// What the plant has to see, in order of time, before it passes settled().
  std::span<const io::Edge> ready() const noexcept { return {edges_.data(), ready_count_}; }
  io::Time settled() const noexcept { return settled_; }
  std::span<const Overlap> overlaps() const noexcept { return cleaner_.overlaps(); }

  const PwmEstimate& pwm() const noexcept { return pwm_; }
  std::uint64_t dropped() const noexcept {
    return dropped_ + (averaged_ ? averaged_->dropped() : 0);
  }
  GateReport report() const noexcept;
  /// For the record; empty: edges act one by one.
  const std::string& averaged_text() const noexcept { return averaged_text_; }

 private:
  void append(std::span<const io::Edge>) noexcept;
  void sort() noexcept;

  GateCleaner cleaner_;
  std::optional<AveragedGates> averaged_;
  std::optional<double> filter_s_;
  std::string averaged_text_;
  PwmEstimate pwm_;
  io::Time hold_, settled_ = io::Time::min();
  std::array<io::Edge, 8192> edges_;  // the first `ready_count_` of them are ready
  std::size_t edge_count_ = 0, ready_count_ = 0;
  std::uint64_t dropped_ = 0;
};

}  // namespace stillrotor
