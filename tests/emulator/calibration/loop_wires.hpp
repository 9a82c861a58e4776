// Joined lines of known latency, jitter, skew and capacity, in a time that a test turns by hand.
#pragma once

#include <algorithm>
#include <array>
#include <cmath>
#include <functional>
#include <random>
#include <vector>

#include "emulator/calibration/held_lines.hpp"
#include "emulator/calibration/loop_wiring.hpp"

namespace stillrotor::test {

/// Every look costs a little, so that loops that wait awake come to their end.
class LookingClock final : public CycleClock {
 public:
  std::int64_t now_ns() noexcept override { return now += 500; }
  void sleep_until(std::int64_t ns) noexcept override { now = std::max(now, ns); }
  std::int64_t now = 0;
};

/// One wire from an output to an input.
struct Joint {
  io::LineId output, input;
  bool inverted = false;
  std::int64_t rise_ns = 3000, fall_ns = 3000;  // of the output
};

/// Wires that are let go stand low.
class LoopWires final : public io::WiredController {
 public:
  LoopWires(LookingClock& clock, std::vector<Joint> joints)
      : joints_(std::move(joints)), clock_(clock) {}

  void open() override {}
  void arm(std::int64_t ns) override { armed_ns_ = ns; }
  bool write(const io::WireOutputs& outputs) noexcept override {
    ++writes;
    kicks += outputs.kick != kick_ ? 1 : 0;
    kick_ = outputs.kick;
    const std::uint32_t high = outputs.high & ~outputs.released;
    driven |= ~outputs.released & ((1U << io::line_count) - 1);
    const std::uint32_t changed = high ^ high_;
    high_ = high;
    for (const Joint& joint : joints_)
      if ((changed >> io::index(joint.output) & 1U) != 0)
        send(joint, (high >> io::index(joint.output) & 1U) != 0);
    if (on_write) clock_.now += on_write(writes);
    return writes != fails_at_write;
  }
  void read(io::EdgeBatch& batch) noexcept override {
    if (stray && clock_.now > next_stray_ns_) {
      next_stray_ns_ = clock_.now + 7'000'000;
      arrivals_.push_back(
          {io::Time(1000 * (clock_.now - armed_ns_)), io::line::gate_WL, io::Level::high});
    }
    std::stable_sort(arrivals_.begin(), arrivals_.end(),
                     [](const io::Edge& a, const io::Edge& b) { return a.at < b.at; });
    std::size_t count = 0;
    const io::Time now(1000 * (clock_.now - armed_ns_));
    while (count < arrivals_.size() && arrivals_[count].at <= now &&
           batch.edge_count < io::EdgeBatch::most_edges)
      batch.edges[batch.edge_count++] = arrivals_[count++];
    arrivals_.erase(arrivals_.begin(), arrivals_.begin() + static_cast<std::ptrdiff_t>(count));
  }
  io::BenchInputs bench_inputs() noexcept override {
    io::BenchInputs inputs;
    if (stop_opens_after != 0 && writes > stop_opens_after) inputs.stop_circuit = io::Sensed::off;
    return inputs;
  }
  void make_safe() noexcept override {}
  void close() noexcept override {}
  io::WireCounts counts() const noexcept override { return counts_; }

  double jitter_ns = 0.0;
  double capacity_per_s =
      0.0;  // edges that come in; 0: all. More fill a queue of 64, then are lost
  bool tells_loss = true;
  std::uint64_t loses_edge = 0;                         // this one, counted from the first
  std::function<std::int64_t(std::uint64_t)> on_write;  // ns that the call takes, by its number
  bool stray = false;                                   // gates.WL moves by itself
  std::uint64_t fails_at_write = 0, stop_opens_after = 0;

  std::uint64_t writes = 0, kicks = 0;
  std::uint32_t driven = 0;  // lines that were not let go all the time

 private:
  void send(const Joint& joint, bool high) noexcept {
    const std::int64_t now = clock_.now - armed_ns_;
    if (capacity_per_s > 0.0) {
      backlog_ = std::max(0.0, backlog_ - capacity_per_s * 1e-9 * static_cast<double>(now - last_));
      last_ = now;
    }
    if (++sent_ == loses_edge || (capacity_per_s > 0.0 && backlog_ > 64.0)) {
      counts_.lost_edges += tells_loss ? 1 : 0;
      return;
    }
    backlog_ += 1.0;
    const double delay_ns =
        static_cast<double>(high ? joint.rise_ns : joint.fall_ns) + jitter_ns * normal_(random_);
    arrivals_.push_back({io::Time(1000 * now + std::llround(1000.0 * delay_ns)), joint.input,
                         high != joint.inverted ? io::Level::high : io::Level::low});
  }

  std::vector<Joint> joints_;
  LookingClock& clock_;
  std::int64_t armed_ns_ = 0, last_ = 0, next_stray_ns_ = 0;
  double backlog_ = 0.0;
  std::uint64_t sent_ = 0;
  std::uint32_t high_ = 0;
  bool kick_ = false;
  std::vector<io::Edge> arrivals_;
  std::mt19937 random_{1};
  std::normal_distribution<double> normal_;
  io::WireCounts counts_;
};

/// Six gates; three Halls, key and brake.
inline Bench loop_bench(bool gates_active_high = true) {
  io::GpiodConfig lines;
  Bench bench;
  for (const io::LineId id :
       {io::line::gate_UH, io::line::gate_UL, io::line::gate_VH, io::line::gate_VL,
        io::line::gate_WH, io::line::gate_WL, io::line::hall_U, io::line::hall_V, io::line::hall_W,
        io::line::key, io::line::brake}) {
    lines.lines[io::index(id)].chip = "gpiochip0";
    lines.lines[io::index(id)].offset = static_cast<int>(io::index(id));
    bench.harness.lines[io::index(id)].connected = true;
    if (io::is_gate(id)) bench.harness.lines[io::index(id)].active_high = gates_active_high;
  }
  bench.backend = "gpiod";
  bench.controller = lines;
  return bench;
}

/// As the plan of loop_bench() wants it.
inline std::vector<Joint> as_planned() {
  return {{io::line::hall_U, io::line::gate_UH},
          {io::line::hall_V, io::line::gate_UL},
          {io::line::hall_W, io::line::gate_VH},
          {io::line::brake, io::line::gate_VL},
          {io::line::key, io::line::gate_WH}};
}

}  // namespace stillrotor::test
