#include "emulator/gate_quality/averaged_gates.hpp"

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <stdexcept>

namespace stillrotor {
namespace {

std::uint32_t bit(io::LineId line) noexcept { return 1U << io::index(line); }
io::LineId gate(std::size_t k) noexcept { return io::LineId(static_cast<std::uint16_t>(k)); }

}  // namespace

double share_of(double volts, double off_V, double on_V) noexcept {
  const double share = (volts - off_V) / (on_V - off_V);
  return std::isfinite(share) ? std::clamp(share, 0.0, 1.0) : 0.0;
}

GateShares complementary(double high_U, double high_V, double high_W) noexcept {
  return {high_U, 1.0 - high_U, high_V, 1.0 - high_V, high_W, 1.0 - high_W};
}

AveragedGates::AveragedGates(io::Time period) : period_(period) {
  if (period < std::chrono::microseconds(1) || period > std::chrono::milliseconds(10))
    throw std::invalid_argument("averaging period is " + std::to_string(period.count()) +
                                " ps; allowed 1 us to 10 ms. Take the controller's PWM period.");
}

std::string AveragedGates::text() const {
  char line[160];
  std::snprintf(line, sizeof line,
                "over %g us: pulses stand centred in their period; dead times, and which diode led "
                "when, are not in them",
                1e-6 * static_cast<double>(period_.count()));
  return line;
}

std::string AveragedGates::text(double filter_s) const {
  char line[120];
  std::snprintf(line, sizeof line, "from filtered voltages, time constant %g us, told as pulses ",
                1e6 * filter_s);
  return line + text();
}

void AveragedGates::take(std::span<const io::Edge> edges, io::Time known_to) noexcept {
  ready_count_ = 0;
  for (const io::Edge& edge : edges) {
    count_until(std::max(edge.at, counted_));
    if (io::is_gate(edge.line))
      levels_ =
          edge.level == io::Level::high ? levels_ | bit(edge.line) : levels_ & ~bit(edge.line);
    else if (other_count_ < others_.size())
      others_[other_count_++] = edge;
    else
      ++dropped_;
  }
  count_until(std::max(known_to, counted_));
}

void AveragedGates::take(const GateShares& shares, io::Time known_to) noexcept {
  ready_count_ = 0;
  while (begin_ <= known_to && ready_.size() - ready_count_ > 32) emit(shares);
  if (begin_ > known_to) return;
  const std::int64_t left_out = (known_to - begin_) / period_ + 1;
  dropped_ += static_cast<std::uint64_t>(left_out);
  begin_ += left_out * period_;
}

/// Adds up for how long each switch is on; emits every period that ends on the way.
void AveragedGates::count_until(io::Time at) noexcept {
  while (counted_ < at) {
    const io::Time to = std::min(at, begin_ + period_);
    for (std::size_t k = 0; k < io::gate_count; ++k)
      if ((levels_ & bit(gate(k))) != 0) on_for_[k] += to - counted_;
    counted_ = to;
    if (to < begin_ + period_) return;
    GateShares shares;
    for (std::size_t k = 0; k < io::gate_count; ++k)
      shares[k] = static_cast<double>(on_for_[k].count()) / static_cast<double>(period_.count());
    on_for_ = {};
    emit(shares);
  }
}

/// Low switch, neither, high switch, neither, low switch; what has no length leaves no edge.
void AveragedGates::emit(const GateShares& shares) noexcept {
  const std::size_t first = ready_count_;
  const auto part = [this](double share) {
    return io::Time{std::llround(share * static_cast<double>(period_.count()))};
  };
  const io::Time middle = begin_ + period_ / 2, end = begin_ + period_;
  for (std::size_t leg = 0; leg < 3; ++leg) {
    const io::LineId high = gate(2 * leg), low = gate(2 * leg + 1);
    const io::Time high_for = part(shares[2 * leg]);
    const io::Time low_for = std::min(part(shares[2 * leg + 1]), period_ - high_for);
    const io::Time rise = middle - high_for / 2, fall = rise + high_for;
    // Halves of odd picoseconds must not make the two overlap.
    const io::Time low_off = std::min(begin_ + low_for / 2, rise);
    const io::Time low_on = std::max(end - (low_for - low_for / 2), fall);
    if (low_off == begin_) switch_to(low, false, begin_);
    if (rise > begin_) switch_to(high, false, begin_);
    if (low_off > begin_) {
      switch_to(low, true, begin_);
      if (low_off < low_on) switch_to(low, false, low_off);
    }
    if (high_for > io::Time{0}) {
      switch_to(high, true, rise);
      if (fall < end) switch_to(high, false, fall);
    }
    if (low_on < end) switch_to(low, true, low_on);
  }
  for (std::size_t k = 0; k < other_count_; ++k) append(others_[k]);
  other_count_ = 0;
  // By time; what is told first at one instant stays first. Few edges, and no memory to be asked
  // for.
  for (std::size_t k = first + 1; k < ready_count_; ++k)
    for (std::size_t j = k; j > first && ready_[j].at < ready_[j - 1].at; --j)
      std::swap(ready_[j], ready_[j - 1]);
  begin_ = end;
}

void AveragedGates::switch_to(io::LineId line, bool on, io::Time at) noexcept {
  if (((emitted_ & bit(line)) != 0) == on) return;
  emitted_ ^= bit(line);
  append({at, line, on ? io::Level::high : io::Level::low});
}

void AveragedGates::append(const io::Edge& edge) noexcept {
  if (ready_count_ < ready_.size())
    ready_[ready_count_++] = edge;
  else
    ++dropped_;
}

}  // namespace stillrotor
