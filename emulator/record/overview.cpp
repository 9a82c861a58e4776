#include "emulator/record/overview.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

namespace stillrotor {
namespace {

constexpr float nan = std::numeric_limits<float>::quiet_NaN();

/// Side by side, so that the compiler may take them in one instruction. What is not a number loses
/// every comparison, and with it counts for nothing.
class Lanes {
 public:
  static constexpr std::size_t count = 8;

  Lanes() {
    std::fill_n(least_, count, HUGE_VALF);
    std::fill_n(greatest_, count, -HUGE_VALF);
  }
  void take(const float* low, const float* high) {
    for (std::size_t k = 0; k < count; ++k) {
      least_[k] = low[k] < least_[k] ? low[k] : least_[k];
      greatest_[k] = high[k] > greatest_[k] ? high[k] : greatest_[k];
    }
  }
  void take(std::size_t lane, float low, float high) {
    least_[lane] = low < least_[lane] ? low : least_[lane];
    greatest_[lane] = high > greatest_[lane] ? high : greatest_[lane];
  }
  OverviewBin bin() const {
    const float least = *std::min_element(least_, least_ + count);
    const float greatest = *std::max_element(greatest_, greatest_ + count);
    return least <= greatest ? OverviewBin{least, greatest} : OverviewBin{nan, nan};
  }

 private:
  float least_[count], greatest_[count];
};

}  // namespace

OverviewRows overview_rows(const FrameColumns& frames, std::size_t points) {
  const std::size_t rows = (frames.size() + points - 1) / points;
  OverviewRows out(rows * signal_count);
  for (std::size_t k = 0; k < signal_count; ++k) {
    const bool spread = k < spread_count;
    const auto low = frames.column(spread ? signal_count + k : k);
    const auto high = frames.column(spread ? signal_count + spread_count + k : k);
    for (std::size_t row = 0; row < rows; ++row) {
      const std::size_t end = std::min((row + 1) * points, frames.size());
      std::size_t n = row * points;
      Lanes lanes;
      for (; n + Lanes::count <= end; n += Lanes::count) lanes.take(&low[n], &high[n]);
      for (; n < end; ++n) lanes.take(n % Lanes::count, low[n], high[n]);
      out[row * signal_count + k] = lanes.bin();
    }
  }
  return out;
}

OverviewRows coarser_rows(const OverviewRows& fine, std::size_t rows) {
  const std::size_t count = fine.size() / signal_count;
  OverviewRows out((count + rows - 1) / rows * signal_count, OverviewBin{nan, nan});
  for (std::size_t row = 0; row < count; ++row) {
    for (std::size_t k = 0; k < signal_count; ++k) {
      const OverviewBin& in = fine[row * signal_count + k];
      OverviewBin& to = out[row / rows * signal_count + k];
      to.least = std::fmin(to.least, in.least);
      to.greatest = std::fmax(to.greatest, in.greatest);
    }
  }
  return out;
}

}  // namespace stillrotor
