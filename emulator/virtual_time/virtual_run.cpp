#include "emulator/virtual_time/virtual_run.hpp"

#include <time.h>

#include <algorithm>
#include <exception>
#include <optional>
#include <stdexcept>
#include <utility>

#include "emulator/bench/input_error.hpp"
#include "emulator/handover/no_sink.hpp"
#include "emulator/virtual_time/given_motion.hpp"
#include "emulator/virtual_time/guarded_controller.hpp"
#include "emulator/virtual_time/live_turns.hpp"
#include "emulator/virtual_time/wall_pace.hpp"
#include "emulator/virtual_time/world.hpp"

namespace stillrotor {
namespace {

constexpr std::int64_t microsecond_ps = 1'000'000;

/// A quiet stretch shorter than this is not worth the controller's going first.
constexpr std::int64_t worth_ps = 2'000;
/// The same where a sensor's edge may end it: hardly a gate moves in so short a time, and to ask
/// for another promise costs more than to look ahead.
constexpr std::int64_t worth_before_edge_ps = 200'000;

/// Beyond its horizon a controller still ends its instruction, and reads in it. Far more than that.
constexpr std::int64_t overshoot_ps = 100'000'000;

/// Lets plant and controller take turns so that neither misses what the other does.
/// Controller first, up to a moment before which the plant guarantees no sensor edge; the few
/// nanoseconds that then remain to the edge, plant first in a look ahead that a gate edge or a read
/// takes back. docs/decisions/0001-virtual-time.md says why.
class Turns {
 public:
  Turns(BenchWorld& world, GuardedController& controller, std::int64_t look_ahead_ps)
      : world_(world),
        controller_(controller),
        look_ahead_ps_(std::max(look_ahead_ps, 2 * shortest_look_ps)) {}

  /// So far beyond the present of plant and controller nothing is decided yet.
  std::int64_t decided_ps() const noexcept { return look_ahead_ps_ + overshoot_ps; }
  void drive_by(LiveTurns* live) noexcept { live_ = live; }
  /// Somebody may hold the run here: it goes on as if nothing had been.
  void attend() {
    if (live_ != nullptr) live_->attend(present_ps());
  }

  void take(std::int64_t end_ps) {
    world_.let_wait(controller_.hears_later());
    const std::int64_t event_ps = std::min(world_.next_event_ps(), end_ps);
    const std::int64_t limit_ps = std::min(present_ps() + look_ahead_ps_, event_ps);
    if (!controller_.alive()) {
      world_.advance(limit_ps);
      controller_.skip_to(limit_ps);
      return;
    }
    if (const std::int64_t reached_ps = controller_.reached_ps(); reached_ps >= world_.quiet_ps()) {
      if (world_.edge_expected_by(std::min(limit_ps, reached_ps + worth_before_edge_ps)))
        return plant_first(limit_ps, reached_ps, event_ps);
      world_.find_quiet(limit_ps);
    }
    const std::int64_t quiet_ps = world_.quiet_ps();
    const std::int64_t worth = quiet_ps < limit_ps ? worth_before_edge_ps : worth_ps;
    if (quiet_ps > controller_.reached_ps() + worth)
      run_while_quiet(quiet_ps, worth);
    else if (quiet_ps >= limit_ps)
      go_on(limit_ps, event_ps);
    else
      plant_first(limit_ps, std::max(quiet_ps, controller_.reached_ps()), event_ps);
  }

 private:
  static constexpr std::int64_t shortest_look_ps = microsecond_ps;

  std::int64_t present_ps() const noexcept {
    return std::max(world_.now_ps(), controller_.reached_ps());
  }

  /// From one gate edge to the next, as long as nothing else wants attention.
  void run_while_quiet(std::int64_t quiet_ps, std::int64_t worth) {
    do {
      controller_.run_to(quiet_ps);
      world_.let_wait(controller_.hears_later());
      world_.announce();
      attend();
    } while (quiet_ps > controller_.reached_ps() + worth && world_.quiet_ps() == quiet_ps &&
             !world_.has_mail() && controller_.alive());
  }

  /// To where something is due exactly; else the plant follows by whole steps and may stay behind,
  /// so that the look ahead's length leaves no trace.
  void go_on(std::int64_t to_ps, std::int64_t event_ps) {
    if (to_ps >= event_ps)
      world_.advance(event_ps);
    else
      world_.follow(to_ps);
  }

  void plant_first(std::int64_t limit_ps, std::int64_t from_ps, std::int64_t event_ps) {
    const std::int64_t edge_ps = world_.look(std::min(limit_ps, from_ps + window_ps_));
    if (edge_ps > controller_.reached_ps()) controller_.run_to(edge_ps);
    const bool untouched = world_.keep_look();
    if (untouched && edge_ps >= event_ps) world_.advance(event_ps);
    // A rotor at rest near an edge promises nothing and does nothing: look farther each time, and
    // nearer again as soon as the controller makes looking far a waste.
    window_ps_ = untouched ? std::min(2 * window_ps_, look_ahead_ps_)
                           : std::max(window_ps_ / 2, shortest_look_ps);
  }

  BenchWorld& world_;
  GuardedController& controller_;
  std::int64_t look_ahead_ps_;
  std::int64_t window_ps_ = shortest_look_ps;
  LiveTurns* live_ = nullptr;
};

double thread_cpu_s() noexcept {
  timespec now{};
  clock_gettime(CLOCK_THREAD_CPUTIME_ID, &now);
  return static_cast<double>(now.tv_sec) + 1e-9 * static_cast<double>(now.tv_nsec);
}

/// The plant names its parameter by itself; the user needs the file too.
std::string in_file(const Bench& bench, const std::exception& error) {
  return bench.file.string() + ": " + error.what();
}

std::array<std::uint8_t, io::line_bytes> lines_high_at_start(const Bench& bench,
                                                             const Scenario& scenario,
                                                             GivenMotion motion) {
  NoSink nowhere;
  try {
    return BenchWorld(bench, scenario, std::move(motion), nowhere).lines_high();
  } catch (const std::invalid_argument& error) {
    throw InputError(in_file(bench, error));
  }
}

}  // namespace

std::array<std::uint8_t, io::line_bytes> initial_lines_high(
    const Bench& bench, const Scenario& scenario, const io::SimulatedController& controller) {
  return lines_high_at_start(bench, scenario, given_motion(bench, controller));
}
std::array<std::uint8_t, io::line_bytes> initial_lines_high(const Bench& bench,
                                                            const Scenario& scenario) {
  return lines_high_at_start(bench, scenario, {});
}

RunOutcome run_virtual(const Bench& bench, const Scenario& scenario,
                       io::SimulatedController& tested, RunSink& sink, const RunOptions& options) {
  std::optional<BenchWorld> built;
  try {
    built.emplace(bench, scenario, given_motion(bench, tested), sink);
  } catch (const std::invalid_argument& error) {
    throw InputError(in_file(bench, error));
  }
  BenchWorld& world = *built;
  GuardedController controller(tested, world);
  Turns turns(world, controller, options.look_ahead_ps);
  WallPace pace(options.pace_wall, options.stop, [&](std::int64_t model_ps) {
    const Frame& frame = world.latest_frame();
    if (options.progress)
      options.progress(static_cast<double>(model_ps) / 1e12,
                       static_cast<double>(frame.value[static_cast<std::size_t>(Signal::speed)]),
                       static_cast<double>(current_peak_A(frame)));
  });

  std::optional<LiveTurns> live;
  if (options.live != nullptr) {
    live.emplace(*options.live, world, pace, options.stop, turns.decided_ps(), scenario.lasts_ps);
    turns.drive_by(&*live);
  }
  bool interrupted = live && !live->await_start();
  const double cpu_before_s = thread_cpu_s();
  if (!interrupted) {
    world.begin();
    controller.begin();
  }
  std::int64_t end_ps = scenario.lasts_ps;
  while (world.now_ps() < end_ps && !interrupted) {
    turns.take(end_ps);
    if (world.has_mail()) controller.exchange();
    world.announce();
    interrupted = pace.passes(world.now_ps());
    if (live) {
      turns.attend();
      end_ps = live->end_ps();
    }
  }
  world.catch_up();
  world.take_arrivals();  // recorded with that
  mark_doubt(tested, sink, world.now_ps());
  RunOutcome outcome = outcome_of(world);
  outcome.interrupted = interrupted;
  outcome.stopped = live && live->stopped();
  outcome.controller = controller.health();
  outcome.diagnosis = controller.diagnosis();
  outcome.loop_cpu_s = thread_cpu_s() - cpu_before_s;
  outcome.wall_s = pace.wall_s();
  return outcome;
}

}  // namespace stillrotor
