// Turns frames into columns: one per dataset of the record, a chunk long.
#pragma once

#include <algorithm>
#include <cstddef>
#include <cstdint>
#include <cstring>
#include <limits>
#include <span>
#include <vector>

#include "emulator/handover/frame.hpp"
#include "emulator/record/columns.hpp"

namespace stillrotor {

class FrameColumns {
 public:
  explicit FrameColumns(std::size_t length)
      : length_(length), apart_(length + cache_line), values_(column_count * apart_) {}

  std::size_t size() const noexcept { return size_; }
  bool full() const noexcept { return size_ == length_; }
  void clear() noexcept { size_ = 0; }

  /// Takes as many frames as fit; returns how many.
  std::size_t add(std::span<const Frame> frames) noexcept {
    const std::size_t count = std::min(frames.size(), length_ - size_);
    std::size_t done = 0;
    for (; done + tile <= count; done += tile) add_tile(&frames[done], size_ + done);
    for (; done < count; ++done) {
      const float* row = row_of(frames[done]);
      for (std::size_t k = 0; k < column_count; ++k) start(k)[size_ + done] = row[k];
    }
    size_ += count;
    return count;
  }

  /// Points of which nothing is known, as many as fit of `count`; returns how many.
  std::size_t pad(std::size_t count) noexcept {
    count = std::min(count, length_ - size_);
    for (std::size_t k = 0; k < column_count; ++k)
      std::fill_n(start(k) + size_, count, std::numeric_limits<float>::quiet_NaN());
    size_ += count;
    return count;
  }

  /// The values so far.
  std::span<const float> column(std::size_t k) const noexcept {
    return {values_.data() + k * apart_, size_};
  }
  /// A column at its full length; what lies behind the values so far is not a number.
  std::span<const float> whole_column(std::size_t k) noexcept {
    std::fill(start(k) + size_, start(k) + length_, std::numeric_limits<float>::quiet_NaN());
    return {start(k), length_};
  }

 private:
  // Frames lie in memory as rows of all columns; four by four they are turned into columns in
  // registers, so that neither side is touched a float at a time.
  static constexpr std::size_t tile = 4;
  static_assert(column_count % tile == 0 &&
                sizeof(Frame) == sizeof(std::int64_t) + column_count * sizeof(float));
  using Four = float __attribute__((vector_size(tile * sizeof(float))));
  using Lanes = std::int32_t __attribute__((vector_size(tile * sizeof(std::int32_t))));

  static const float* row_of(const Frame& frame) noexcept {
    return reinterpret_cast<const float*>(reinterpret_cast<const std::byte*>(&frame) +
                                          offsetof(Frame, value));
  }
  void add_tile(const Frame* frames, std::size_t at) noexcept {
    for (std::size_t k = 0; k < column_count; k += tile) {
      Four in[tile];
      for (std::size_t n = 0; n < tile; ++n)
        std::memcpy(&in[n], row_of(frames[n]) + k, sizeof in[n]);
      constexpr Lanes low = {0, 4, 1, 5}, high = {2, 6, 3, 7}, first = {0, 1, 4, 5},
                      last = {2, 3, 6, 7};
      const Four a = __builtin_shuffle(in[0], in[1], low), b = __builtin_shuffle(in[2], in[3], low);
      const Four c = __builtin_shuffle(in[0], in[1], high),
                 d = __builtin_shuffle(in[2], in[3], high);
      const Four out[tile] = {__builtin_shuffle(a, b, first), __builtin_shuffle(a, b, last),
                              __builtin_shuffle(c, d, first), __builtin_shuffle(c, d, last)};
      for (std::size_t n = 0; n < tile; ++n) std::memcpy(start(k + n) + at, &out[n], sizeof out[n]);
    }
  }

  float* start(std::size_t k) noexcept { return values_.data() + k * apart_; }

  // Columns a power of two apart would all fall on the same few places of the processor's caches.
  static constexpr std::size_t cache_line = 64 / sizeof(float);
  std::size_t length_, apart_, size_ = 0;
  std::vector<float> values_;
};

}  // namespace stillrotor
