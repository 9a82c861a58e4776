// Benches built in code, a scripted controller and a sink that keeps everything: for the tests and
// benchmarks of the scheduler, which need neither files nor a processor simulator.
// The two machines belong to an invented orchard cart.
#pragma once

#include <cmath>
#include <functional>
#include <string>
#include <utility>
#include <vector>

#include "emulator/bench/bench.hpp"
#include "emulator/faults/catalogue.hpp"
#include "emulator/handover/frame.hpp"
#include "emulator/scenario/scenario.hpp"
#include "emulator/scenario/vocabulary.hpp"
#include "emulator/virtual_time/virtual_run.hpp"

namespace stillrotor::test {

inline constexpr std::int64_t us = 1'000'000, ms = 1000 * us, second = 1000 * ms;  // ps

inline void connect_all(Harness& harness) {
  for (auto& line : harness.lines) line.connected = true;
  harness.channels.fill(true);
}

/// Hub machine, 48 V, Halls, six-step stand-in at 16 kHz.
inline Bench hub_bench() {
  Bench bench;
  bench.name = "hub";
  bench.file = "hub.yaml";
  bench.drive.machine = {.pole_pairs = 15,
                         .winding_resistance_ohm = 0.08,
                         .inductance_d_H = 220e-6,
                         .inductance_q_H = 220e-6,
                         .flux_linkage_Wb = 32e-3,
                         .back_emf = plant::trapezoid_harmonics(120.0, 13)};
  bench.drive.shaft = {.inertia_kg_m2 = 0.02, .coulomb_friction_Nm = 0.3};
  bench.drive.hall.fitted = true;
  bench.drive.phase_current = {.kind = plant::CurrentSensing::low_side_shunt, .polarity = -1.0};
  connect_all(bench.harness);
  for (auto line : {io::line::hall_U, io::line::hall_V, io::line::hall_W})
    bench.harness.lines[io::index(line)].pull = Pull::up;
  io::SixStepConfig controller;
  controller.current_limit_A = 40.0;
  bench.backend = "standin";
  bench.controller_kind = "six_step";
  bench.controller = controller;
  return bench;
}

/// Mid machine, 72 V, encoder of 256 lines and Halls, field-oriented stand-in at 16 kHz.
inline Bench mid_bench() {
  Bench bench;
  bench.name = "mid";
  bench.file = "mid.yaml";
  bench.drive.machine = {.pole_pairs = 4,
                         .winding_resistance_ohm = 0.03,
                         .inductance_d_H = 120e-6,
                         .inductance_q_H = 180e-6,
                         .flux_linkage_Wb = 30e-3,
                         .back_emf = {{1, 1.0}}};
  bench.drive.supply = {.voltage_V = 72.0, .resistance_ohm = 30e-3};
  bench.drive.shaft = {.inertia_kg_m2 = 5e-3, .viscous_friction_Nm_s_per_rad = 5e-3};
  bench.drive.hall.fitted = true;
  bench.drive.encoder.fitted = true;
  bench.drive.encoder.lines = 256;
  bench.drive.phase_current = {.kind = plant::CurrentSensing::low_side_shunt, .polarity = -1.0};
  connect_all(bench.harness);
  io::FieldOrientedConfig controller;
  controller.pole_pairs = 4;
  controller.winding_resistance_ohm = 0.03;
  controller.inductance_d_H = 120e-6;
  controller.inductance_q_H = 180e-6;
  controller.flux_linkage_Wb = 30e-3;
  bench.backend = "standin";
  bench.controller_kind = "field_oriented";
  bench.controller = controller;
  return bench;
}

inline Action action(std::int64_t at_ps, ActionKind kind, double value, std::int64_t over_ps = 0) {
  Action a;
  a.at_ps = at_ps;
  a.kind = kind;
  a.value = value;
  a.over_ps = over_ps;
  a.mark = event_name(a);
  a.label = "scripted";
  return a;
}

/// option: the value of the fault's first one, as a scenario compiles it; 0 is leg U.
inline Action fault(std::int64_t at_ps, const Fault& which, double option, bool cleared = false,
                    double second_option = 0.0) {
  Action a = fault_action(which, {{option, second_option}}, cleared);
  a.at_ps = at_ps;
  return a;
}

/// Key on at the start, throttle from idle to the given voltage.
inline Scenario drive_off(std::int64_t lasts_ps, double throttle_V) {
  Scenario scenario;
  scenario.name = "drive off";
  scenario.lasts_ps = lasts_ps;
  scenario.start.key = true;
  scenario.timeline = {action(20 * ms, ActionKind::throttle, throttle_V, 50 * ms)};
  return scenario;
}

struct KeptMark {
  MarkKind kind;
  std::int64_t at_ps;
  std::string name, detail;
  std::int64_t to_ps = 0;  // of a gap
};

/// Keeps everything.
class KeepingSink final : public RunSink {
 public:
  void frame(const Frame& f) noexcept override { frames.push_back(f); }
  void edge(const LineEdge& e) noexcept override { edges.push_back(e); }
  void mark(MarkKind kind, std::int64_t at_ps, std::string_view name, std::string_view detail,
            std::int64_t to_ps) noexcept override {
    marks.push_back({kind, at_ps, std::string(name), std::string(detail), to_ps});
  }
  std::vector<LineEdge> edges_of(io::LineId line) const {
    std::vector<LineEdge> found;
    for (const LineEdge& e : edges)
      if (e.line == io::index(line)) found.push_back(e);
    return found;
  }
  const KeptMark* find(std::string_view name) const {
    for (const KeptMark& m : marks)
      if (m.name == name) return &m;
    return nullptr;
  }

  std::vector<Frame> frames;
  std::vector<LineEdge> edges;
  std::vector<KeptMark> marks;
};

/// Drives and reads at given moments, and notes what it reads and what is delivered. Its
/// instructions take `instruction` ps: run() comes back at the first of their ends past the
/// horizon.
class ScriptedController : public io::SimulatedController {
 public:
  using Task = std::function<void(io::World&, io::Time)>;
  explicit ScriptedController(std::int64_t instruction_ps = 1) : instruction_ps_(instruction_ps) {}

  /// Times must not decrease. drives: run() ends there.
  void at(std::int64_t t_ps, Task task, bool drives = false) {
    tasks_.push_back({t_ps, std::move(task), drives});
  }
  void drive(std::int64_t t_ps, io::LineId line, io::Level level) {
    at(
        t_ps,
        [=](io::World& w, io::Time t) {
          w.drive({t, line, level});
        },
        true);
  }

  void power(double volts, io::Time t, io::World& world) override {
    world_ = &world;
    powered.emplace_back(t.count(), volts);
    now_ps_ = std::max(now_ps_, t.count());
    if (volts == 0.0)
      for (std::uint16_t k = 0; k < io::gate_count; ++k)
        world.drive({t, io::LineId{k}, io::Level::released});
  }
  io::Time run(io::Time horizon) noexcept override {
    while (next_ < tasks_.size() && tasks_[next_].t_ps <= horizon.count()) {
      const Entry& task = tasks_[next_++];
      now_ps_ = std::max(now_ps_, task.t_ps);
      task.what(*world_, io::Time(task.t_ps));
      if (task.drives) return io::Time(now_ps_);
    }
    const std::int64_t steps = (horizon.count() + instruction_ps_ - 1) / instruction_ps_;
    now_ps_ = std::max(now_ps_, steps * instruction_ps_);
    return io::Time(now_ps_);
  }
  void deliver(const io::Edge& edge) noexcept override {
    delivered.push_back(edge);
    if (on_edge) on_edge(edge, *this);
  }
  io::Health health() const noexcept override { return state; }
  std::string_view diagnosis() const noexcept override { return why; }

  std::vector<io::Edge> delivered;
  std::vector<std::pair<std::int64_t, double>> powered;
  std::function<void(const io::Edge&, ScriptedController&)> on_edge;
  io::Health state = io::Health::running;
  std::string why;

 private:
  struct Entry {
    std::int64_t t_ps;
    Task what;
    bool drives;
  };
  std::vector<Entry> tasks_;
  std::size_t next_ = 0;
  std::int64_t instruction_ps_, now_ps_ = 0;
  io::World* world_ = nullptr;
};

inline RunOutcome run(const Bench& bench, const Scenario& scenario, io::SimulatedController& c,
                      RunSink& sink, std::int64_t look_ahead_ps = 100 * us) {
  RunOptions options;
  options.look_ahead_ps = look_ahead_ps;
  return run_virtual(bench, scenario, c, sink, options);
}

inline RunOutcome run(const Bench& bench, const Scenario& scenario, RunSink& sink,
                      std::int64_t look_ahead_ps = 100 * us) {
  const auto controller = io::make_controller(bench.controller);
  return run(bench, scenario, *controller, sink, look_ahead_ps);
}

}  // namespace stillrotor::test
