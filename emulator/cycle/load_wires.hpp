// Wires that carry what a drive's controller would: six gates of centre-aligned PWM at a fixed
// duty, with dead time. A load for measuring a computer; nothing is wired, and nothing reacts. Time
// as io/wired.hpp. RT: safe.
#pragma once

#include <cstdint>

#include "emulator/cycle/cycle.hpp"
#include "io/wired.hpp"

namespace stillrotor {

class LoadWires final : public io::WiredController {
 public:
  /// clock outlives it. pwm_Hz: 1 Hz to 1 MHz.
  LoadWires(double pwm_Hz, CycleClock& clock) noexcept
      : period_ps_(static_cast<std::int64_t>(1e12 / pwm_Hz)), clock_(clock) {}

  void open() override {}
  void arm(std::int64_t monotonic_ns) override { armed_ns_ = monotonic_ns; }
  void read(io::EdgeBatch&) noexcept override;
  bool write(const io::WireOutputs&) noexcept override { return true; }
  void make_safe() noexcept override {}
  void close() noexcept override {}
  io::WireCounts counts() const noexcept override { return counts_; }

 private:
  io::Edge edge(std::int64_t number) const noexcept;

  std::int64_t period_ps_;
  CycleClock& clock_;
  std::int64_t armed_ns_ = 0, next_ = 0;
  io::WireCounts counts_;
};

}  // namespace stillrotor
