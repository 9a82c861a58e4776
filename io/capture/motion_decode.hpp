// From sensor edges to electrical angle: three Halls, or an incremental encoder.
#pragma once

#include <array>
#include <cstdint>
#include <optional>

#include "io/capture/motion.hpp"
#include "io/connector.hpp"

namespace stillrotor::io {

/// A stretch of electrical angle, end > begin.
struct Interval {
  double begin_rad = 0.0, end_rad = 0.0;
  double width_rad() const noexcept { return end_rad - begin_rad; }
  double middle_rad() const noexcept { return (begin_rad + end_rad) / 2.0; }
};

/// Three Halls divide the turn into six sectors, each with its code. An edge into a neighbouring
/// sector fixes the angle: it is that of the boundary between them.
class HallDecoder {
 public:
  explicit HallDecoder(const CapturedMachine&);
  static bool takes(LineId line) noexcept { return line >= line::hall_U && line <= line::hall_W; }
  /// The unwrapped angle, where this edge fixes it. `starting`: levels of the first instant.
  std::optional<double> see(const Edge&, bool starting) noexcept;
  std::optional<Interval> sector() const noexcept;  // empty: the code is invalid
  double widest_sector_rad() const noexcept;
  std::uint64_t crossings() const noexcept { return crossings_; }
  std::uint64_t impossible() const noexcept { return impossible_; }

 private:
  struct Sector {
    Interval span;
    unsigned code = 0;
  };
  int find(unsigned code) const noexcept;

  std::array<Sector, 6> sectors_;
  double half_hysteresis_rad_;
  unsigned code_ = 0;
  int sector_ = -1;
  // the last anchor, and the speed into it, to find the turn of the next one after a gap
  bool anchored_ = false, broken_ = false;
  Time at_{};
  double angle_rad_ = 0.0, speed_rad_s_ = 0.0;
  std::uint64_t crossings_ = 0, impossible_ = 0;
};

/// Counts quadrature steps; A leads B forward.
class EncoderDecoder {
 public:
  struct Step {
    bool counted = false;
    std::optional<double> index_rad;  // electrical angle, where the index pulse fixes it
  };
  explicit EncoderDecoder(const CapturedMachine&);
  static bool takes(LineId line) noexcept {
    return line >= line::encoder_A && line <= line::encoder_Z;
  }
  Step see(const Edge&, bool starting) noexcept;
  /// Of the newest edge, from the lower end of the count it started in; electrical, unwrapped.
  double angle_rad() const noexcept {
    return static_cast<double>(count_ + (direction_ < 0 ? 1 : 0)) * step_rad_;
  }
  double step_rad() const noexcept { return step_rad_; }  // electrical
  std::uint64_t counts() const noexcept { return counts_; }
  std::uint64_t impossible() const noexcept { return impossible_; }

 private:
  double step_rad_, index_rad_;
  bool a_ = false, b_ = false;
  int direction_ = 1;
  std::int64_t count_ = 0;
  Time last_{-1};
  std::uint64_t counts_ = 0, impossible_ = 0;
};

}  // namespace stillrotor::io
