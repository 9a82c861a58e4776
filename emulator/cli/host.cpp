// stillrotor host: is this computer fit for a real-time bench?
#include <fmt/core.h>

#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "emulator/bench/bench.hpp"
#include "emulator/cli/commands.hpp"
#include "emulator/cli/options.hpp"
#include "emulator/cli/program.hpp"
#include "emulator/cli/table.hpp"
#include "emulator/cycle/load_wires.hpp"
#include "emulator/cycle/wall_run.hpp"
#include "emulator/handover/no_sink.hpp"
#include "emulator/host/findings.hpp"

namespace stillrotor {
namespace {

constexpr double usual_pwm_Hz = 16e3;
constexpr double usual_speed_rad_s = 40.0;

struct Request {
  std::string bench;
  double seconds = 5.0;
  std::vector<std::string> overrides;
};

/// Without a bench: a machine of the table's defaults, with Halls.
Bench usual_bench() {
  Bench bench;
  bench.name = "A usual bench (none was named)";
  bench.drive.hall.fitted = true;
  for (std::size_t k = 0; k < io::gate_count + 3; ++k) bench.harness.lines[k].connected = true;
  return bench;
}

/// The bench's plant at speed, its gates switching, nothing wired. Nothing ends it early: what is
/// asked is how late it gets.
CycleReport measure(Bench bench, double seconds) {
  bench.cycle.watchdog_periods = 1'000'000;
  const Expects& expects = bench.expects;
  Scenario scenario;
  scenario.lasts_ps = static_cast<std::int64_t>(seconds * 1e12);
  scenario.start.key = true;
  scenario.start.speed_rad_s =
      expects.top_speed_rad_s > 0.0 ? expects.top_speed_rad_s : usual_speed_rad_s;
  MonotonicClock clock;
  LoadWires wires(expects.pwm_frequency_Hz > 0.0 ? expects.pwm_frequency_Hz : usual_pwm_Hz, clock);
  OpenWires open(wires);
  NoSink nowhere;
  WallOptions options;
  options.allow_soft = true;
  options.most_catch_up = 1'000'000;
  return run_wall(bench, scenario, open, nowhere, options).cycle;
}

std::string_view word(Fitness fitness) {
  switch (fitness) {
    case Fitness::good:
      return "good";
    case Fitness::advice:
      return "advice";
    case Fitness::unfit:
      return "UNFIT";
  }
  return "";
}

void print(const std::vector<Finding>& findings) {
  std::vector<std::vector<std::string>> rows{{"", "finding", "measured", "wanted"}};
  for (const Finding& f : findings)
    rows.push_back({std::string(word(f.fitness)), f.what, f.measured, f.wanted});
  fmt::print("{}\n", table(rows));
  for (const Finding& f : findings)
    if (f.fitness != Fitness::good) fmt::print("{}: {}\n", f.what, f.remedy);
}

int host(const Request& request) {
  std::optional<Bench> bench;
  try {
    bench = request.bench.empty() ? usual_bench()
                                  : load_bench(request.bench, request.overrides, build_folder());
    const CycleSettings& settings = bench->cycle;
    fmt::print("{}, a cycle of {:g} us at priority {}, for {:g} s ...\n\n", bench->name,
               1e6 * settings.period_s, settings.priority, request.seconds);
    std::fflush(stdout);
    std::vector<Finding> findings = look_at_host("/", settings);
    for (Finding& f : look_at_cycle(measure(*bench, request.seconds)))
      findings.push_back(std::move(f));
    print(findings);
    const bool good = fit(findings);
    fmt::print(
        "\n{}\nMeasured over {:g} s with the load that was there. Rarer delays exist: run "
        "longer, and with everything running that will run beside the bench.\n",
        good ? "FIT: it held this cycle." : "UNFIT: it did not hold this cycle.", request.seconds);
    return good ? 0 : exit_host_failed;
  } catch (const std::exception& error) {
    return report(error, bench ? &*bench : nullptr);
  }
}

}  // namespace

void add_host(Command& program, int& status) {
  const auto request = std::make_shared<Request>();
  Command command = program.add("host", "Is this computer fit for a controller on real wires?");
  CommandOption bench = command.option("BENCH", request->bench,
                                       "bench file (YAML) whose cycle and plant are the load");
  command
      .option("--set", request->overrides,
              "change a parameter of the bench: path=value; may be given again")
      .one_each_time()
      .needs(bench);
  command.option("--seconds", request->seconds, "how long to measure (default 5)")
      .within(0.1, 86400.0);
  command.footer(R"(Touches no line: the plant is fed with gate edges made up here.

Examples:
  stillrotor host
  stillrotor host configs/benches/orchard-cart-hub-stand-in.yaml --set "cycle.period=500 us"
  stillrotor host bench.yaml --seconds 3600

Exit status: 0 fit; 2 the request is wrong; 4 unfit, with the command that changes each finding.)");
  command.does([request, &status] { status = host(*request); });
}

}  // namespace stillrotor
