// The bench's lines while something is measured at them, outside a run: levels are held until they
// are changed, the kick goes on, and what the other side does is kept.
//
// Time    since arm(): ns for what the bench does, io::Time for the stamps of what comes in.
// Errors  std::runtime_error where the wires fail or the emergency stop opens; Interrupted.
// Thread  one, from arm() on. The wires are open, and their owner makes them safe (open_wires.hpp).
#pragma once

#include <atomic>
#include <cstdint>
#include <memory>
#include <stdexcept>
#include <vector>

#include "emulator/cycle/cycle_clock.hpp"
#include "io/wired.hpp"

namespace stillrotor {

/// Somebody asked for a stop; nothing was finished.
class Interrupted : public std::runtime_error {
 public:
  Interrupted() : std::runtime_error("stopped before the end; outputs safe") {}
};

class HeldLines {
 public:
  /// All outlive it. kick_ns: the period in which an external watchdog expects its kick; stop:
  /// nullptr, or set from a signal handler; turns: nullptr, or counts for a watchdog here.
  HeldLines(io::WiredController&, CycleClock&, std::int64_t kick_ns,
            const std::atomic<bool>* stop = nullptr, std::atomic<std::uint64_t>* turns = nullptr);

  /// Every line is released and every channel at 0 V.
  void arm();
  std::int64_t now_ns() noexcept { return clock_.now_ns() - armed_ns_; }

  // Take effect with the next write.
  void hold(io::LineId, io::Level) noexcept;
  void hold(io::ChannelId channel, double volts) noexcept {
    outputs_.volts[io::index(channel)] = volts;
  }
  void release_all() noexcept { outputs_.released = ~0U; }

  struct Write {
    std::int64_t called_ns = 0, returned_ns = 0;
  };
  Write write();

  /// Asleep, but for the kicks and for what comes in.
  void wait_until(std::int64_t ns);
  void wait(std::int64_t ns) { wait_until(now_ns() + ns); }
  /// For loops that never wait: a kick where it is due, and what has come in is fetched.
  void turn();

  /// What has come since it was last asked, in the order in which it came.
  std::vector<io::Edge> take();
  io::WireCounts counts() const noexcept { return controller_.counts(); }

 private:
  void fetch();

  io::WiredController& controller_;
  CycleClock& clock_;
  const std::int64_t kick_ns_;
  const std::atomic<bool>* stop_;
  std::atomic<std::uint64_t>* turns_;
  std::int64_t armed_ns_ = 0, kicked_ns_ = 0;
  io::WireOutputs outputs_;
  std::unique_ptr<io::EdgeBatch> batch_ = std::make_unique<io::EdgeBatch>();
  std::vector<io::Edge> came_;
};

}  // namespace stillrotor
