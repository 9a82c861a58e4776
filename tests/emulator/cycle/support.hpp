// Wires that follow a script, and a clock that a test turns by hand.
#pragma once

#include <algorithm>
#include <atomic>
#include <functional>
#include <string>
#include <utility>
#include <vector>

#include "emulator/cycle/cycle.hpp"
#include "io/wired.hpp"
#include "tests/emulator/virtual_time/support.hpp"

namespace stillrotor::test {

inline constexpr std::int64_t us_ns = 1000, ms_ns = 1000 * us_ns;

/// Sleeps at once to where it should, and then as much longer as `late_ns` says. Every look at the
/// clock costs `look_ns`.
class HandClock final : public CycleClock {
 public:
  std::int64_t now_ns() noexcept override { return now += look_ns; }
  void sleep_until(std::int64_t ns) noexcept override {
    now = std::max(now, ns) + (late_ns ? late_ns(ns) : 0);
  }
  std::int64_t now = 0, look_ns = 0;
  std::function<std::int64_t(std::int64_t due_ns)> late_ns;
};

/// Brings its edges at the first read at or after their stamp and `transport_ns` of the clock, and
/// keeps what was written.
class ScriptedWires final : public io::WiredController {
 public:
  explicit ScriptedWires(CycleClock& clock) : clock_(clock) {}

  void edge(std::int64_t at_ps, io::LineId line, bool on) {
    script.push_back({io::Time(at_ps), line, on ? io::Level::high : io::Level::low});
  }

  void open() override { opened = true; }
  void arm(std::int64_t ns) override { armed_ns_ = ns; }
  void read(io::EdgeBatch& batch) noexcept override {
    const std::int64_t now_ps = 1000 * (clock_.now_ns() - armed_ns_ - transport_ns);
    for (; next_ < script.size() && script[next_].at.count() <= now_ps; ++next_) {
      if (batch.edge_count == io::EdgeBatch::most_edges) return;
      batch.edges[batch.edge_count++] = script[next_];
      ++counts_.edges;
    }
    for (; next_gap_ < gaps.size() && gaps[next_gap_].to.count() <= now_ps; ++next_gap_) {
      batch.gaps[batch.gap_count++] = gaps[next_gap_];
      ++counts_.gaps;
    }
  }
  bool write(const io::WireOutputs& outputs) noexcept override {
    if (safe) return true;
    ++writes;
    latest = outputs;
    if (on_write) on_write(outputs);
    return writes != fails_at_write;
  }
  io::BenchInputs bench_inputs() noexcept override {
    if (stop_opens_after != 0 && writes >= stop_opens_after) inputs.stop_circuit = io::Sensed::off;
    return inputs;
  }
  void make_safe() noexcept override { safe = true; }
  void close() noexcept override { closed = true; }
  io::WireCounts counts() const noexcept override { return counts_; }

  bool reads_high(io::LineId line) const { return (latest.high >> io::index(line) & 1U) != 0; }
  bool is_released(io::LineId line) const { return (latest.released >> io::index(line) & 1U) != 0; }

  std::vector<io::Edge> script;
  std::vector<io::Gap> gaps;
  std::int64_t transport_ns = 0;
  std::function<void(const io::WireOutputs&)> on_write;
  std::uint64_t writes = 0, fails_at_write = 0, stop_opens_after = 0;
  io::BenchInputs inputs;
  io::WireOutputs latest;
  std::atomic<bool> safe{false};
  bool opened = false, closed = false;

 private:
  CycleClock& clock_;
  std::int64_t armed_ns_ = 0;
  std::size_t next_ = 0, next_gap_ = 0;
  io::WireCounts counts_;
};

/// Centre-aligned PWM of three legs at 10 kHz with 2 us of dead time, at a standing field.
inline std::vector<io::Edge> pwm(std::int64_t lasts_ps) {
  constexpr std::int64_t period = 100 * us, dead = 2 * us;
  constexpr std::int64_t on_time[3] = {54 * us, 50 * us, 48 * us};
  std::vector<io::Edge> edges;
  for (std::int64_t t = period; t + period < lasts_ps; t += period)
    for (std::uint16_t leg = 0; leg < 3; ++leg) {
      const std::int64_t rise = t + (period - on_time[leg]) / 2, fall = rise + on_time[leg];
      const io::LineId high{static_cast<std::uint16_t>(2 * leg)},
          low{static_cast<std::uint16_t>(2 * leg + 1)};
      edges.push_back({io::Time(rise - dead), low, io::Level::low});
      edges.push_back({io::Time(rise), high, io::Level::high});
      edges.push_back({io::Time(fall), high, io::Level::low});
      edges.push_back({io::Time(fall + dead), low, io::Level::high});
    }
  std::stable_sort(edges.begin(), edges.end(),
                   [](const io::Edge& a, const io::Edge& b) { return a.at < b.at; });
  return edges;
}

/// One run of the cycle by hand: 100 us, no delay, the scenario's length.
struct CycleRun {
  CycleRun(const Bench& bench_, const Scenario& scenario_) : bench(bench_), scenario(scenario_) {
    plan.period_ns = 100 * us_ns;
    plan.lasts_ps = scenario.lasts_ps;
  }

  void go() {
    WiredBench wired(bench, scenario, *wires_of_run, sink);
    wired.begin();
    end = run_cycle(wired, clock, plan, 0, window, counts);
    wired.end();
    end_ps = wired.world().now_ps();
    gates = wired.gate_report();
    late_gate_edges = gates.cleaning.late;
  }
  std::vector<KeptMark> gaps() const {
    std::vector<KeptMark> found;
    for (const KeptMark& mark : sink.marks)
      if (mark.kind == MarkKind::gap) found.push_back(mark);
    return found;
  }

  Bench bench;
  Scenario scenario;
  HandClock clock;
  ScriptedWires wires{clock};
  io::WiredController* wires_of_run = &wires;
  KeepingSink sink;
  CyclePlan plan;
  CycleWindow window;
  CycleCounts counts;
  CycleEnd end = CycleEnd::complete;
  std::int64_t end_ps = 0;
  GateReport gates;
  std::uint64_t late_gate_edges = 0;
};

}  // namespace stillrotor::test
