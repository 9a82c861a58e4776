#include "emulator/record/overview.hpp"

#include <algorithm>
#include <cmath>
#include <cstring>
#include <limits>

namespace stillrotor {
namespace {

constexpr float nan = std::numeric_limits<float>::quiet_NaN();

/// Side by side in registers. What is not a number loses every comparison, and with it counts for
/// nothing.
class Lanes {
 public:
  static constexpr std::size_t count = 8;

  void take(const float* low, const float* high) {
    for (std::size_t k = 0; k < halves; ++k) {
      Four l, h;
      std::memcpy(&l, low + k * width, sizeof l);
      std::memcpy(&h, high + k * width, sizeof h);
      least_[k] = l < least_[k] ? l : least_[k];
      greatest_[k] = h > greatest_[k] ? h : greatest_[k];
    }
  }
  void take(std::size_t lane, float low, float high) {
    Four &l = least_[lane / width], &h = greatest_[lane / width];
    lane %= width;
    l[lane] = low < l[lane] ? low : l[lane];
    h[lane] = high > h[lane] ? high : h[lane];
  }
  OverviewBin bin() const {
    float least = HUGE_VALF, greatest = -HUGE_VALF;
    for (std::size_t lane = 0; lane < count; ++lane) {
      least = std::min(least, least_[lane / width][lane % width]);
      greatest = std::max(greatest, greatest_[lane / width][lane % width]);
    }
    return least <= greatest ? OverviewBin{least, greatest} : OverviewBin{nan, nan};
  }

 private:
  static constexpr std::size_t halves = 2, width = count / halves;
  using Four = float __attribute__((vector_size(width * sizeof(float))));
  static constexpr Four all(float x) { return Four{x, x, x, x}; }

  Four least_[halves] = {all(HUGE_VALF), all(HUGE_VALF)};
  Four greatest_[halves] = {all(-HUGE_VALF), all(-HUGE_VALF)};
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
