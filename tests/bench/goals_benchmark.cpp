// The speed this project promises, case by case, in one table: whole runs with the record on, and
// the plant alone, as a real-time cycle would call it.
//
// x_real_time  seconds of the run per second of processor time, all threads together; the judge's
//              time after the run is a column of its own. All on one core.
// yardstick    a toy in this same program (Runge-Kutta of a rotating vector): what is slow because
//              the computer is slow or busy shows in it too, so ratios to it can be compared
//              between computers and days.
// Usage: stillrotor_bench_goals [seconds of each run, default 4 [plant | part of a run's name
// [once]]]
//        With a second word only the plant's tables, or only the runs so named; with a third the
//        first of these a single time and nothing else, for a tool that counts instructions
//        (count_instructions.sh).
#include <fmt/core.h>
#include <sched.h>
#include <sys/resource.h>
#include <time.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdlib>
#include <exception>
#include <filesystem>
#include <string>
#include <string_view>
#include <vector>

#include "emulator/handover/no_sink.hpp"
#include "emulator/judge/judge.hpp"
#include "emulator/record/record_reader.hpp"
#include "emulator/record/recorder.hpp"
#include "tests/emulator/virtual_time/support.hpp"

namespace {

using namespace stillrotor;
using namespace stillrotor::test;

double clock_s(clockid_t which) noexcept {
  timespec t{};
  clock_gettime(which, &t);
  return static_cast<double>(t.tv_sec) + 1e-9 * static_cast<double>(t.tv_nsec);
}
double process_s() noexcept { return clock_s(CLOCK_PROCESS_CPUTIME_ID); }
double wall_s() noexcept { return clock_s(CLOCK_MONOTONIC); }

/// Nanoseconds of one Runge-Kutta step of dx/dt = -a x - b y, dy/dt = b x - a y. Best of many.
double yardstick_ns() {
  constexpr int steps = 20'000;
  double best_s = 1e9, x = 1.0, y = 0.0;
  for (int round = 0; round < 50; ++round) {
    const double from_s = wall_s();
    for (int k = 0; k < steps; ++k) {
      constexpr double h = 1e-3, a = 0.1, b = 1.0;
      const auto fx = [](double u, double v) { return -a * u - b * v; };
      const auto fy = [](double u, double v) { return b * u - a * v; };
      const double x1 = fx(x, y), y1 = fy(x, y);
      const double xa = x + 0.5 * h * x1, ya = y + 0.5 * h * y1, x2 = fx(xa, ya), y2 = fy(xa, ya);
      const double xb = x + 0.5 * h * x2, yb = y + 0.5 * h * y2, x3 = fx(xb, yb), y3 = fy(xb, yb);
      const double xc = x + h * x3, yc = y + h * y3, x4 = fx(xc, yc), y4 = fy(xc, yc);
      x += h / 6.0 * (x1 + 2.0 * (x2 + x3) + x4);
      y += h / 6.0 * (y1 + 2.0 * (y2 + y3) + y4);
    }
    best_s = std::min(best_s, wall_s() - from_s);
  }
  if (!(std::abs(x + y) < 2.0)) std::abort();  // it is used, so it is computed
  return best_s / steps * 1e9;
}

// ---- whole runs

struct RunCase {
  const char* name;
  const char* bench;
  std::vector<std::string> overrides;
  double goal;            // x_real_time; 0: share_of_first says
  double share_of_first;  // of the first case's speed
};

const std::vector<RunCase>& run_cases() {
  // The shipped benches; their cart is empty, so that they come to speed within a second.
  static const std::vector<RunCase> cases{
      {"sine, field-oriented, 20 kHz",
       "orchard-cart-mid",
       {"controller.pwm_frequency=20 kHz", "controller.expects.pwm_frequency=20 kHz"},
       60.0,
       0.0},
      {"the same in phase quantities",
       "orchard-cart-mid",
       {"controller.pwm_frequency=20 kHz", "controller.expects.pwm_frequency=20 kHz",
        "machine.resistance_factor.U=1.001"},
       0.0,
       0.5},
      {"saturation, heat, every sensor",
       "orchard-cart-mid-full",
       {"controller.pwm_frequency=20 kHz", "controller.expects.pwm_frequency=20 kHz"},
       0.0,
       0.6},
      {"sine, field-oriented, 100 kHz",
       "orchard-cart-mid",
       {"controller.pwm_frequency=100 kHz", "controller.expects.pwm_frequency=100 kHz",
        "controller.dead_time=300 ns", "controller.expects.dead_time=300 ns"},
       20.0,
       0.0},
      {"six-step, chopped, floating leg", "orchard-cart-hub-stand-in", {}, 60.0, 0.0},
      {"Cortex-M4F, field-oriented, 20 kHz", "orchard-cart-mid-m4", {}, 20.0, 0.0},
      {"the same with a main loop that polls",
       "orchard-cart-mid-m4",
       {"controller.firmware=" STILLROTOR_BUILD_DIR "/firmware/orchard_foc_m4_polling.elf"},
       6.0,
       0.0},
      {"the same with one that computes",
       "orchard-cart-mid-m4",
       {"controller.firmware=" STILLROTOR_BUILD_DIR "/firmware/orchard_foc_m4_busy.elf"},
       6.0,
       0.0},
  };
  return cases;
}

/// Processor time of a run, of the same run with nothing recorded, and of the judge.
struct Cost {
  double model_s = 0.0, run_s = 0.0, unrecorded_s = 0.0, judge_s = 0.0;
  std::uint64_t gate_edges = 0, sensor_edges = 0;
};

Bench bench_of(const RunCase& what) {
  std::vector<std::string> overrides = what.overrides;
  overrides.insert(overrides.end(), {"load.cart_mass=15 kg", "record.rate=20 kHz"});
  return load_bench(STILLROTOR_SOURCE_DIR "/configs/benches/" + std::string(what.bench) + ".yaml",
                    overrides, STILLROTOR_BUILD_DIR);
}

Scenario scenario_of(double lasts_s) {
  return drive_off(static_cast<std::int64_t>(lasts_s * static_cast<double>(second)), 2.4);
}

RunOutcome recorded_run(const Bench& bench, const Scenario& scenario,
                        const std::filesystem::path& folder) {
  RecordHeader header;
  header.rate_Hz = bench.record_rate_Hz;
  Recorder recorder(folder, header);
  const RunOutcome outcome = run(bench, scenario, recorder);
  recorder.finish(outcome.end_ps);
  return outcome;
}

/// The best of three: what disturbs only ever adds.
Cost cost_of(const RunCase& what, double lasts_s, const std::filesystem::path& folder) {
  const Bench bench = bench_of(what);
  const Scenario scenario = scenario_of(lasts_s);
  Cost best;
  const auto keep_least = [](double& kept, double found) {
    kept = kept == 0.0 ? found : std::min(kept, found);
  };
  for (int round = 0; round < 3; ++round) {
    const double begin_s = process_s();
    NoSink nowhere;
    run(bench, scenario, nowhere);
    const double from_s = process_s();
    const RunOutcome outcome = recorded_run(bench, scenario, folder);
    const double ran_s = process_s();
    if (judge(RecordReader(folder), scenario).limits.empty()) std::abort();
    keep_least(best.unrecorded_s, from_s - begin_s);
    keep_least(best.run_s, ran_s - from_s);
    keep_least(best.judge_s, process_s() - ran_s);
    // A run of its own has a folder of its own: to empty an old record is none of its cost.
    for (const auto& left : std::filesystem::directory_iterator(folder))
      std::filesystem::remove(left.path());
    best.model_s = static_cast<double>(outcome.end_ps) * 1e-12;
    best.gate_edges = outcome.gate_edges;
    best.sensor_edges = outcome.sensor_edges;
  }
  return best;
}

std::filesystem::path scratch_folder() {
  auto folder = std::filesystem::temp_directory_path() /
                ("stillrotor-goals-benchmark-" + std::to_string(getpid()));
  std::filesystem::create_directories(folder);
  return folder;
}

void run_once(double lasts_s, std::string_view name) {
  const auto folder = scratch_folder();
  for (const RunCase& one : run_cases()) {
    if (std::string_view(one.name).find(name) == std::string_view::npos) continue;
    const RunOutcome outcome = recorded_run(bench_of(one), scenario_of(lasts_s), folder);
    fmt::print("{}: {} gate edges, {} sensor edges\n", one.name, outcome.gate_edges,
               outcome.sensor_edges);
    break;
  }
  std::filesystem::remove_all(folder);
}

void table_of_runs(double lasts_s, double yardstick, std::string_view only) {
  const auto folder = scratch_folder();
  const char* const head = "{:<33}{:>7}{:>6}{:>9}{:>9}{:>8}{:>10}{:>10}{:>11}{:>8}\n";
  fmt::print(fmt::runtime(head), "whole run, record on", "x real", "goal", "run", "record's",
             "judge", "gate", "sensor", "run, ns a", "yard-");
  fmt::print(fmt::runtime(head), "", "time", "", "ms/s", "ms/s", "ms/s", "edges/s", "edges/s",
             "gate edge", "sticks");
  double first = 0.0;
  for (const RunCase& one : run_cases()) {
    if (std::string_view(one.name).find(only) == std::string_view::npos) continue;
    const Cost cost = cost_of(one, lasts_s, folder);
    if (first == 0.0) first = cost.model_s / cost.run_s;
    const double goal = one.goal > 0.0 ? one.goal : one.share_of_first * first;
    const double edge_ns = cost.run_s * 1e9 / static_cast<double>(cost.gate_edges);
    const auto ms_per_s = [&](double s) { return s * 1e3 / cost.model_s; };
    fmt::print(
        "{:<33}{:>7.1f}{:>6.1f}{:>9.2f}{:>9.2f}{:>8.2f}{:>10.0f}{:>10.0f}{:>11.0f}{:>8.1f}\n",
        one.name, cost.model_s / cost.run_s, goal, ms_per_s(cost.run_s),
        ms_per_s(cost.run_s - cost.unrecorded_s), ms_per_s(cost.judge_s),
        static_cast<double>(cost.gate_edges) / cost.model_s,
        static_cast<double>(cost.sensor_edges) / cost.model_s, edge_ns, edge_ns / yardstick);
  }
  std::filesystem::remove_all(folder);
}

// ---- the plant alone

plant::DriveParameters mid_plant() {
  plant::DriveParameters p = mid_bench().drive;
  p.dc_link = {.capacitance_F = 3.3e-3, .series_resistance_ohm = 6e-3};
  p.step_max_s = 30e-6;
  return p;
}

/// Gates as a modulator with dead time moves them: 12 edges a 50 us period.
struct GateEdge {
  std::int64_t at_ps;
  plant::Switch which;
  bool on;
};
std::vector<GateEdge> one_period() {
  std::vector<GateEdge> edges;
  constexpr double duty[3] = {0.62, 0.47, 0.38};
  for (int leg = 0; leg < 3; ++leg) {
    const auto high = static_cast<plant::Switch>(2 * leg),
               low = static_cast<plant::Switch>(2 * leg + 1);
    const auto rise = static_cast<std::int64_t>(25e6 * (1.0 - duty[leg]));
    const auto fall = static_cast<std::int64_t>(25e6 * (1.0 + duty[leg]));
    edges.insert(
        edges.end(),
        {{rise, low, false}, {rise + us, high, true}, {fall, high, false}, {fall + us, low, true}});
  }
  std::stable_sort(edges.begin(), edges.end(),
                   [](const GateEdge& a, const GateEdge& b) { return a.at_ps < b.at_ps; });
  return edges;
}

void advance_to(plant::Drive& drive, std::int64_t until_ps, plant::SegmentObserver* observer) {
  while (drive.advance(until_ps, observer).edge) {
  }
}

void play_period(plant::Drive& drive, const std::vector<GateEdge>& edges, std::int64_t from_ps) {
  for (const GateEdge& edge : edges) {
    advance_to(drive, from_ps + edge.at_ps, nullptr);
    drive.set_switch(edge.which, edge.on);
  }
  advance_to(drive, from_ps + 50 * us, nullptr);
}

/// A turning machine whose three low switches are on.
plant::Drive turning(double speed_rad_s) {
  plant::Drive drive(mid_plant());
  plant::StartState start;
  start.omega_m_rad_s = speed_rad_s;
  drive.start(start);
  drive.hold_speed_rad_s({speed_rad_s, 0.0});
  for (const plant::Switch low : {plant::Switch::UL, plant::Switch::VL, plant::Switch::WL})
    drive.set_switch(low, true);
  return drive;
}

/// How often the system has taken the processor from this thread.
long times_switched_out() {
  rusage usage{};
  getrusage(RUSAGE_THREAD, &usage);
  return usage.ru_nivcsw;
}

double cycle_us(plant::Drive& drive, const std::vector<GateEdge>& edges, std::int64_t from_ps) {
  const double from_s = wall_s();
  play_period(drive, edges, from_ps);
  return (wall_s() - from_s) * 1e6;
}

void print_cycles(const char* what, std::vector<double> us_a_cycle, const std::string& remark) {
  std::sort(us_a_cycle.begin(), us_a_cycle.end());
  const auto at = [&](double share) {
    return us_a_cycle[static_cast<std::size_t>(share * static_cast<double>(us_a_cycle.size() - 1))];
  };
  fmt::print("{:<33}{:>8.2f}{:>8.2f}{:>8.2f}{:>8.2f}   {}\n", what, at(0.5), at(0.99), at(0.9999),
             at(1.0), remark);
}

/// As the computer lets them go, and what the plant itself needs: the same second over and over, of
/// each cycle the least. What somebody else takes of a cycle he does not take of the same one
/// again.
void table_of_cycles() {
  constexpr std::size_t cycles_of_second = 20'000, rounds = 10;
  constexpr double suspicious_us = 10.0;
  const auto edges = one_period();
  std::vector<double> us_a_cycle, least_us(cycles_of_second, 1e9);
  us_a_cycle.reserve(rounds * cycles_of_second);
  long switched_out = times_switched_out();
  int not_counted = 0;
  for (std::size_t round = 0; round < rounds; ++round) {
    plant::Drive drive = turning(100.0);
    std::int64_t now_ps = 0;
    for (std::size_t k = 0; k < cycles_of_second; ++k, now_ps += 50 * us) {
      const double took_us = cycle_us(drive, edges, now_ps);
      least_us[k] = std::min(least_us[k], took_us);
      // A cycle in which somebody else had the processor says nothing about the plant.
      if (took_us > suspicious_us && times_switched_out() != switched_out) {
        switched_out = times_switched_out();
        ++not_counted;
        continue;
      }
      us_a_cycle.push_back(took_us);
    }
  }
  fmt::print("\n{:<33}{:>8}{:>8}{:>8}{:>8}\n", "plant, cycle of 50 us, in us", "p50", "p99",
             "p99.99", "max");
  print_cycles("12 gate edges a cycle", std::move(us_a_cycle),
               fmt::format("{} switched out, left out", not_counted));
  print_cycles("the same, least of 10 times each", std::move(least_us), "goal p99.99 3");
}

class Counter final : public plant::SegmentObserver {
 public:
  void on_segment(const plant::Segment&) noexcept override { ++segments; }
  int segments = 0;
};

/// Nanoseconds that advancing from a state by span_ps takes; best of many rounds.
double replay_ns(plant::Drive& drive, const plant::DriveState& from, std::int64_t span_ps) {
  constexpr int repeats = 1000;
  double best_s = 1e9;
  for (int round = 0; round < 100; ++round) {
    const double from_s = wall_s();
    for (int k = 0; k < repeats; ++k) {
      drive.restore(from);
      drive.advance(from.time_ps + span_ps);
    }
    best_s = std::min(best_s, wall_s() - from_s);
  }
  return best_s / repeats * 1e9;
}

/// A step with nothing in it, and one in which the last diode current dies out.
void table_of_segments(double yardstick) {
  plant::Drive drive = turning(100.0);
  advance_to(drive, 3 * ms, nullptr);
  const plant::DriveState conducting = drive.state();
  const double restore_ns = replay_ns(drive, conducting, 0);
  const double without_ns = replay_ns(drive, conducting, 2 * us) - restore_ns;

  // Let go of the gates; stop 1 us short of the first change that comes by itself.
  drive.restore(conducting);
  for (const plant::Switch low : {plant::Switch::UL, plant::Switch::VL, plant::Switch::WL})
    drive.set_switch(low, false);
  const auto legs = [&] {
    const plant::Conduction* leg = drive.state().leg;
    return std::array{leg[0], leg[1], leg[2]};
  };
  const auto before = legs();
  plant::DriveState earlier = drive.state();
  while (legs() == before) {
    earlier = drive.state();
    drive.advance(earlier.time_ps + us);
  }
  drive.restore(earlier);
  Counter counter;
  drive.advance(earlier.time_ps + us, &counter);
  const double with_ns = replay_ns(drive, earlier, us) - restore_ns;
  fmt::print("\n{:<34}{:>8}{:>8}{:>12}\n", "plant, one segment", "ns", "goal", "yardsticks");
  fmt::print("{:<34}{:>8.0f}{:>8}{:>12.1f}\n", "without event", without_ns, 50,
             without_ns / yardstick);
  fmt::print("{:<34}{:>8.0f}{:>8}{:>12.1f}   ({} segments, one of them ends at the event)\n",
             "with event", with_ns, 300, with_ns / yardstick, counter.segments);
}

/// The goals are for one core: the recorder's thread shares it.
void stay_on_one_core() {
  cpu_set_t one;
  CPU_ZERO(&one);
  CPU_SET(static_cast<std::size_t>(std::max(0, sched_getcpu())), &one);
  if (sched_setaffinity(0, sizeof one, &one) != 0)
    fmt::print("could not stay on one core: times are of all that were used\n");
}

void print_tables(double lasts_s, std::string_view only, bool once) {
  if (once) return run_once(lasts_s, only);
  const double yardstick = yardstick_ns();
  fmt::print("yardstick: {:.2f} ns a step of the toy\n\n", yardstick);
  if (only != "plant") table_of_runs(lasts_s, yardstick, only);
  if (!only.empty() && only != "plant") return;
  table_of_cycles();
  table_of_segments(yardstick);
}

}  // namespace

int main(int argc, char** argv) {
  const double lasts_s = argc > 1 ? std::atof(argv[1]) : 4.0;
  if (!(lasts_s >= 0.1)) {
    fmt::print(
        stderr,
        "usage: {} [seconds of each run, at least 0.1 [plant | part of a run's name [once]]]\n",
        argv[0]);
    return 2;
  }
  stay_on_one_core();
  try {
    print_tables(lasts_s, argc > 2 ? argv[2] : "", argc > 3);
  } catch (const std::exception& e) {  // firmware that has not been built, a full disk
    fmt::print(stderr, "{}\n", e.what());
    return 1;
  }
  return 0;
}
