// A simulated controller in the place of real wires: it lives on the wall clock and sees only what
// the cycle writes, when it writes it. For measuring a computer before anything is wired, and for
// tests. Its own computing time counts as the cycle's time to read.
// Time  as io/wired.hpp. RT: as safe as the controller.
#pragma once

#include <array>
#include <cstddef>

#include "emulator/bench/harness.hpp"
#include "emulator/cycle/cycle.hpp"
#include "io/connector.hpp"
#include "io/wired.hpp"

namespace stillrotor {

class SimulatedWires final : public io::WiredController, private io::World {
 public:
  /// All outlive it. supply_V: what the key switches.
  SimulatedWires(io::SimulatedController&, double supply_V, const Harness&, CycleClock&) noexcept;

  void open() override {}
  void arm(std::int64_t monotonic_ns) override { armed_ns_ = monotonic_ns; }
  void read(io::EdgeBatch&) noexcept override;
  bool write(const io::WireOutputs&) noexcept override;
  void make_safe() noexcept override {}
  void close() noexcept override {}
  io::WireCounts counts() const noexcept override { return counts_; }

 private:
  void drive(const io::Edge&) noexcept override;
  double volts(io::ChannelId channel, io::Time) noexcept override {
    return shown_.volts[io::index(channel)];
  }
  io::Level level(io::LineId, io::Time) noexcept override;
  void text(io::Time, std::string_view) noexcept override {}

  bool alive() const noexcept { return powered_ && controller_.health() == io::Health::running; }
  std::int64_t now_ps() noexcept { return 1000 * (clock_.now_ns() - armed_ns_); }
  void switch_supply(bool on) noexcept;

  io::SimulatedController& controller_;
  const double supply_V_;
  const Harness& harness_;
  CycleClock& clock_;
  std::int64_t armed_ns_ = 0;
  std::int64_t reached_ps_ = 0;  // by the controller
  bool powered_ = false;
  io::WireOutputs shown_;
  std::array<io::Edge, 1024> driven_;  // not yet read
  std::size_t driven_count_ = 0;
  io::WireCounts counts_;
};

}  // namespace stillrotor
