// What curves are drawn from: a run that goes on, or the record of a finished one.
// Points are those of the record's grid: number k at (k + 1) / rate.
#pragma once

#include <cmath>
#include <cstdint>
#include <limits>
#include <span>

#include "emulator/handover/frame.hpp"

namespace stillrotor {

/// What a column of a curve says. Not a number: there is nothing.
struct Column {
  static constexpr float none = std::numeric_limits<float>::quiet_NaN();
  float first = none, least = none, greatest = none, last = none;
};

/// Bits of a line's column; 0: not known.
namespace line_column {
inline constexpr std::uint8_t was_low = 1, was_high = 2, ends_high = 4;
}

/// First point at or after a time. A millionth of a period counts as rounding.
inline std::int64_t point_from(double time_s, double rate_Hz) noexcept {
  return static_cast<std::int64_t>(std::ceil(time_s * rate_Hz - 1e-6)) - 1;
}
inline double time_of_point_s(std::int64_t point, double rate_Hz) noexcept {
  return static_cast<double>(point + 1) / rate_Hz;
}

/// One thread. Throws std::runtime_error where a record is damaged, else nothing.
class ViewSource {
 public:
  virtual ~ViewSource() = default;
  virtual double rate_Hz() const noexcept = 0;
  /// How many there are.
  virtual std::int64_t points() const noexcept = 0;
  /// Column c is of points bounds[c] to bounds[c + 1] - 1; bounds never fall, and are one more than
  /// columns. Where only coarser steps are kept, it is of the steps that these lie in.
  virtual void columns(Signal, std::span<const std::int64_t> bounds, std::span<Column>) const = 0;
  /// Are single values kept from this point on?
  virtual bool has_raw(std::int64_t from) const noexcept = 0;
  /// Values from a point on; not a number outside what there is.
  virtual void raw(Signal, std::int64_t from, std::span<float>) const = 0;
  /// Column c from from_s + c * step_s on; line_column's bits.
  virtual void line(std::uint16_t line, double from_s, double step_s,
                    std::span<std::uint8_t>) const = 0;
};

}  // namespace stillrotor
