#include "emulator/cli/at_the_wires.hpp"

#include <fmt/core.h>
#include <unistd.h>

#include <cmath>
#include <exception>
#include <iostream>
#include <string>
#include <thread>

#include "emulator/bench/input_error.hpp"
#include "emulator/cycle/wall_run.hpp"
#include "emulator/cycle/watchdog.hpp"

namespace stillrotor {
namespace {

/// Without a turn; longer than an ordinary computer is ever away, short enough for a person.
constexpr std::int64_t watchdog_ns = 1'000'000'000;

}  // namespace

void require_consent(bool given, std::string_view to_what) {
  if (given) return;
  if (isatty(STDIN_FILENO) == 0)
    throw InputError(fmt::format(
        "No line is touched before somebody has said that it may be. Set the wires as listed, "
        "check them, then add --wires-are-set ({}).",
        to_what));
  fmt::print("Is it so ({})? Type yes: ", to_what);
  std::fflush(stdout);
  std::string answer;
  std::getline(std::cin, answer);
  if (answer != "yes") throw InputError("Not answered with yes; no line was touched.");
}

bool at_the_wires(const Bench& bench, io::WiredController& controller, const LineSession& session,
                  const std::function<void(HeldLines&)>& act) {
  const bool real_time = require_rights(bench.cycle, session.allow_soft).empty();
  const ShortIdle idle;
  const OpenWires wires(controller);
  require_safe_to_arm(controller);
  CycleWindow window;
  std::exception_ptr failure;
  std::thread([&] {
    const Seat seat{bench.cycle.priority, bench.cycle.core};
    take_seat(seat);
    MonotonicClock clock;
    try {
      HeldLines lines(controller, clock, std::llround(1e9 * bench.cycle.period_s), session.stop,
                      &window.turns);
      window.begun = true;
      const Watchdog watchdog(controller, window, watchdog_ns, {seat.priority + 1, -1});
      lines.arm();
      act(lines);
    } catch (...) {
      failure = std::current_exception();
    }
    controller.make_safe();
  }).join();
  unlock_memory();
  if (window.watchdog_fired)
    throw std::runtime_error(
        "The watchdog saw the lines left alone for a second and made the outputs safe. This "
        "computer is too busy; see `stillrotor host`.");
  if (failure) std::rethrow_exception(failure);
  return real_time;
}

}  // namespace stillrotor
