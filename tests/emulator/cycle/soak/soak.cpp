// The wall-clock cycle for as long as asked, with a built-in controller in the place of wires and
// the real recorder behind the hand-over. Nothing that was recorded may be lost on the way; how
// late the cycle was is said, not judged.
//
// The hub bench, six-step stand-in at 16 kHz, 200 us, record at 20 kHz; driver's actions without
// end. Some 5 MB a second in FOLDER while it lasts, removed at the end.
//
// Usage: stillrotor_soak SECONDS [FOLDER]
//        without FOLDER: in the system's for temporary files
// Status 0 nothing was lost; 1 something was, or the run did not come to its end; 2 wrong call.
#include <fmt/core.h>

#include <cstdlib>
#include <filesystem>
#include <string>

#include "emulator/cycle/simulated_wires.hpp"
#include "emulator/cycle/wall_run.hpp"
#include "emulator/record/record_reader.hpp"
#include "emulator/record/recorder.hpp"
#include "tests/emulator/virtual_time/support.hpp"

namespace {

using namespace stillrotor;
using namespace stillrotor::test;
namespace fs = std::filesystem;

class Scratch {
 public:
  explicit Scratch(const fs::path& below) {
    std::string pattern = (below / "stillrotor-soak-XXXXXX").string();
    if (mkdtemp(pattern.data()) == nullptr)
      throw std::runtime_error(pattern + " cannot be made. Name a folder that you may write to.");
    path_ = pattern;
  }
  ~Scratch() {
    std::error_code ignored;
    fs::remove_all(path_, ignored);
  }
  const fs::path& path() const noexcept { return path_; }

 private:
  fs::path path_;
};

/// Passes on to the recorder what comes out of the hand-over, and counts it.
class Counted final : public RunSink {
 public:
  explicit Counted(RunSink& to) : to_(to) {}
  void frame(const Frame& frame) noexcept override {
    out_of_order += frame.at_ps <= latest_ps_;
    latest_ps_ = frame.at_ps;
    ++frames;
    to_.frame(frame);
  }
  void edge(const LineEdge& one) noexcept override { edges({&one, 1}); }
  void edges(std::span<const LineEdge> several) noexcept override {
    edge_count += several.size();
    to_.edges(several);
  }
  void mark(MarkKind kind, std::int64_t at_ps, std::string_view name, std::string_view detail,
            std::int64_t to_ps) noexcept override {
    to_.mark(kind, at_ps, name, detail, to_ps);
  }
  std::uint64_t frames = 0, edge_count = 0, out_of_order = 0;

 private:
  RunSink& to_;
  std::int64_t latest_ps_ = 0;
};

/// Every two seconds from the key on; that makes a controller begin anew which gave up because its
/// Halls came late.
Scenario up_and_down(double seconds) {
  Scenario scenario;
  scenario.name = "up and down";
  scenario.lasts_ps = static_cast<std::int64_t>(seconds * 1e12);
  for (std::int64_t at = 0; at < scenario.lasts_ps; at += 2 * second) {
    scenario.timeline.push_back(action(at, ActionKind::key, 1.0));
    scenario.timeline.push_back(action(at + 100 * ms, ActionKind::throttle, 2.0, 200 * ms));
    scenario.timeline.push_back(action(at + 1700 * ms, ActionKind::throttle, 0.8, 100 * ms));
    scenario.timeline.push_back(action(at + 1900 * ms, ActionKind::key, 0.0));
  }
  return scenario;
}

void print(std::string_view name, const LatencyHistogram& of) {
  const auto us = [&of](double share) { return 1e-3 * static_cast<double>(of.quantile_ns(share)); };
  fmt::print("{:<22} {:>8.1f} {:>8.1f} {:>8.1f} {:>8.1f} {:>9.1f}\n", name, us(0.5), us(0.99),
             us(0.999), us(0.9999), 1e-3 * static_cast<double>(of.max_ns()));
}

int lost = 0;
void same(std::string_view what, std::uint64_t found, std::uint64_t wanted) {
  fmt::print("{:<44} {:>12} of {:>12}{}\n", what, found, wanted, found == wanted ? "" : "  LOST");
  lost += found != wanted;
}

void soak(double seconds, const fs::path& folder) {
  Bench bench = hub_bench();
  bench.cycle.watchdog_periods = 1'000'000;  // nor does its watchdog end it
  const Scenario scenario = up_and_down(seconds);
  const Scratch scratch(folder);
  RecordHeader header;
  header.rate_Hz = bench.record_rate_Hz;
  Recorder recorder(scratch.path(), header);
  Counted counted(recorder);

  MonotonicClock clock;
  const auto controller = io::make_controller(bench.controller);
  SimulatedWires wires(*controller, bench.controller_supply_V, bench.harness, clock);
  WallOptions options;
  options.allow_soft = true;
  options.most_catch_up = 1'000'000;  // a busy computer is late, and goes on
  OpenWires open(wires);
  const auto [run, cycle] = run_wall(bench, scenario, open, counted, options);
  const RecordSummary summary = recorder.finish(run.end_ps);

  fmt::print("{:g} s, {} turns, {} periods missed, {} late writes, {:.0f} % of a core{}\n", seconds,
             cycle.counts.turns, cycle.counts.missed_periods, cycle.counts.late_writes,
             100.0 * run.loop_cpu_s / run.wall_s,
             cycle.missing_rights.empty() ? "" : "; not in real time");
  fmt::print("us                          p50      p99    p99.9   p99.99       max\n");
  print("wake-up late", cycle.counts.wake);
  print("computing a turn", cycle.counts.turn);
  fmt::print("page faults {} and {}, context switches {} and {}\n", cycle.use.minor_faults,
             cycle.use.major_faults, cycle.use.voluntary_switches, cycle.use.involuntary_switches);

  same("came to its end", cycle.end == CycleEnd::complete, 1);
  same("dropped by the hand-over", cycle.dropped.all(), 0);
  same("frames came out of it, or were counted", counted.frames + cycle.dropped.frames,
       static_cast<std::uint64_t>(static_cast<double>(run.end_ps) * 1e-12 * bench.record_rate_Hz +
                                  0.5));
  same("of them out of order", counted.out_of_order, 0);
  same("frames written", summary.frames, counted.frames);
  same("edges written", summary.edges, counted.edge_count);
  if (!summary.failure.empty()) throw std::runtime_error(summary.failure);
  const RecordReader record(scratch.path());
  std::uint64_t edges = 0;
  for (std::uint16_t line = 0; line < io::line_count; ++line) edges += record.edges(line).size();
  same("frames in the record", record.frames(), counted.frames);
  same("edges in the record", edges, counted.edge_count);
  fmt::print("{} gate edges, {} sensor edges; lost on the simulated wires: {}\n", run.gate_edges,
             run.sensor_edges, cycle.wires.lost_edges);
}

}  // namespace

int main(int argc, char** argv) {
  const double seconds = argc > 1 ? std::atof(argv[1]) : 0.0;
  if (!(seconds >= 0.5 && seconds <= 1e6)) {
    fmt::print(stderr,
               "usage: stillrotor_soak SECONDS [FOLDER]; allowed 0.5 to 1000000 seconds.\n");
    return 2;
  }
  try {
    soak(seconds, argc > 2 ? fs::path(argv[2]) : fs::temp_directory_path());
  } catch (const std::exception& error) {
    fmt::print(stderr, "{}\n", error.what());
    return 1;
  }
  return lost == 0 ? 0 : 1;
}
