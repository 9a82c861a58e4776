#include "emulator/panel/signal_history.hpp"

#include <algorithm>
#include <bit>
#include <cmath>

namespace stillrotor {
namespace {

constexpr float none = Column::none;

/// Comparisons with what is not a number are false: it never wins over a number.
float lesser(float known, float other) noexcept {
  return other < known || std::isnan(known) ? other : known;
}
float greater(float known, float other) noexcept {
  return other > known || std::isnan(known) ? other : known;
}

void take(Column& column, const Column& next) noexcept {
  if (std::isnan(column.first)) column.first = next.first;
  column.least = lesser(column.least, next.least);
  column.greatest = greater(column.greatest, next.greatest);
  if (!std::isnan(next.last)) column.last = next.last;
}

/// Where a level keeps its step of that number.
constexpr std::size_t step_place(std::int64_t step) noexcept {
  return static_cast<std::size_t>(step & (SignalHistory::steps_most - 1));
}
static_assert(std::has_single_bit(std::uint64_t{SignalHistory::steps_most}));

/// Columns shorter than that are put together of single points.
constexpr std::int64_t few_points = 64;

}  // namespace

SignalHistory::Step::Step() noexcept {
  for (Values* values : {&first, &least, &greatest, &last}) values->fill(none);
}

void SignalHistory::Step::take(const Step& next) noexcept {
  for (std::size_t k = 0; k < signal_count; ++k) {
    first[k] = std::isnan(first[k]) ? next.first[k] : first[k];
    least[k] = lesser(least[k], next.least[k]);
    greatest[k] = greater(greatest[k], next.greatest[k]);
    last[k] = std::isnan(next.last[k]) ? last[k] : next.last[k];
  }
}

SignalHistory::SignalHistory(double rate_Hz)
    : rate_Hz_(rate_Hz),
      raw_capacity_(static_cast<std::int64_t>(std::bit_ceil(static_cast<std::uint64_t>(
          std::clamp<std::int64_t>(std::llround(raw_s * rate_Hz), 1024, raw_most))))) {
  raw_.resize(static_cast<std::size_t>(raw_capacity_) * raw_columns);
}

std::int64_t SignalHistory::kept() const noexcept { return std::min(points_, raw_capacity_); }

void SignalHistory::add(const Frame& frame) {
  const std::int64_t point = std::llround(static_cast<double>(frame.at_ps) * 1e-12 * rate_Hz_) - 1;
  if (point < points_) return;
  while (points_ < point) add_point(nullptr);
  add_point(&frame);
}

void SignalHistory::add_point(const Frame* frame) {
  const std::int64_t number = points_++;
  Step step;
  if (frame != nullptr) {
    step.first = step.least = step.greatest = step.last = frame->value;
    for (std::size_t k = 0; k < spread_count; ++k) {
      step.least[k] = frame->least[k];
      step.greatest[k] = frame->greatest[k];
    }
  }
  for (std::size_t k = 0; k < signal_count; ++k) raw_[place(k, number)] = step.last[k];
  for (std::size_t k = 0; k < spread_count; ++k) {
    raw_[place(signal_count + k, number)] = step.least[k];
    raw_[place(signal_count + spread_count + k, number)] = step.greatest[k];
  }
  add_step(0, step);
}

void SignalHistory::add_step(std::size_t level, const Step& part) {
  if (level == level_count) return;
  Level& here = levels_[level];
  here.open.take(part);
  if (++here.filled < coarser) return;
  for (std::size_t k = 0; k < signal_count; ++k) {
    const Column whole{here.open.first[k], here.open.least[k], here.open.greatest[k],
                       here.open.last[k]};
    if (here.count < steps_most)
      here.steps[k].push_back(whole);
    else
      here.steps[k][step_place(here.count)] = whole;
  }
  ++here.count;
  add_step(level + 1, here.open);
  here.open = Step();
  here.filled = 0;
}

float SignalHistory::raw(Signal signal, std::int64_t point) const noexcept {
  if (point < 0 || point >= points_ || !has_raw(point)) return none;
  return raw_[place(static_cast<std::size_t>(signal), point)];
}

Column SignalHistory::of_point(Signal signal, std::int64_t point) const noexcept {
  const auto k = static_cast<std::size_t>(signal);
  const float value = raw_[place(k, point)];
  if (k >= spread_count) return {value, value, value, value};
  return {value, raw_[place(signal_count + k, point)],
          raw_[place(signal_count + spread_count + k, point)], value};
}

/// In as few pieces as there are: the coarsest step that fits at each place; where the finer ones
/// are gone, the finest that is left, though it reaches beyond.
Column SignalHistory::over(Signal signal, std::int64_t from, std::int64_t to) const noexcept {
  const auto k = static_cast<std::size_t>(signal);
  Column column;
  std::int64_t at = std::max<std::int64_t>(from, 0);
  to = std::min(to, points_);
  if (to - at <= few_points && has_raw(at)) {
    for (; at < to; ++at) take(column, of_point(signal, at));
    return column;
  }
  while (at < to) {
    bool taken = false;
    std::int64_t next = at;
    if (has_raw(at)) {
      next = at + 1;
      taken = true;
    }
    const Column* best = nullptr;
    std::int64_t size = 1;
    for (const Level& level : levels_) {
      size *= coarser;
      const std::int64_t step = at / size;
      if (step >= level.count) break;
      const bool fits = at % size == 0 && at + size <= to;
      if (taken && !fits) break;
      if (step < level.count - steps_most) continue;
      best = &level.steps[k][step_place(step)];
      next = (step + 1) * size;
      taken = true;
    }
    if (!taken) {  // older than anything that is kept
      at = (at / size + 1) * size;
      continue;
    }
    take(column, best != nullptr ? *best : of_point(signal, at));
    at = next;
  }
  return column;
}

}  // namespace stillrotor
