// Turns frames into columns: one per dataset of the record, a chunk long.
#pragma once

#include <algorithm>
#include <boost/align/aligned_allocator.hpp>
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
      : length_(length), apart_((length / line + 2) * line), values_(column_count * apart_) {}

  std::size_t size() const noexcept { return size_; }
  bool full() const noexcept { return size_ == length_; }
  void clear() noexcept { size_ = 0; }

  /// Takes as many frames as fit; returns how many.
  std::size_t add(std::span<const Frame> frames) noexcept {
    const std::size_t count = std::min(frames.size(), length_ - size_);
    for (std::size_t done = 0; done < count;) {
      const std::size_t at = size_ + done;
      if (at % line == 0 && count - done >= line) {
        add_lines(&frames[done], at);
        done += line;
        continue;
      }
      const float* row = row_of(frames[done++]);
      for (std::size_t k = 0; k < column_count; ++k) start(k)[at] = row[k];
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
  // Frames lie in memory as rows of all columns. A cache line's worth of them at once, four by
  // four, they are turned into columns in registers; whole lines then go past the caches, where
  // nobody would look at them before they are written to the disk.
  static constexpr std::size_t tile = 4, line = 64 / sizeof(float);
  static_assert(column_count % tile == 0 &&
                sizeof(Frame) == sizeof(std::int64_t) + column_count * sizeof(float));
  using Four = float __attribute__((vector_size(tile * sizeof(float))));
  using Lanes = std::int32_t __attribute__((vector_size(tile * sizeof(std::int32_t))));

  static const float* row_of(const Frame& frame) noexcept {
    return reinterpret_cast<const float*>(reinterpret_cast<const std::byte*>(&frame) +
                                          offsetof(Frame, value));
  }
  static Four four(const float* from) noexcept {
    Four x;
    std::memcpy(&x, from, sizeof x);
    return x;
  }
  static void put(Four x, float* to) noexcept {
#ifdef __SSE__
    __builtin_ia32_movntps(to, x);
#else
    std::memcpy(to, &x, sizeof x);
#endif
  }
  void add_lines(const Frame* frames, std::size_t at) noexcept {
    for (std::size_t k = 0; k < column_count; k += tile) {
      float* const to[tile] = {start(k) + at, start(k + 1) + at, start(k + 2) + at,
                               start(k + 3) + at};
      for (std::size_t n = 0; n < line; n += tile) {
        const Four w = four(row_of(frames[n]) + k), x = four(row_of(frames[n + 1]) + k),
                   y = four(row_of(frames[n + 2]) + k), z = four(row_of(frames[n + 3]) + k);
        constexpr Lanes low = {0, 4, 1, 5}, high = {2, 6, 3, 7}, first = {0, 1, 4, 5},
                        last = {2, 3, 6, 7};
        const Four a = __builtin_shuffle(w, x, low), b = __builtin_shuffle(y, z, low);
        const Four c = __builtin_shuffle(w, x, high), d = __builtin_shuffle(y, z, high);
        put(__builtin_shuffle(a, b, first), to[0] + n);
        put(__builtin_shuffle(a, b, last), to[1] + n);
        put(__builtin_shuffle(c, d, first), to[2] + n);
        put(__builtin_shuffle(c, d, last), to[3] + n);
      }
    }
  }

  float* start(std::size_t k) noexcept { return values_.data() + k * apart_; }

  // Columns a power of two apart would all fall on the same few places of the processor's caches.
  std::size_t length_, apart_, size_ = 0;
  std::vector<float, boost::alignment::aligned_allocator<float, line * sizeof(float)>> values_;
};

}  // namespace stillrotor
