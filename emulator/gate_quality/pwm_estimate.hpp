// What a controller's PWM looks like from the stamps of its gate edges: period, grid, periods
// without a pulse, and how far the stamps scatter about the grid.
//
// Grid     of each line's pulses three are fitted: their centres, their rises, their falls. Over a
//          block of pulses k the instants are t_k = anchor + k T by least squares; what is left is
//          the scatter. The one that scatters least names the alignment; while the duty does not
//          move they cannot be told apart, and the centre is named.
// Jitter   rms of one edge. A centre is the mean of two edges, so its scatter counts sqrt 2. What
//          the controller really does to its grid (spread spectrum, a changing dead time) counts
//          as jitter too.
// Missing  a gap of whole periods between two pulses that stand well inside their period. Beside a
//          short or a long one it is taken for a duty of 0 or 100 %: resting; so is the gap of a
//          line that pulses while the other two of its side do not, and rests while they do: it is
//          commutated, as in six-step (from some four periods a third of a turn on). A longer gap
//          is a pause. A lost pulse next to a rest cannot be told.
// Valid    1 us <= T <= 10 ms; jitter below some T/10.   Source: linear regression, textbook.
// RT: safe; O(1) an edge. Units s, ps since arming.
#pragma once

#include <array>
#include <cstdint>

#include "io/connector.hpp"

namespace stillrotor {

enum class PwmAlignment : std::uint8_t { centre, rise, fall };

struct LegPwm {
  bool known = false;  // one block at least has been fitted
  PwmAlignment alignment = PwmAlignment::centre;
  double period_s = 0.0;
  io::Time grid{};        // an instant of the grid, near the newest pulse
  double jitter_s = 0.0;  // rms of one edge, over the last block
  std::uint64_t pulses = 0, missing = 0, resting = 0, pauses = 0;
};

/// Instants that lie on a grid of one period, give or take.
class GridFit {
 public:
  struct Step {
    bool known = false;        // the period is
    std::int64_t periods = 0;  // from the instant before
  };
  /// A longer gap is a pause: the grid is laid anew, the period stays. A grid that no longer fits
  /// is learnt anew.
  static constexpr std::int64_t most_gap = 16;  // periods
  Step add(std::int64_t at_ps) noexcept;
  bool fitted() const noexcept { return fitted_; }
  double period_ps() const noexcept { return period_ps_; }
  double per_period() const noexcept { return per_period_; }  // 1/ps; 0 with it
  std::int64_t anchor_ps() const noexcept { return anchor_ps_; }
  double scatter_ps() const noexcept { return scatter_ps_; }

 private:
  static constexpr int first_block = 16, block = 64, least_block = 8;
  static constexpr std::size_t to_learn = 8;
  void learn() noexcept;
  void place(std::int64_t at_ps) noexcept;
  void begin_block(std::int64_t anchor_ps) noexcept;
  void end_block() noexcept;
  void set_period(double ps) noexcept {
    period_ps_ = ps;
    per_period_ = ps > 0.0 ? 1.0 / ps : 0.0;
  }

  std::array<std::int64_t, to_learn> first_{};
  std::size_t first_count_ = 0;
  double period_ps_ = 0.0;   // 0: not yet known
  double per_period_ = 0.0;  // its inverse: a division each pulse and grid would cost more than all
  std::int64_t anchor_ps_ = 0;
  std::int64_t newest_ = 0;  // its number, from the anchor
  // sums over the block, of numbers k and deviations d from anchor + k T
  double n_ = 0, k_ = 0, kk_ = 0, d_ = 0, kd_ = 0, dd_ = 0;
  double scatter_ps_ = 0.0;
  bool placed_ = false, fitted_ = false;
};

/// Of one line.
class LinePwm {
 public:
  void edge(std::int64_t at_ps, bool on) noexcept;
  /// Another leg's switch of the same side has pulsed.
  void other_pulsed() noexcept { others_ = true; }
  LegPwm estimate() const noexcept;
  std::uint64_t pulses() const noexcept { return pulses_; }
  /// Periods that any of the three grids takes for missing: while this stands still, so does
  /// estimate().missing, but for a change of grid. Cheap to ask.
  std::uint64_t suspects() const noexcept {
    return gaps_[0].missing + gaps_[1].missing + gaps_[2].missing;
  }

 private:
  void pulse(std::int64_t rise_ps, std::int64_t fall_ps) noexcept;

  std::array<GridFit, 3> grids_;  // by PwmAlignment
  struct Gaps {
    std::uint64_t missing = 0, resting = 0, pauses = 0;
  };
  std::array<Gaps, 3> gaps_{};
  bool others_ = false;  // have pulsed since the newest pulse
  int alone_ = 0;        // > 0: as a rule they do not, between two pulses
  bool on_ = false;
  std::int64_t rise_ps_ = 0, length_ps_ = 0;  // of the newest pulse
  std::uint64_t pulses_ = 0;
};

class PwmEstimate {
 public:
  /// Any line; only gates count. Times of one line never decrease.
  void edge(const io::Edge& edge) noexcept {
    if (!io::is_gate(edge.line)) return;
    const std::size_t gate = io::index(edge.line);
    LinePwm& line = lines_[gate];
    const std::uint64_t pulses = line.pulses();
    line.edge(edge.at.count(), edge.level == io::Level::high);
    if (line.pulses() == pulses) return;
    for (std::size_t other = gate % 2; other < io::gate_count; other += 2)
      if (other != gate) lines_[other].other_pulsed();
  }
  /// leg 0 to 2: U, V, W; from whichever of its two lines has more pulses.
  LegPwm leg(std::size_t leg) const noexcept;
  /// Of all lines.
  std::uint64_t suspects() const noexcept {
    std::uint64_t sum = 0;
    for (const LinePwm& line : lines_) sum += line.suspects();
    return sum;
  }
  /// The largest of the known legs; 0 while none is known.
  double jitter_s() const noexcept;

 private:
  std::array<LinePwm, io::gate_count> lines_;
};

}  // namespace stillrotor
