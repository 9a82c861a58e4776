// Averaged mode: gates whose edges are not worth their stamps, or that are not seen as edges at
// all. Of each period only the shares matter for which each switch was on; the plant gets pulses of
// the same shares, centred in the period, the low switch's at its ends.
//
// Kept     mean voltage of a leg over a period, and the time in which both its switches are off.
// Lost     where in the period a pulse lay, dead times one by one, so which diode led the current
//          when; overlaps: where the shares of a leg sum up to more than 1, the low switch's gives
//          way. Say so in the record: text().
// Time     since arming; period k runs from k T to (k + 1) T. Its edges are final when it is over.
// RT: everything but text() and the constructor is safe; no allocation, lock or throw.
#pragma once

#include <array>
#include <cstdint>
#include <span>
#include <string>
#include <string_view>

#include "io/connector.hpp"

namespace stillrotor {

/// By gate line: share of the time for which the switch is on, 0 to 1.
using GateShares = std::array<double, io::gate_count>;

/// From an RC-filtered gate: its mean voltage between those of off and on.
double share_of(double volts, double off_V, double on_V) noexcept;
/// Of a bench that filters the high switches' gates only: each leg always has one switch on.
GateShares complementary(double high_U, double high_V, double high_W) noexcept;

class AveragedGates {
 public:
  /// Throws std::invalid_argument: period outside 1 us to 10 ms.
  explicit AveragedGates(io::Time period);

  /// From stamped edges: shares of every period that is over by known_to. Times never decrease.
  void take(std::span<const io::Edge>, io::Time known_to) noexcept;
  /// From filtered gates: these shares hold for every period that begins up to known_to. Periods
  /// for which there is no room are left out, and counted as dropped.
  void take(const GateShares&, io::Time known_to) noexcept;

  std::span<const io::Edge> ready() const noexcept { return {ready_.data(), ready_count_}; }
  /// The plant may advance up to here.
  io::Time settled() const noexcept { return begin_; }
  std::uint64_t dropped() const noexcept { return dropped_; }

  /// For the record: a mark's name, and what it says.
  static constexpr std::string_view mark = "gates averaged";
  std::string text() const;
  /// Of gates that come in as averages; filter_s: the slowest filter's time constant.
  std::string text(double filter_s) const;

 private:
  void count_until(io::Time) noexcept;
  void emit(const GateShares&) noexcept;
  void switch_to(io::LineId, bool on, io::Time at) noexcept;
  void append(const io::Edge&) noexcept;

  io::Time period_;
  io::Time begin_{}, counted_{};  // of the period that runs; up to where its shares are counted
  std::array<io::Time, io::gate_count> on_for_{};
  std::uint32_t levels_ = 0;   // as stamped; bit by LineId
  std::uint32_t emitted_ = 0;  // as told
  std::array<io::Edge, 4096> ready_;
  std::size_t ready_count_ = 0;
  std::array<io::Edge, 64> others_;  // lines that are no gates, of the period that runs
  std::size_t other_count_ = 0;
  std::uint64_t dropped_ = 0;  // edges for which there was no room
};

}  // namespace stillrotor
