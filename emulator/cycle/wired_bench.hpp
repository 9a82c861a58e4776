// The bench with a controller on real wires: what one turn of the cycle does, in three steps,
// without a clock, so that tests drive it turn by turn. Time  ps since arming; the plant's time is
// the wall's. It stands `delay` behind the newest stamp
//       that can have come in, so that an edge finds the plant where the edge happened. Gate
//       quality (gate_path.hpp) takes its hold out of that delay.
// Lead  cycle.lead: what tells the rotor's position is written as it will be so long after the
//       plant's moment. Currents and all else are the plant's moment.
// RT: everything but constructor and begin() is safe where the controller and the sink are.
#pragma once

#include <cstdint>

#include "emulator/bench/bench.hpp"
#include "emulator/cycle/far_plant_mirror.hpp"
#include "emulator/cycle/gap_notes.hpp"
#include "emulator/gate_quality/filtered_gates.hpp"
#include "emulator/gate_quality/gate_path.hpp"
#include "emulator/scenario/scenario.hpp"
#include "emulator/virtual_time/world.hpp"
#include "io/wired.hpp"

namespace stillrotor {

class WiredBench {
 public:
  /// bench, scenario, controller and sink outlive it. GivenMotion: of a replayed recording. Throws
  /// std::invalid_argument (plant), io::ConfigError (gate_treatment).
  WiredBench(const Bench&, const Scenario&, io::WiredController&, RunSink&, GivenMotion = {});

  /// What is due at time 0; safe outputs are still on the wires.
  void begin() noexcept;
  /// Time 0 is this moment of CLOCK_MONOTONIC. Throws as the controller does.
  void arm(std::int64_t armed_ns);

  // One turn, in this order.
  /// Edges that have come in since the last turn.
  void read() noexcept;
  /// What a person does is taken in, if its time is clock_ps or later: nothing on the wires tells
  /// of so late a time yet.
  void attend(LiveControl& live, std::int64_t clock_ps) noexcept {
    live.publish(world_.now_ps(), clock_ps);
    world_.attend(live, clock_ps);
  }
  /// The plant through them and everything that is due, up to until_ps. Later edges wait.
  void advance(std::int64_t until_ps) noexcept;
  /// Sensors, through harness and wire faults, onto the wires. False: the wires do not follow.
  bool write() noexcept;

  /// Nobody has pressed the emergency stop, as far as one is wired.
  bool may_run() noexcept { return controller_.bench_inputs().stop_circuit != io::Sensed::off; }
  /// Outputs or edges of this stretch do not hold. what: a text that outlives this.
  void distrust(std::int64_t from_ps, std::int64_t to_ps, std::string_view what) noexcept {
    gaps_.note(from_ps, to_ps, what, "");
  }
  void event(std::string_view name, std::string_view detail) noexcept {
    world_.event(world_.now_ps(), name, detail);
  }
  /// Nothing comes any more: what still waits to be said is said.
  void end() noexcept {
    gaps_.say();
    volt_gaps_.say();
  }

  const BenchWorld& world() const noexcept { return world_; }
  const io::WireOutputs& outputs() const noexcept { return outputs_; }
  GateReport gate_report() const noexcept { return gate_path_.report(); }
  /// nullptr: the whole plant is here.
  const FarPlantMirror* mirror() const noexcept { return mirror_ ? &*mirror_ : nullptr; }

 private:
  void take_in(std::size_t known) noexcept;
  void read_averages(std::int64_t until_ps) noexcept;
  void clean(io::Time known_to) noexcept;
  void judge_gates(std::int64_t from_ps) noexcept;
  void judge_pulses(std::int64_t from_ps) noexcept;
  void judge_volts() noexcept;
  void drive(const io::Edge&, std::int64_t until_ps) noexcept;
  void advance_world(std::int64_t until_ps) noexcept;
  void look_at_pins() noexcept;

  const Bench& bench_;
  io::WiredController& controller_;
  BenchWorld world_;
  GapNotes gaps_, volt_gaps_;  // two, for causes that hold side by side
  io::Time delay_;             // of the plant behind the clock
  std::int64_t unshown_ps_;    // so old can volts be that are told to be late
  io::EdgeBatch batch_;        // read, but for the first `done_` not yet acted
  std::size_t done_ = 0;
  GatePath gate_path_;
  std::array<std::uint64_t, 3> missing_{};  // pulses, by leg: as far as they have been said
  std::uint64_t suspects_ = 0;              // of them, and of what may turn out to be none
  std::uint64_t dropped_ = 0;
  std::optional<FilteredGates> filtered_;
  std::optional<FarPlantMirror> mirror_;  // the fast plant is a co-processor's
  io::WireCounts volts_said_;             // as far as they have been said
  BenchWorld::Pins pins_;
  io::WireOutputs outputs_;
  bool powered_ = false;  // by the key: until then nothing may feed the controller
};

}  // namespace stillrotor
