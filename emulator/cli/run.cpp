// stillrotor run: a bench, a scenario, a record, a verdict.
#include <fmt/format.h>
#include <spdlog/spdlog.h>

#include <filesystem>
#include <memory>
#include <optional>
#include <stdexcept>
#include <string>
#include <vector>

#include "emulator/bench/bench.hpp"
#include "emulator/bench/input_error.hpp"
#include "emulator/bench/units.hpp"
#include "emulator/cli/commands.hpp"
#include "emulator/cli/cycle_summary.hpp"
#include "emulator/cli/debugged.hpp"
#include "emulator/cli/firmware_watch.hpp"
#include "emulator/cli/known_measures.hpp"
#include "emulator/cli/options.hpp"
#include "emulator/cli/panelled.hpp"
#include "emulator/cli/privileges.hpp"
#include "emulator/cli/program.hpp"
#include "emulator/cli/rehearsal_report.hpp"
#include "emulator/cli/run_document.hpp"
#include "emulator/cli/run_facts.hpp"
#include "emulator/cli/run_folder.hpp"
#include "emulator/cli/run_watch.hpp"
#include "emulator/cli/stop_signals.hpp"
#include "emulator/cli/summary.hpp"
#include "emulator/cli/tested.hpp"
#include "emulator/cycle/real_time.hpp"
#include "emulator/cycle/wall_run.hpp"
#include "emulator/cycle/wired_controller.hpp"
#include "emulator/gate_quality/gate_path.hpp"
#include "emulator/judge/judge.hpp"
#include "emulator/judge/junit.hpp"
#include "emulator/judge/result.hpp"
#include "emulator/record/record_reader.hpp"
#include "emulator/record/recorder.hpp"
#include "emulator/report/report.hpp"
#include "emulator/scenario/scenario.hpp"
#include "emulator/virtual_time/virtual_run.hpp"

namespace stillrotor {
namespace {

namespace fs = std::filesystem;

struct Request {
  fs::path bench, scenario, out;
  std::vector<std::string> overrides, scenario_settings;
  std::string pace, clock, user;
  std::string rehearse;                 // route of wires
  std::string keep_before, keep_after;  // times; empty: everything is kept
  std::string gdb;                      // port; empty: no debugger
  PanelRequest panel;
  int compression = 0;
  bool quiet = false, allow_soft = false;
};

double kept_s(const char* option, const std::string& text) {
  const Conversion time = to_si(text, Family::time);
  if (!time) throw InputError(fmt::format("{}: {}.", option, time.problem));
  if (time.si < 0.0 || time.si > 60.0)
    throw InputError(
        fmt::format("{} is {}; allowed 0 s to 60 s: it waits in memory. For more, keep "
                    "everything: leave --keep-before and --keep-after out.",
                    option, text));
  return time.si;
}

/// The option holds, then the bench.
Keeping keeping(const Request& request, const Bench& bench) {
  Keeping keeping;
  const auto take = [&](double& time_s, const char* option, const std::string& asked,
                        double bench_s) {
    const double said_s = asked.empty() ? bench_s : kept_s(option, asked);
    if (said_s < 0.0) return;
    time_s = said_s;
    keeping.around_events = true;
  };
  take(keeping.before_s, "--keep-before", request.keep_before, bench.keep_before_s);
  take(keeping.after_s, "--keep-after", request.keep_after, bench.keep_after_s);
  keeping.compression = request.compression;
  return keeping;
}

/// One run, from checked inputs to its exit status.
class Run {
 public:
  /// rehearsed: the route that the controller stands behind; folder: empty, as the request says.
  Run(const Request& request, const Bench& bench, const Scenario& scenario, const Tested& tested,
      const RehearsedRoute* rehearsed = nullptr, const fs::path& folder = {})
      : request_(request),
        debugger_(make_debugger(request.gdb, bench, tested.simulated())),
        watch_(bench, scenario, tested.simulated()),
        bench_(bench),
        scenario_(scenario),
        tested_(tested),
        header_(record_header(bench, scenario, tested)) {
    header_.keeping = facts_.keeping = keeping(request, bench);
    if (rehearsed != nullptr) facts_.rehearsal = Rehearsal{*rehearsed, {}};
    facts_.folder = folder.empty() ? request.out : folder;
    facts_.bench = request.bench;
    facts_.scenario = request.scenario;
    facts_.started_utc = utc_now("%Y-%m-%dT%H:%M:%SZ");
    // Before there is a folder: a bench that may not be armed leaves none.
    if (io::WiredController* wired = tested.wired()) {
      wires_.emplace(*wired);
      require_safe_to_arm(*wired);
    }
    if (request.panel.asked)
      panel_.emplace(request.panel, bench, scenario, header_, request.pace == "wall");
    make_folder();
  }

  int carry_out() {
    const StopSignals signals;
    try {
      const int status = run_and_judge(signals);
      if (panel_) panel_->serve(signals.asked());
      return status;
    } catch (const std::exception& error) {
      if (panel_) {
        panel_->failed(error.what());
        panel_->serve(signals.asked());
      }
      throw;
    }
  }

  const RunFacts& facts() const noexcept { return facts_; }
  /// Of a run that came to its end.
  const Judgement& judgement() const noexcept { return judgement_; }

 private:
  int run_and_judge(const StopSignals& signals) {
    record(signals);
    write_file(facts_.folder / "run.json", run_json(facts_));
    if (panel_) panel_->ended(facts_.folder, integrity(facts_));
    if (!facts_.record.failure.empty())
      throw std::runtime_error(fmt::format("{}: the record failed, so there is no verdict: {}",
                                           facts_.folder.string(), facts_.record.failure));
    watch_.keep(facts_.folder);
    const double end_s = static_cast<double>(facts_.outcome.end_ps) / 1e12;
    if (facts_.cycle && facts_.cycle->end != CycleEnd::complete &&
        facts_.cycle->end != CycleEnd::asked)
      throw std::runtime_error(fmt::format(
          "stopped at {:.3f} s, outputs safe: {}. No verdict; what was recorded is in {}.\n{}",
          end_s, reason(facts_.cycle->end), facts_.folder.string(), cycle_line(*facts_.cycle)));
    if (facts_.outcome.interrupted || facts_.outcome.stopped) {
      fmt::print(stderr, "stopped at {:.3f} s; no verdict. What was recorded is in {}\n", end_s,
                 facts_.folder.string());
      if (panel_) show_stopped(end_s);
      return signals.asked() ? signals.exit_status() : exit_interrupted;
    }
    return judge_it();
  }

  /// Of a record without a verdict.
  void show_stopped(double end_s) {
    panel_->judged("", fmt::format("Stopped at {:.3f} s; no verdict.", end_s));
    const std::string page = report_html(facts_.folder);
    write_file(facts_.folder / report_name, page);
    panel_->report(page);
  }

  void make_folder() {
    if (facts_.folder.empty())
      facts_.folder = new_run_folder(request_.bench, request_.scenario);
    else
      make_run_folder(facts_.folder);
    write_file(facts_.folder / "bench.yaml", bench_.resolved_yaml);
    write_file(facts_.folder / "scenario.yaml", scenario_.resolved_yaml);
    for (const TableFile& table : scenario_.tables)
      write_file(facts_.folder / table.name, table.text);
  }

  void record(const StopSignals& signals) {
    Recorder recorder(facts_.folder, header_);
    RunSink& sink = panel_ ? panel_->in_front_of(recorder) : recorder;
    RunWatch watch(sink, facts_.folder / "log.txt", static_cast<double>(scenario_.lasts_ps) / 1e12,
                   RunWatch::voice(request_.quiet));
    watch.log().info("stillrotor {} ({}): {}; {}", software_version(), software_commit(),
                     bench_.name, scenario_.name);
    if (wires_) {
      WallOptions options;
      options.allow_soft = request_.allow_soft;
      options.stop = &signals.asked();
      if (panel_) options.live = &panel_->control();
      options.progress = [&](double model_s, double speed_rad_s, double current_peak_A,
                             const LatencyHistogram& wake) {
        if (panel_) panel_->lateness(wake);
        watch.progress(model_s, speed_rad_s, current_peak_A, lateness_line(wake));
      };
      WallOutcome outcome = run_wall(bench_, scenario_, *wires_, watch, options);
      wires_.reset();
      facts_.outcome = std::move(outcome.run);
      facts_.cycle = std::move(outcome.cycle);
    } else {
      RunOptions options;
      options.pace_wall = request_.pace == "wall";
      options.stop = &signals.asked();
      if (panel_) options.live = &panel_->control();
      options.progress = [&watch](double model_s, double speed_rad_s, double current_peak_A) {
        watch.progress(model_s, speed_rad_s, current_peak_A);
      };
      if (debugger_) await_debugger(*debugger_, watch, signals);
      facts_.outcome = simulate(watch, options);
    }
    watch.log().info("{} at {:.9f} s", facts_.outcome.interrupted ? "interrupted" : "complete",
                     static_cast<double>(facts_.outcome.end_ps) / 1e12);
    // A record that is not finished says of itself that it was cut short.
    if (!facts_.outcome.interrupted) facts_.record = recorder.finish(facts_.outcome.end_ps);
    const io::SimulatedController* simulated = tested_.simulated();
    if (const std::string text = simulated ? simulated->coverage() : ""; !text.empty())
      write_file(facts_.folder / "coverage.txt", text);
    if (const auto* counts = dynamic_cast<const io::mcu::CountsWork*>(simulated))
      facts_.workload = counts->workload();
    if (!facts_.record.failure.empty()) watch.log().error("{}", facts_.record.failure);
  }

  RunOutcome simulate(RunSink& sink, const RunOptions& options) {
    io::SimulatedController& tested = *tested_.simulated();
    if (!facts_.rehearsal) return run_virtual(bench_, scenario_, tested, sink, options);
    Rehearsal& rehearsal = *facts_.rehearsal;
    rehearsal.outcome = run_rehearsed(bench_, scenario_, tested, rehearsal.route, sink, options);
    return rehearsal.outcome.run;
  }

  int judge_it() {
    const RecordReader record(facts_.folder);
    judgement_ = judge(record, scenario_);
    const ResultFacts facts = result_facts(bench_, scenario_, tested_, facts_);
    write_result(facts_.folder, result_json(record, judgement_, facts));
    if (panel_) panel_->judged(name(judgement_.verdict), judgement_.reason);
    if (!facts_.rehearsal) {  // else said beside the exact run's
      fmt::print("{}", summary(judgement_, facts_.outcome, facts_.folder));
      if (facts_.cycle) fmt::print("{}", cycle_table(*facts_.cycle));
      if (!facts.replay_trust.empty()) fmt::print("{}\n", facts.replay_trust);
    }
    // Last: what goes wrong with these must not hide a verdict.
    write_file(facts_.folder / junit_name,
               junit_xml(judgement_, bench_.name, scenario_.name, record.end_s()));
    const std::string page = report_html(facts_.folder);
    write_file(facts_.folder / report_name, page);
    if (panel_) panel_->report(page);
    return exit_status(judgement_.verdict);
  }

  const Request& request_;
  std::unique_ptr<io::mcu::Debugger> debugger_;
  FirmwareWatch watch_;
  const Bench& bench_;
  const Scenario& scenario_;
  const Tested& tested_;
  std::optional<OpenWires> wires_;
  RecordHeader header_;
  std::optional<PanelledRun> panel_;
  RunFacts facts_;
  Judgement judgement_;
};

/// The run as it is, then once more behind the wires, and both beside each other. The first decides
/// the status.
int rehearse(const Request& request, const Bench& bench, const Scenario& scenario,
             const Tested& tested) {
  if (tested.wired() != nullptr)
    throw io::ConfigError(
        "controller.backend",
        fmt::format("backend is {}; allowed with --rehearse: a simulated controller. Rehearse with "
                    "a built-in one of its kind, or leave --rehearse out.",
                    bench.backend));
  const RehearsedRoute route = rehearsed_route(request.rehearse, bench);
  gate_treatment(bench);
  Run exact(request, bench, scenario, tested);
  const int status = exact.carry_out();
  if (exact.facts().outcome.interrupted) return status;
  const fs::path folder = exact.facts().folder;
  const Tested again(bench, scenario, false);
  Run wired(request, bench, scenario, again, &route, folder / "rehearsed");
  const int wired_status = wired.carry_out();
  if (wired.facts().outcome.interrupted) return wired_status;
  const Rehearsal& rehearsal = *wired.facts().rehearsal;
  write_file(folder / "rehearsal.json",
             rehearsal_json(exact.judgement(), wired.judgement(), rehearsal));
  fmt::print("{}", rehearsal_text(exact.judgement(), wired.judgement(), rehearsal));
  return status;
}

int run(const Request& request) {
  std::optional<Bench> bench;
  try {
    if (request.panel.asked) require_panel();
    if (!request.user.empty()) become(request.user);
    bench = load_bench(request.bench, request.overrides, build_folder());
    const Scenario scenario =
        load_scenario(request.scenario, *bench, known_measures(), request.scenario_settings);
    require_possible(*bench, scenario);
    const Tested tested(*bench, scenario, request.clock == "wall");
    // Before there is a folder.
    if (tested.wired() != nullptr && request.rehearse.empty()) {
      gate_treatment(*bench);
      require_rights(bench->cycle, request.allow_soft);
      leave_core(bench->cycle.core);
    }
    if (!request.rehearse.empty()) return rehearse(request, *bench, scenario, tested);
    return Run(request, *bench, scenario, tested).carry_out();
  } catch (const std::exception& error) {
    return report(error, bench ? &*bench : nullptr);
  }
}

}  // namespace

void add_run(Command& program, int& status) {
  const auto request = std::make_shared<Request>();
  Command command = program.add("run", "Run a scenario on a bench and judge it");
  command.option("BENCH", request->bench, "bench file (YAML)").required();
  command.option("SCENARIO", request->scenario, "scenario file (YAML)").required();
  command.option("--out", request->out,
                 "run folder, empty or new (default: runs/<UTC time>-<bench>-<scenario>)");
  command
      .option("--set", request->overrides,
              "change a parameter of the bench: path=value; may be given again")
      .one_each_time();
  command
      .option("--scenario-set", request->scenario_settings,
              "change a parameter of the scenario: name=value; may be given again")
      .one_each_time();
  command.option("--pace", request->pace, "wall: as slow as the real thing, to watch it")
      .one_of({"wall"});
  command
      .option("--clock", request->clock,
              "wall: hold a built-in controller against the real-time cycle, as if on wires")
      .one_of({"wall"})
      .excludes("--pace");
  command
      .option("--rehearse", request->rehearse,
              fmt::format("run it a second time as if on wires, and show what they would get "
                          "wrong: {}, or the file of a calibration",
                          fmt::join(rehearsal_routes(), ", ")))
      .excludes("--pace")
      .excludes("--clock");
  command
      .option("--gdb", request->gdb,
              "let a debugger stop and look at firmware on a simulated Cortex-M4F: the port on "
              "127.0.0.1, 0 for any that is free. The run waits for it to connect")
      .excludes("--pace")
      .excludes("--clock")
      .excludes("--rehearse");
  const CommandOption panel =
      command
          .flag("--panel", request->panel.asked,
                "serve a page that shows the run and drives it; it waits there for the start")
          .excludes("--gdb")
          .excludes("--rehearse");
  command.flag("--start-now", request->panel.start_now, "with --panel: do not wait for the start")
      .needs(panel);
  add_panel_options(command, request->panel, &panel);
  command.option("--keep-before", request->keep_before,
                 "keep the signals only around faults and events: so long before each, and "
                 "before the end (then 2 s where only --keep-after is given); in the place of the "
                 "bench's record.keep_before. The overview, marks and sums are of everything; what "
                 "lies outside cannot be judged");
  command.option("--keep-after", request->keep_after,
                 "and so long after each (then 1 s where only --keep-before is given)");
  command
      .option("--compress", request->compression,
              "signals in record.h5: 0 not, 1 quickly, 9 to the least; off the cycle's core")
      .whole_within(0, 9);
  command.flag("--allow-soft", request->allow_soft,
               "on the wall clock: run without the rights of a real-time loop; the record "
               "says so");
  command.option("--user", request->user,
                 "started by root: become this user, for good, before anything is opened");
  command.flag("-q,--quiet", request->quiet, "only the result");
  command.footer(R"(Examples:
  stillrotor run configs/benches/orchard-cart-hub.yaml configs/scenarios/first-drive.yaml
  stillrotor run bench.yaml hill.yaml --set "machine.winding_resistance=50 mohm" --out runs/warm
  stillrotor run bench.yaml hill.yaml --pace wall
  stillrotor run bench.yaml day.yaml --keep-before "5 s" --keep-after "2 s" --compress 1
  stillrotor run configs/benches/orchard-cart-hub-stand-in.yaml hill.yaml --clock wall
  stillrotor run configs/benches/orchard-cart-hub.yaml hill.yaml --rehearse gpio-v1
  stillrotor run configs/benches/orchard-cart-mid-m4.yaml hill.yaml --gdb 3333
  stillrotor run configs/benches/orchard-cart-hub.yaml hill.yaml --panel --pace wall

Exit status: 0 PASS, or no limits; 1 FAIL; 2 the request is wrong; 3 INVALID; 4 this machine failed
(a full disk, no rights for real time, a cycle that fell behind, an emergency stop); 130, 143 interrupted: the record is kept, there is no verdict.)");
  command.does([request, &status] { status = run(*request); });
}

}  // namespace stillrotor
