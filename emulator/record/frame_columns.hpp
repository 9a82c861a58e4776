// Turns frames into columns: one per dataset of the record, a chunk long.
#pragma once

#include <algorithm>
#include <cstddef>
#include <span>
#include <vector>

#include "emulator/handover/frame.hpp"
#include "emulator/record/columns.hpp"

namespace stillrotor {

class FrameColumns {
 public:
  explicit FrameColumns(std::size_t length) : length_(length), values_(column_count * length) {}

  std::size_t size() const noexcept { return size_; }
  bool full() const noexcept { return size_ == length_; }
  void clear() noexcept { size_ = 0; }

  /// Takes as many frames as fit; returns how many.
  std::size_t add(std::span<const Frame> frames) noexcept {
    const std::size_t count = std::min(frames.size(), length_ - size_);
    frames = frames.first(count);
    for (std::size_t k = 0; k < signal_count; ++k) {
      float* to = start(k) + size_;
      for (const Frame& frame : frames) *to++ = frame.value[k];
    }
    for (std::size_t k = 0; k < spread_count; ++k) {
      float* least = start(signal_count + k) + size_;
      float* greatest = start(signal_count + spread_count + k) + size_;
      for (const Frame& frame : frames) {
        *least++ = frame.least[k];
        *greatest++ = frame.greatest[k];
      }
    }
    size_ += count;
    return count;
  }

  /// The values so far.
  std::span<const float> column(std::size_t k) const noexcept {
    return {values_.data() + k * length_, size_};
  }
  /// A column at its full length; what lies behind the values so far is set to 0.
  std::span<const float> whole_column(std::size_t k) noexcept {
    std::fill(start(k) + size_, start(k) + length_, 0.0F);
    return {start(k), length_};
  }

 private:
  float* start(std::size_t k) noexcept { return values_.data() + k * length_; }

  std::size_t length_, size_ = 0;
  std::vector<float> values_;
};

}  // namespace stillrotor
