#include <fmt/core.h>
#include <sys/utsname.h>

#include <algorithm>
#include <cmath>
#include <string>
#include <vector>

#include "emulator/bench/input_error.hpp"
#include "emulator/bench/line_calibration.hpp"
#include "emulator/budget/routes.hpp"
#include "emulator/calibration/loop_measures.hpp"
#include "emulator/calibration/loop_wiring.hpp"
#include "emulator/cli/at_the_wires.hpp"
#include "emulator/cli/check_lines.hpp"
#include "emulator/cli/program.hpp"
#include "emulator/cli/run_folder.hpp"
#include "emulator/cli/stop_signals.hpp"
#include "emulator/cli/table.hpp"

namespace stillrotor {
namespace {

namespace fs = std::filesystem;

std::string line_name(io::LineId line) { return std::string(io::name(line)); }

/// Before anything is measured for half a minute.
void require_place_for(const fs::path& file) {
  const fs::path folder = file.has_parent_path() ? file.parent_path() : ".";
  if (!fs::is_directory(folder))
    throw InputError(fmt::format("{}: there is no folder {}; make it, or name another file.",
                                 file.string(), folder.string()));
  if (fs::exists(file) && !fs::is_regular_file(file))
    throw InputError(fmt::format("{} is no file; name another one.", file.string()));
}

void print_plan(const Bench& bench, std::span<const LoopPair> pairs) {
  fmt::print(
      "Loop-back of {}: the bench listens to itself.\n\n"
      "  ! Unplug the controller from the bench, both ends of every wire of it.\n"
      "  ! The power stage stays disconnected, as always.\n"
      "  ! Join at the bench's side of relays and isolators: a line that carries more than the\n"
      "    inputs stand (a key at pack voltage) must not reach them.\n"
      "  ! Each wire leads through the level shifters that it will have, with a resistor in "
      "series.\n"
      "  ! Nothing here is a safety function; local codes and licensed practice decide.\n\n",
      bench.name);
  std::vector<std::vector<std::string>> rows{{"join", "at", "with", "at"}};
  for (const LoopPair& pair : pairs)
    rows.push_back({line_name(pair.output), bench_end(bench.controller, pair.output),
                    line_name(pair.input), bench_end(bench.controller, pair.input)});
  fmt::print("{}", table(rows));
  for (const io::LineId line : unpaired_inputs(bench, pairs))
    fmt::print(
        "  {} has no partner: the bench drives fewer lines than it reads. It is not measured.\n",
        line_name(line));
  fmt::print("\n");
}

std::string kernel() {
  utsname name{};
  uname(&name);
  return fmt::format("{} {} {}", name.sysname, name.release, name.machine);
}

LineCalibration calibration(const Bench& bench, const LoopMeasures& found, bool real_time) {
  LineCalibration c;
  c.bench = bench.name;
  c.date = utc_now("%Y-%m-%dT%H:%M:%SZ");
  c.kernel = kernel();
  c.real_time = real_time;
  c.backend = bench.backend;
  c.route = declared_routes(bench.backend, bench)->lines.name;
  c.edges_in_per_s = found.edges_per_s;
  c.more_not_sent = found.more_not_sent;
  c.stamp_jitter_s = found.jitter_s;
  c.write_s = found.write_s;
  c.loss = found.loss;
  c.wires = bench_ends(bench.controller);
  double middle_s = 0.0;
  for (const LineDelay& line : found.lines)
    middle_s += 0.5 * (line.rise_s + line.fall_s) / static_cast<double>(found.lines.size());
  for (const LineDelay& line : found.lines) {
    const LineCalibration::Skew skew{line.input, line.output, line.rise_s - middle_s,
                                     line.fall_s - middle_s, line.jitter_s};
    if (std::max(std::abs(skew.rise_s), std::abs(skew.fall_s)) > skew_most_s)
      throw MeasurementFailed(fmt::format(
          "{} is {:.3g} us off the others' mean where it rises and {:.3g} us where it falls; "
          "allowed {:g} us. Its slope is slow: a stronger pull-up, a faster shifter, a shorter "
          "wire; "
          "or this computer is too busy: see `stillrotor host`. Nothing was written.",
          io::name(line.input), 1e6 * skew.rise_s, 1e6 * skew.fall_s, 1e6 * skew_most_s));
    c.skew.push_back(skew);
  }
  return c;
}

void print_found(const LineCalibration& c, const LoopMeasures& found) {
  std::vector<std::vector<std::string>> rows{
      {"line", "driven by", "rise, us", "fall, us", "jitter, us rms"}};
  for (const LineCalibration::Skew& skew : c.skew)
    rows.push_back(
        {line_name(skew.input), line_name(skew.output), fmt::format("{:+.3f}", 1e6 * skew.rise_s),
         fmt::format("{:+.3f}", 1e6 * skew.fall_s), fmt::format("{:.3f}", 1e6 * skew.jitter_s)});
  fmt::print("Later than the mean of all, by line:\n{}\n", table(rows));
  fmt::print(
      "  A write of all lines, to the last stamp: {:.3g} us. Stamps jitter by {:.3g} us rms.\n"
      "  Every edge came up to {:.4g} edges/s{}.\n",
      1e6 * c.write_s, 1e6 * c.stamp_jitter_s, c.edges_in_per_s,
      c.more_not_sent ? ", and faster ones could not be sent: the true limit lies above" : "");
  if (c.loss != LossNotice::not_provoked)
    fmt::print("  Beyond that edges were lost, and {} of it.\n",
               c.loss == LossNotice::all_shown ? "the backend told of all"
                                               : "the backend did not tell of all");
  if (found.interrupted > 0)
    fmt::print("  {} of {} writes were interrupted by something else, and left out.\n",
               found.interrupted, found.writes);
  if (!c.real_time)
    fmt::print("  Not measured in real time: the cycle's own figures will be better.\n");
}

}  // namespace

int calibrate_lines(const Bench& bench, const fs::path& file, const LineChecks& options) {
  const bool link = std::holds_alternative<io::LinkConfig>(bench.controller);
  const auto controller = link ? nullptr : io::make_wired_controller(loop_back(bench.controller));
  if (controller == nullptr)
    throw io::ConfigError("controller.backend",
                          fmt::format("backend is {}; allowed with --calibrate: gpiod, polled, "
                                      "which have lines to measure.",
                                      bench.backend));
  const std::vector<LoopPair> pairs = loop_pairs(bench);
  if (pairs.empty())
    throw io::ConfigError("controller.backend",
                          "the bench drives no line that could be joined with one it reads; "
                          "allowed with --calibrate: at least one of the Halls, encoder or "
                          "switches below harness.lines. Add one.");
  require_place_for(file);
  print_plan(bench, pairs);
  require_consent(options.wires_are_set, "controller unplugged, wires joined as listed");

  const StopSignals signals;
  std::vector<std::string> faults;
  LoopMeasures found;
  const LineSession session{options.allow_soft, &signals.asked()};
  bool real_time = false;
  try {
    real_time = at_the_wires(bench, *controller, session, [&](HeldLines& lines) {
      faults = check_loop(lines, pairs);
      if (!faults.empty()) return;
      fmt::print("All {} pairs are joined, and only they. Measuring for half a minute ...\n\n",
                 pairs.size());
      std::fflush(stdout);
      found = measure_loop(lines, pairs);
    });
  } catch (const Interrupted& stopped) {
    fmt::print(stderr, "{}; no calibration was written.\n", stopped.what());
    return signals.exit_status();
  }
  if (!faults.empty()) {
    for (const std::string& fault : faults) fmt::print(stderr, "{}\n", fault);
    fmt::print(stderr, "The wires are not as listed; nothing was measured or written.\n");
    return exit_request_wrong;
  }
  const LineCalibration c = calibration(bench, found, real_time);
  print_found(c, found);
  write_file(file, calibration_yaml(c));
  fmt::print(
      "\nWritten to {}. Name it in the bench: controller: {{calibration: {}}} (counted from the "
      "bench's folder).\n"
      "Part the wires before the controller comes back.\n",
      file.string(), file.filename().string());
  return 0;
}

}  // namespace stillrotor
