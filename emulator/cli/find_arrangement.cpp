#include <fmt/core.h>

#include <array>
#include <string>
#include <variant>
#include <vector>

#include "emulator/arrangement/wiring_findings.hpp"
#include "emulator/cli/at_the_wires.hpp"
#include "emulator/cli/check_lines.hpp"
#include "emulator/cli/program.hpp"
#include "emulator/cli/stop_signals.hpp"
#include "emulator/cli/table.hpp"
#include "emulator/cycle/simulated_wires.hpp"
#include "emulator/handover/no_sink.hpp"
#include "emulator/scenario/scenario.hpp"
#include "emulator/virtual_time/world.hpp"

namespace stillrotor {
namespace {

/// Sleeping takes no time.
class VirtualClock final : public CycleClock {
 public:
  std::int64_t now_ns() noexcept override { return now_ns_; }
  void sleep_until(std::int64_t ns) noexcept override { now_ns_ = std::max(now_ns_, ns); }

 private:
  std::int64_t now_ns_ = 0;
};

/// What the bench's sensors show while nothing turns and no current flows.
std::array<double, io::channel_count> volts_at_rest(const Bench& bench) {
  Scenario scenario;
  scenario.lasts_ps = 1'000'000'000;
  scenario.start.key = true;
  NoSink nowhere;
  BenchWorld world(bench, scenario, {}, nowhere);
  world.begin();
  std::array<double, io::channel_count> volts{};
  for (std::uint16_t k = 0; k < io::channel_count; ++k)
    volts[k] = world.volts(io::ChannelId{k}, io::Time{0});
  return volts;
}

std::string code_text(int code) {
  return fmt::format("{} {} {}", code & 1, code >> 1 & 1, code >> 2 & 1);
}

void print_answers(const HallAnswers& answers, double spacing_rad) {
  std::vector<std::vector<std::string>> rows{
      {"Halls U V W", "UH", "UL", "VH", "VL", "WH", "WL", "% of the time on"}};
  const auto add = [&rows](std::string what, const GatesSeen& seen, std::string remark) {
    std::vector<std::string> row{std::move(what)};
    for (const double on : seen.on)
      row.push_back(on > 0.0 ? fmt::format("{:.1f}", 100.0 * on) : "-");
    row.push_back(std::move(remark));
    rows.push_back(std::move(row));
  };
  add("no supply", answers.unpowered, "");
  add("throttle shut", answers.idle, "");
  for (const int code : hall_codes(spacing_rad))
    add(code_text(code), answers.codes[static_cast<std::size_t>(code)], "");
  for (const int code : codes_without_position(spacing_rad))
    add(code_text(code), answers.codes[static_cast<std::size_t>(code)], "no position gives it");
  fmt::print("{}\n", table(rows));
}

std::string order(const std::array<int, 3>& wires) {
  return fmt::format("{} {} {}", "UVW"[wires[0]], "UVW"[wires[1]], "UVW"[wires[2]]);
}

void print_arrangements(const WiringFindings& found) {
  const auto count = [&found](Turning kind) { return of_kind(found.all, kind).size(); };
  fmt::print(
      "Of the 36 arrangements of phases and Halls, on an ideal machine with trapezoidal back-EMF:\n"
      "  {} drive forward, {} backwards, {} at half the torque, {} at none in the mean.\n"
      "  As wired: {:.0f} % of the torque in the mean, between {:.0f} and {:.0f} %.\n\n",
      count(Turning::forward), count(Turning::reverse), count(Turning::half), count(Turning::none),
      100.0 * found.all[0].mean, 100.0 * found.all[0].least, 100.0 * found.all[0].greatest);
  std::vector<std::vector<std::string>> rows{
      {"", "phases at U V W", "Halls at U V W", "torque, %", "from here"}};
  for (const Turning kind : {Turning::forward, Turning::reverse})
    for (const Arrangement& a : of_kind(found.all, kind))
      rows.push_back(
          {kind == Turning::forward ? "forward" : "backwards", order(a.phases), order(a.halls),
           fmt::format("{:.0f} to {:.0f}", 100.0 * a.least, 100.0 * a.greatest), moves(a)});
  fmt::print("{}\n", table(rows));
}

HallAnswers ask(HeldLines& lines, const Bench& bench, const HoldSettings& settings,
                const std::function<void()>& opened) {
  return HeldHalls(lines, bench, volts_at_rest(bench), settings, opened).all();
}

HallAnswers ask_simulated(const Bench& bench, const StopSignals& signals) {
  const auto controller = io::make_controller(bench.controller);
  VirtualClock clock;
  SimulatedWires wires(*controller, bench.controller_supply_V, bench.harness, clock);
  HeldLines lines(wires, clock, std::llround(1e9 * bench.cycle.period_s), &signals.asked());
  lines.arm();
  HoldSettings settings;
  settings.open_most_ns = 3'000'000'000;  // nobody has to find the throttle first
  return ask(lines, bench, settings, [] {});
}

void ask_for_leave(const Bench& bench, const LineChecks& options) {
  fmt::print(
      "{}: the bench holds the Hall lines, one code after another, and looks at the gates.\n\n"
      "  ! No power stage and no motor at this controller: it will command current into phases\n"
      "    that must not be there. Supply locked off, bus measured dead.\n"
      "  ! Only the low-voltage connector is plugged, as `check` lists it.\n"
      "  ! The throttle is opened by the bench where it has the channel, else by you, when asked.\n"
      "  ! Nothing here is a safety function; local codes and licensed practice decide.\n\n",
      bench.name);
  require_consent(options.wires_are_set, "no power stage, no motor, only the connector plugged");
}

HallAnswers ask_live(const Bench& bench, io::WiredController& controller,
                     const StopSignals& signals) {
  HallAnswers answers;
  at_the_wires(bench, controller, {true, &signals.asked()}, [&](HeldLines& lines) {
    answers = ask(lines, bench, {}, [&bench] {
      if (bench.harness.channels[io::index(io::channel::throttle)]) return;
      fmt::print("Open the throttle a little, and hold it, until the table appears ...\n");
      std::fflush(stdout);
    });
  });
  return answers;
}

}  // namespace

int find_arrangement(const Bench& bench, const LineChecks& options) {
  if (std::holds_alternative<io::CaptureConfig>(bench.controller))
    throw io::ConfigError("controller.backend",
                          "backend is capture; allowed with --arrangement: a controller that "
                          "answers. A recording does not.");
  if (std::holds_alternative<io::LinkConfig>(bench.controller))
    throw io::ConfigError("controller.backend",
                          "backend is link; allowed with --arrangement: lines of the bench's own. "
                          "Look at the chip's gates and Halls with a meter, or run a slow drive.");
  if (!bench.drive.hall.fitted || !bench.harness.lines[io::index(io::line::hall_U)].connected ||
      !bench.harness.lines[io::index(io::line::hall_V)].connected ||
      !bench.harness.lines[io::index(io::line::hall_W)].connected)
    throw io::ConfigError("sensors.hall",
                          "the bench has no three Hall lines; allowed with --arrangement: all of "
                          "them, fitted and wired. Add what is missing.");
  if (bench.cycle.gates.filtered)
    throw io::ConfigError("harness.lines.gates.UH.converter",
                          "the gates come in as averages; allowed with --arrangement: gates at "
                          "lines, which show when they switch. Wire them to lines for it.");
  const auto wired = io::make_wired_controller(bench.controller, bench.analog);
  if (wired) ask_for_leave(bench, options);
  const StopSignals signals;
  HallAnswers answers;
  try {
    answers = wired ? ask_live(bench, *wired, signals) : ask_simulated(bench, signals);
  } catch (const Interrupted& stopped) {
    fmt::print(stderr, "{}.\n", stopped.what());
    return signals.exit_status();
  }
  const double spacing_rad = bench.drive.hall.spacing_rad;
  const WiringFindings found = wiring_findings(answers, spacing_rad);
  print_answers(answers, spacing_rad);
  if (found.arranged) print_arrangements(found);
  for (const std::string& note : found.notes) fmt::print("Note: {}\n", note);
  for (const std::string& fault : found.wrong) fmt::print(stderr, "{}\n", fault);
  if (!found.wrong.empty()) return exit_request_wrong;
  fmt::print("The wires fit: it drives forward at full torque.\n");
  return 0;
}

}  // namespace stillrotor
