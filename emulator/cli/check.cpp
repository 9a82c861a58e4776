// stillrotor check: reads a bench, and a scenario for it, as a run would, and says what it
// understood.
#include <fmt/core.h>

#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "emulator/bench/bench.hpp"
#include "emulator/bench/facts.hpp"
#include "emulator/bench/uncalibrated_bench.hpp"
#include "emulator/budget/budget.hpp"
#include "emulator/budget/link_budget.hpp"
#include "emulator/budget/routes.hpp"
#include "emulator/cli/check_lines.hpp"
#include "emulator/cli/commands.hpp"
#include "emulator/cli/firmware_watch.hpp"
#include "emulator/cli/known_measures.hpp"
#include "emulator/cli/options.hpp"
#include "emulator/cli/program.hpp"
#include "emulator/cli/replay_trust.hpp"
#include "emulator/cli/run_folder.hpp"
#include "emulator/cli/table.hpp"
#include "emulator/cycle/wired_controller.hpp"
#include "emulator/gate_quality/current_error.hpp"
#include "emulator/gate_quality/gate_path.hpp"
#include "emulator/scenario/scenario.hpp"
#include "emulator/scenario/vocabulary.hpp"
#include "emulator/wiring_plan/wiring_plan.hpp"
#include "io/backends.hpp"
#include "io/link/fitness.hpp"
#include "io/link/link.hpp"

namespace stillrotor {
namespace {

struct Request {
  std::string bench, scenario;
  std::string wiring;       // file for the drawing
  std::string as_wired;     // backend whose routes the bench is held against
  std::string calibration;  // file for what is measured at the lines
  bool arrangement = false;
  bool connect = false;  // ask the co-processor what it is
  LineChecks lines;
  std::vector<std::string> overrides;
};

double seconds(std::int64_t ps) { return static_cast<double>(ps) * 1e-12; }

void print_values(const Bench& bench) {
  std::vector<std::vector<std::string>> rows{{"parameter", "written", "SI", "from"}};
  for (const ParameterValue& value : bench.values)
    rows.push_back({value.path, value.written, value.si, value.origin});
  fmt::print("Read from {}:\n{}\n", bench.file.string(), table(rows));
}

void print_facts(const Bench& bench) {
  std::vector<std::vector<std::string>> rows{{"", "value", "unit", "how"}};
  for (const Fact& fact : facts(bench))
    rows.push_back({fact.what, fmt::format("{:.6g}", fact.value), fact.unit, fact.how});
  fmt::print("What follows:\n{}\n", table(rows));
  if (const std::string remark = remark_on_steps(bench); !remark.empty())
    fmt::print("  ! {}\n\n", remark);
}

void print_watched(const std::vector<WatchedNumber>& numbers) {
  if (numbers.empty()) return;
  std::vector<std::vector<std::string>> rows{{"recorded as", "variable", "type", "address"}};
  for (const WatchedNumber& number : numbers)
    rows.push_back({"firmware." + number.entry.name, number.entry.path, number.type,
                    fmt::format("0x{:08x}", number.place.address)});
  fmt::print("Variables of the firmware:\n{}\n", table(rows));
}

void print_wires(const WiringPlan& plan) {
  std::vector<std::vector<std::string>> rows{
      {"signal", "goes to", "bench", "controller", "level", "in the wire"}};
  for (const Wire& wire : plan.wires)
    rows.push_back({wire.signal, wire.to_controller ? "controller" : "bench", wire.bench_pin,
                    wire.controller, wire.level, wire.protection});
  fmt::print("Wires{}:\n", plan.simulated ? ", if this controller stood on a desk" : "");
  for (const std::string& caution : plan.cautions) fmt::print("  ! {}\n", caution);
  fmt::print("{}\n", table(rows));
}

/// What the jitter of the route's stamps costs; nothing where the PWM frequency is not stated.
void print_current_error(const Bench& bench, double jitter_s) {
  const ExpectedCurrentError error = expected_current_error(bench, jitter_s);
  if (error.open_loop_A <= 0.0) return;
  fmt::print("  Stamps that jitter by {:g} us rms: {:.2g} A rms of error in each phase current",
             jitter_s * 1e6, error.open_loop_A);
  if (error.closed_loop_A > 0.0)
    fmt::print(", {:.2g} A where a current loop of {:g} Hz corrects what it sees",
               error.closed_loop_A, bench.expects.current_loop_Hz);
  fmt::print(".\n");
}

void print_demands(const Budget& sum, const std::string& by, double cycle_s) {
  std::vector<std::vector<std::string>> rows{
      {"", "signal", "asked", "can", "unit", "fits up to", "how"}};
  for (const Demand& d : sum.demands)
    rows.push_back({d.fits ? "ok" : "NO", d.signal, fmt::format("{:.4g}", d.demand),
                    fmt::format("{:.4g}", d.limit), d.unit, d.fits_up_to, d.asks});
  fmt::print("What the wires are asked for ({}; a cycle of {:g} us):\n{}\n", by, cycle_s * 1e6,
             table(rows));
  for (const Demand& d : sum.demands)
    if (!d.fits)
      fmt::print("  {}: {}. Instead: {}. (Limit: {}.)\n", d.signal, d.consequence, d.remedy,
                 d.grounds);
  for (const std::string& path : sum.not_stated)
    fmt::print("  {} is not stated: what it asks for cannot be checked. Add it to the bench.\n",
               path);
  fmt::print("\n");
}

void print_grade(const Budget& sum) {
  fmt::print("  Grade {}: {}.\n", static_cast<char>(sum.grade), sum.grade_why);
  fmt::print("  {}\n\n", sum.fits() ? "It fits." : "REFUSED: it does not fit.");
}

void print_budget(const Bench& bench, const Budget& sum, const Routes& routes) {
  std::string by = routes.lines.name;
  if (routes.averages) by += ", gates averaged by " + routes.averages->name;
  if (routes.volts) by += ", volts by " + routes.volts->name;
  print_demands(sum, by, routes.cycle_s);
  fmt::print("  The lines' limits are {}.\n", routes.lines.grounds);
  if (!routes.averages) print_current_error(bench, routes.lines.stamp_jitter_s);
  print_grade(sum);
}

/// What the chip says, or what is declared. Throws io::ConfigError: nobody answers, or it is unfit.
ChipStamps stamps_of(const io::LinkConfig& link, bool connect) {
  if (!connect) return declared_stamps(link);
  const auto chip = io::ask_chip(link);
  io::LinkStatus status;
  if (!chip) throw io::no_answer(link, status, "");
  status.chip = *chip;
  io::require_fit(link, status);
  fmt::print(
      "The co-processor at {} answers: {:g} MHz, stamps of {:.4g} ns with {:.3g} ns of "
      "jitter, {} channels.\n\n",
      link.address, chip->tick_Hz * 1e-6, chip->resolution_ps * 1e-3, chip->jitter_ps * 1e-3,
      chip->channels);
  return {1e-12 * chip->resolution_ps, 1e-12 * chip->jitter_ps, true};
}

/// The third grade. Returns whether it fits.
bool check_link(const Bench& bench, const io::LinkConfig& link, bool connect) {
  const ChipStamps stamps = stamps_of(link, connect);
  const Budget sum = link_budget(bench, link, stamps);
  print_demands(sum, "timing co-processor at " + link.address, bench.cycle.period_s);
  fmt::print("  The stamps' error of {:.3g} ns rms is {}.\n", stamps.error_s() * 1e9,
             stamps.asked ? "as the chip says of itself"
                          : "declared in controller.link, until a chip is asked (--connect)");
  print_current_error(bench, stamps.error_s());
  fmt::print(
      "  The bench's plant stands {:g} ms behind the clock: the angle is told ahead over that time "
      "and "
      "the\n  lead, for loads that change slowly against it. Currents do not wait for it.\n",
      1e3 * bench.cycle.delay_s);
  print_grade(sum);
  return sum.fits();
}

void print_grade(const Bench& bench) {
  fmt::print(
      "What this bench can answer:\n"
      "  The controller ({}) and the plant share one virtual clock: gate edges, dead times, "
      "current\n"
      "  samples and sensor edges are exact in time, up to the models of machine and controller.\n"
      "  {}\n"
      "  Nothing here says what wires, drivers' delays or an operating system would add, and the\n"
      "  figures are no better than the machine's own parameters.\n",
      bench.backend,
      bench.backend == "capture"
          ? "The gates are a recording: they do not answer to the plant (open loop)."
          : "The loop is closed: the controller sees what its own edges cause.");
}

void print_scenario(const Scenario& scenario) {
  std::vector<std::vector<std::string>> does{{"at", "action"}};
  for (const Action& action : scenario.timeline)
    does.push_back({fmt::format("{:g} s", seconds(action.at_ps)), action.label});
  for (const WaitingAction& one : scenario.waiting)
    does.push_back({fmt::format("when {}", one.condition.text), one.action.label});
  fmt::print("\nScenario {} ({}), {:g} s:\n{}", scenario.name, scenario.file.string(),
             seconds(scenario.lasts_ps), table(does));
  if (scenario.expect.empty()) {
    fmt::print("\nNo limits: the run will measure, and give no verdict.\n");
    return;
  }
  std::vector<std::vector<std::string>> limits{
      {"limit", "min", "max", "unit", "window", "because"}};
  for (const Limit& limit : scenario.expect) {
    const auto bound = [](const std::optional<double>& b) {
      return b ? fmt::format("{:g}", *b) : std::string("-");
    };
    limits.push_back({limit.measure + (limit.signal.empty() ? "" : " " + limit.signal),
                      bound(limit.min), bound(limit.max), limit.unit, window_text(limit.window),
                      limit.because});
  }
  fmt::print("\n{}", table(limits));
}

int check(const Request& request) {
  std::optional<Bench> bench;
  try {
    if (!request.calibration.empty()) {
      bench = load_uncalibrated_bench(request.bench, request.overrides, build_folder());
      return calibrate_lines(*bench, request.calibration, request.lines);
    }
    bench = load_bench(request.bench, request.overrides, build_folder());
    if (request.arrangement) return find_arrangement(*bench, request.lines);
    // Reads firmware or recording, checks its settings.
    const io::ControllerConfig completed = completed_controller(*bench);
    const auto wired = io::make_wired_controller(completed, bench->analog);
    const auto controller = wired ? nullptr : io::make_controller(bench->controller);
    const std::vector<WatchedNumber> watched = watched_numbers(*bench, controller.get());
    std::optional<Scenario> scenario;
    if (!request.scenario.empty())
      scenario = load_scenario(request.scenario, *bench, known_measures());
    if (scenario) require_possible(*bench, *scenario);
    const std::string_view backend =
        request.as_wired.empty() ? std::string_view(bench->backend) : request.as_wired;
    std::optional<Routes> routes = declared_routes(backend, *bench);
    if (routes && bench->calibration)
      routes->lines = measured_lines(routes->lines, *bench->calibration);
    if (routes) gate_treatment(*bench);  // refuses as a run would
    fmt::print("{}\n\n", bench->name);
    print_values(*bench);
    print_facts(*bench);
    print_watched(watched);
    const WiringPlan plan = wiring_plan(*bench);
    print_wires(plan);
    if (!request.wiring.empty()) write_file(request.wiring, drawing(plan));
    bool fits = true;
    if (const auto* link = std::get_if<io::LinkConfig>(&completed); link != nullptr && !routes) {
      fits = check_link(*bench, *link, request.connect);
    } else if (routes) {
      const Budget sum = budget(*bench, *routes);
      print_budget(*bench, sum, *routes);
      fits = sum.fits();
    } else {
      print_grade(*bench);
    }
    if (const std::string trust = controller ? replay_trust(*bench, *controller) : "";
        !trust.empty())
      fmt::print("\nHow far to believe the replay:\n  {}\n", trust);
    if (scenario) print_scenario(*scenario);
    return fits ? 0 : exit_request_wrong;
  } catch (const std::exception& error) {
    return report(error, bench ? &*bench : nullptr);
  }
}

}  // namespace

void add_check(Command& program, int& status) {
  const auto request = std::make_shared<Request>();
  Command command =
      program.add("check", "Read a bench, and a scenario for it, and say what was understood");
  command.option("BENCH", request->bench, "bench file (YAML)").required();
  command.option("SCENARIO", request->scenario, "scenario file (YAML)");
  command
      .option("--set", request->overrides,
              "change a parameter of the bench: path=value; may be given again")
      .one_each_time();
  command
      .option("--as-wired", request->as_wired,
              "hold the bench against this route of wires, whatever stands at its connector")
      .one_of({"gpiod", "polled"});
  command.flag("--connect", request->connect,
               "backend link: ask the co-processor what it is; outputs stay as they are");
  command.option("--wiring", request->wiring, "draw the wires into this file (SVG)");
  CommandOption calibrate = command.option(
      "--calibrate", request->calibration,
      "controller unplugged, outputs joined to inputs: measure the lines, write this file (YAML)");
  CommandOption arrangement = command.flag(
      "--arrangement", request->arrangement,
      "hold the Hall codes and see which gates answer: stuck, inverted and swapped lines, and how "
      "phases and Halls are arranged");
  for (CommandOption at_the_lines : {calibrate, arrangement})
    for (const char* other : {"SCENARIO", "--as-wired", "--wiring"}) at_the_lines.excludes(other);
  calibrate.excludes(arrangement);
  command.flag("--wires-are-set", request->lines.wires_are_set,
               "with --calibrate and --arrangement: the wires are as these list them");
  command
      .flag("--allow-soft", request->lines.allow_soft,
            "with --calibrate: measure without the rights of a real-time loop")
      .needs(calibrate);
  command.footer(R"(Examples:
  stillrotor check configs/benches/orchard-cart-hub.yaml
  stillrotor check configs/benches/orchard-cart-mid.yaml configs/scenarios/first-drive.yaml
  stillrotor check configs/benches/orchard-cart-hub.yaml --wiring wiring.svg
  stillrotor check configs/benches/orchard-cart-mid.yaml --as-wired gpiod
  stillrotor check bench.yaml --set "machine.winding_resistance=50 mohm"
  stillrotor check configs/benches/orchard-cart-mid-link.yaml --connect
  stillrotor check bench.yaml --calibrate lines.yaml
  stillrotor check bench.yaml --arrangement
  stillrotor check configs/benches/orchard-cart-hub.yaml --arrangement

--calibrate needs the controller unplugged. --arrangement needs the power stage and the motor gone:
the controller commands current. Both print what to wire first, touch no line before you have
confirmed it, and leave the outputs at their safe levels.

Exit status: 0 it would run; 2 something is wrong, every problem with its line, more is asked
of the wires than they can do, or they are not wired as listed; 4 this computer, or what is wired to
it, failed; 130, 143 interrupted, outputs safe.)");
  command.does([request, &status] { status = check(*request); });
}

}  // namespace stillrotor
