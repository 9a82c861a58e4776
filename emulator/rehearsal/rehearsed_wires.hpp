// A simulated controller behind a route of wires, in virtual time: what io/wired.hpp asks of real
// wires, but when it is what o'clock is said (stand_at), and nothing waits.
//
// The controller lives on its own time and runs, at each read, up to that moment, with what stood
// on its wires when it stood there.
// Out    a write reaches the lines write_s later, all at once. Volts take the converter: one frame
//        after the other, delay_s each, rounded to its steps; a frame that finds the one before
//        still on its way waits, and where another comes meanwhile it is never shown (counted:
//        late_transfers).
// In     incoming_edges.hpp.
// Text   that the controller sends has no wire here.
#pragma once

#include <array>
#include <cstdint>
#include <deque>
#include <optional>
#include <string>

#include "emulator/rehearsal/incoming_edges.hpp"
#include "emulator/rehearsal/route.hpp"
#include "emulator/virtual_time/controller_stop.hpp"
#include "emulator/virtual_time/wiring.hpp"
#include "io/connector.hpp"
#include "io/wired.hpp"

namespace stillrotor {

class RehearsedWires final : public io::WiredController, private io::World {
 public:
  /// The controller outlives it. seed: of the jitter.
  RehearsedWires(io::SimulatedController&, double supply_V, const Harness&, const RehearsedRoute&,
                 std::uint64_t seed);

  void stand_at(std::int64_t now_ps) noexcept { now_ps_ = now_ps; }

  void open() override {}
  void arm(std::int64_t) override {}
  void read(io::EdgeBatch&) noexcept override;
  bool write(const io::WireOutputs&) noexcept override;
  void make_safe() noexcept override {}
  void close() noexcept override {}
  io::WireCounts counts() const noexcept override;

  /// The first thing that stopped it; running: nothing did. It let go of its lines then.
  io::Health health() const noexcept { return health_; }
  const std::string& diagnosis() const noexcept { return diagnosis_; }
  /// Edges that were lost on the way, told or not.
  std::uint64_t gone() const noexcept { return in_.gone(); }

 private:
  struct Frame {
    std::int64_t at_ps = 0;  // there
    std::array<double, io::channel_count> volts{};
  };
  struct Levels {
    std::int64_t at_ps = 0;
    std::uint32_t high = 0, released = ~0U;
    bool powered = false;
  };

  void drive(const io::Edge&) noexcept override;
  double volts(io::ChannelId, io::Time) noexcept override;
  io::Level level(io::LineId, io::Time) noexcept override;
  void text(io::Time, std::string_view) noexcept override {}

  void run_to(std::int64_t) noexcept;
  void show(const Levels&) noexcept;
  void switch_supply(bool on) noexcept;
  void let_go() noexcept;
  void stop(io::Health, std::string why) noexcept;
  void send(const std::array<double, io::channel_count>&) noexcept;

  io::SimulatedController& controller_;
  const double supply_V_;
  const Wiring wiring_;  // polarity and pulls of what it drives
  const RehearsedRoute route_;
  const std::int64_t write_ps_, frame_ps_;
  IncomingEdges in_;

  std::int64_t now_ps_ = 0, reached_ps_ = 0, powered_ps_ = -1;
  bool alive_ = false;
  std::uint32_t on_ = 0;  // by line: what it drives
  Standstill standstill_;
  Levels shown_;
  std::deque<Levels> levels_;  // on their way
  std::deque<Frame> frames_;   // the first is shown; two more at most, one on its way, one waiting
  std::uint64_t late_frames_ = 0, frames_sent_ = 0;
  io::Health health_ = io::Health::running;
  std::string diagnosis_;
};

}  // namespace stillrotor
