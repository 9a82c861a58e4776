#include "emulator/gate_quality/pwm_estimate.hpp"

#include <algorithm>
#include <cmath>
#include <utility>

namespace stillrotor {
namespace {

constexpr double shortest_ps = 1e6, longest_ps = 1e10;  // of a period
constexpr double near_end = 0.1;  // a pulse shorter, or a pause between two, may vanish by itself
/// Scatter over period from which on there is no such grid: 0.29 is that of anything at all.
constexpr double no_grid = 0.15;
constexpr double whole_period = 0.98;  // longer ones have no centre in one period
constexpr int most_alone = 4;          // a pulse too many beside the next leg's changes nothing

/// As std::llround(), but no call: this is asked three times a pulse.
std::int64_t nearest(double value) noexcept {
  return static_cast<std::int64_t>(value + (value < 0.0 ? -0.5 : 0.5));
}

}  // namespace

GridFit::Step GridFit::add(std::int64_t at_ps) noexcept {
  if (period_ps_ == 0.0) {
    first_[first_count_++] = at_ps;
    if (first_count_ == to_learn) learn();
    return {};
  }
  if (!placed_) {
    place(at_ps);
    return {};
  }
  const auto since_ps = static_cast<double>(at_ps - anchor_ps_);
  const auto number = nearest(since_ps * per_period_);
  const auto k = static_cast<double>(number);
  const Step step{true, number - newest_};
  if (step.periods < 1) return step;  // a second one in its period says nothing of the grid
  if (step.periods > most_gap) {
    if (n_ >= least_block) end_block();
    if (period_ps_ > 0.0) place(at_ps);
    return step;
  }
  const double d = since_ps - k * period_ps_;
  newest_ = number;
  n_ += 1;
  k_ += k;
  kk_ += k * k;
  d_ += d;
  kd_ += k * d;
  dd_ += d * d;
  if (n_ >= (fitted_ ? block : first_block)) end_block();
  return step;
}

/// The median spacing says how many periods lie between the first and the last instant.
void GridFit::learn() noexcept {
  std::array<std::int64_t, to_learn - 1> spacing;
  for (std::size_t k = 0; k < spacing.size(); ++k) spacing[k] = first_[k + 1] - first_[k];
  std::nth_element(spacing.begin(), spacing.begin() + spacing.size() / 2, spacing.end());
  const auto median_ps = static_cast<double>(spacing[spacing.size() / 2]);
  first_count_ = 0;
  if (median_ps < shortest_ps || median_ps > longest_ps) return;
  const auto whole_ps = static_cast<double>(first_.back() - first_.front());
  set_period(whole_ps / std::max(1.0, std::round(whole_ps / median_ps)));
  place(first_.back());
}

void GridFit::place(std::int64_t at_ps) noexcept {
  placed_ = true;
  begin_block(at_ps);
  n_ = 1;  // the instant itself: number 0, deviation 0
}

void GridFit::begin_block(std::int64_t anchor_ps) noexcept {
  anchor_ps_ = anchor_ps;
  newest_ = 0;
  n_ = k_ = kk_ = d_ = kd_ = dd_ = 0;
}

void GridFit::end_block() noexcept {
  const double slope = (n_ * kd_ - k_ * d_) / (n_ * kk_ - k_ * k_);
  const double offset = (d_ - slope * k_) / n_;
  const double left = dd_ - offset * d_ - slope * kd_;  // sum of squares
  scatter_ps_ = std::sqrt(std::max(left, 0.0) / (n_ - 2.0));
  fitted_ = scatter_ps_ < no_grid * period_ps_;
  if (!fitted_) {
    set_period(0.0);
    placed_ = false;
    return;
  }
  set_period(period_ps_ + slope);
  begin_block(anchor_ps_ + std::llround(offset + period_ps_ * static_cast<double>(newest_)));
}

void LinePwm::edge(std::int64_t at_ps, bool on) noexcept {
  if (on_ && !on) pulse(rise_ps_, at_ps);
  if (on) rise_ps_ = at_ps;
  on_ = on;
}

void LinePwm::pulse(std::int64_t rise_ps, std::int64_t fall_ps) noexcept {
  ++pulses_;
  const std::int64_t length_ps = fall_ps - rise_ps;
  const std::int64_t before_ps = std::exchange(length_ps_, length_ps);
  const bool others = std::exchange(others_, false);
  const bool commutated = others && alone_ > 0;
  alone_ = std::clamp(alone_ + (others ? -1 : 2), -most_alone, most_alone);
  const std::int64_t instants[] = {rise_ps + length_ps / 2, rise_ps, fall_ps};
  for (std::size_t g = 0; g < grids_.size(); ++g) {
    // Of the period; 0 while that is unknown.
    const auto share = [per_ps = grids_[g].per_period()](std::int64_t ps) {
      return static_cast<double>(ps) * per_ps;
    };
    if (share(length_ps) > whole_period) continue;
    const GridFit::Step step = grids_[g].add(instants[g]);
    if (!step.known || step.periods <= 1) continue;
    if (step.periods > GridFit::most_gap) {
      ++gaps_[g].pauses;
      continue;
    }
    const bool inside = !commutated && share(std::min(length_ps, before_ps)) > near_end &&
                        share(std::max(length_ps, before_ps)) < 1.0 - near_end;
    (inside ? gaps_[g].missing : gaps_[g].resting) += static_cast<std::uint64_t>(step.periods - 1);
  }
}

LegPwm LinePwm::estimate() const noexcept {
  const auto jitter_ps = [this](std::size_t g) {
    return grids_[g].scatter_ps() * (g == 0 ? std::sqrt(2.0) : 1.0);
  };
  // Of equals the centre; a rise or a fall only where it is clearly steadier.
  constexpr double clearly = 1.5;
  std::size_t best = 0;
  for (const std::size_t g : {std::size_t{1}, std::size_t{2}})
    if (grids_[g].fitted() && (!grids_[best].fitted() || clearly * jitter_ps(g) < jitter_ps(best)))
      best = g;
  const GridFit& grid = grids_[best];
  return {.known = grid.fitted(),
          .alignment = static_cast<PwmAlignment>(best),
          .period_s = 1e-12 * grid.period_ps(),
          .grid = io::Time{grid.anchor_ps()},
          .jitter_s = 1e-12 * jitter_ps(best),
          .pulses = pulses_,
          .missing = gaps_[best].missing,
          .resting = gaps_[best].resting,
          .pauses = gaps_[best].pauses};
}

LegPwm PwmEstimate::leg(std::size_t leg) const noexcept {
  const LinePwm &high = lines_[2 * leg], &low = lines_[2 * leg + 1];
  return (low.pulses() > high.pulses() ? low : high).estimate();
}

double PwmEstimate::jitter_s() const noexcept {
  double largest_s = 0.0;
  for (std::size_t k = 0; k < 3; ++k)
    if (const LegPwm pwm = leg(k); pwm.known) largest_s = std::max(largest_s, pwm.jitter_s);
  return largest_s;
}

}  // namespace stillrotor
