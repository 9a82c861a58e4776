// What a stand-in does about its supply: closes the contactor when the link has been charged around
// it, and runs the brake chopper between two bus voltages.
// Time  an output waits in due() until it is driven; both are low at power-up.
// RT    safe, O(1).
#pragma once

#include <array>
#include <optional>

#include "io/connector.hpp"
#include "io/standin/config.hpp"

namespace stillrotor::io::standin {

class SupplyLines {
 public:
  explicit SupplyLines(const StandinScaling& s) noexcept
      : has_contactor_(s.closes_contactor), on_V_(s.chopper_on_V), off_V_(s.chopper_off_V) {}

  bool has_contactor() const noexcept { return has_contactor_; }
  bool has_chopper() const noexcept { return on_V_ > 0.0; }

  void close_contactor(bool closed) noexcept { contactor_.wanted = level(closed); }
  void watch(double bus_V) noexcept {
    if (bus_V > on_V_) chopper_.wanted = Level::high;
    if (bus_V < off_V_) chopper_.wanted = Level::low;
  }
  /// Both outputs to that level: low at power-up, released without supply.
  void rest(Level at) noexcept { contactor_.wanted = chopper_.wanted = at; }

  /// Any output at all.
  bool fitted() const noexcept { return has_contactor() || has_chopper(); }
  /// The next output that is not as wanted; driven by the caller at once.
  std::optional<Edge> due(Time now) noexcept {
    if (has_contactor_ && contactor_.stands != contactor_.wanted)
      return Edge{now, line::contactor, contactor_.stands = contactor_.wanted};
    if (has_chopper() && chopper_.stands != chopper_.wanted)
      return Edge{now, line::brake_chopper, chopper_.stands = chopper_.wanted};
    return {};
  }

 private:
  struct Output {
    Level wanted = Level::released, stands = Level::released;
  };
  static constexpr Level level(bool high) noexcept { return high ? Level::high : Level::low; }

  bool has_contactor_;
  double on_V_, off_V_;
  Output contactor_, chopper_;
};

/// Watches a link being charged: done when in one stretch of 50 ms the bus has risen by less than
/// 1 % of itself. By hand: that leaves less than 1 % up to a time constant of 70 ms, and a tenth up
/// to 500 ms.
class PreCharge {
 public:
  void begin(Time now) noexcept { stretch_ends_ = now + stretch, before_V_ = 0.0; }
  /// To be asked again and again.
  bool done(Time now, double bus_V) noexcept {
    if (now < stretch_ends_) return false;
    const bool still = bus_V > least_V && bus_V - before_V_ < 0.01 * bus_V;
    stretch_ends_ = now + stretch;
    before_V_ = bus_V;
    return still;
  }

 private:
  static constexpr Time stretch{50'000'000'000};
  static constexpr double least_V = 3.0;
  Time stretch_ends_{};
  double before_V_ = 0.0;
};

}  // namespace stillrotor::io::standin
