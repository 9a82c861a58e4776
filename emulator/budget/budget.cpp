#include "emulator/budget/budget.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <numbers>

#include "emulator/budget/quantities.hpp"
#include "io/wired.hpp"

namespace stillrotor {
namespace {

constexpr double two_pi = 2.0 * std::numbers::pi;
constexpr double rpm = two_pi / 60.0;

bool wired(const Bench& bench, io::LineId line) {
  return bench.harness.lines[io::index(line)].connected;
}
bool wired(const Bench& bench, io::ChannelId channel) {
  return bench.harness.channels[io::index(channel)];
}
bool halls(const Bench& bench) {
  return wired(bench, io::line::hall_U) || wired(bench, io::line::hall_V) ||
         wired(bench, io::line::hall_W);
}
bool encoder(const Bench& bench) {
  return wired(bench, io::line::encoder_A) || wired(bench, io::line::encoder_B);
}
bool currents(const Bench& bench) {
  return wired(bench, io::channel::phase_current_U) || wired(bench, io::channel::phase_current_V) ||
         wired(bench, io::channel::phase_current_W) || wired(bench, io::channel::dc_link_current);
}
bool any_channel(const Bench& bench) {
  return std::any_of(bench.harness.channels.begin(), bench.harness.channels.end(),
                     [](bool connected) { return connected; });
}

class Sums {
 public:
  Sums(const Bench& bench, const Routes& routes) : bench_(bench), routes_(routes) {}

  Budget all() {
    routes_.averages ? averages() : gates();
    angles();
    volts();
    clocked_angle();
    command_pulse();
    grade();
    return std::move(sum_);
  }

 private:
  void gates() {
    const io::LineRoute& lines = routes_.lines;
    const double pwm = bench_.expects.pwm_frequency_Hz, dead = bench_.expects.dead_time_s;
    if (sum_.stated(pwm, "pwm_frequency")) {
      const double edges = gate_edges_a_period * pwm;
      sum_.add(
          {.signal = "gates, in",
           .asks = fmt::format("12 x {}", hertz(pwm)),
           .demand = edges,
           .limit = lines.edges_in_per_s,
           .unit = "edges/s",
           .fits_up_to = fmt::format("{} PWM", hertz(lines.edges_in_per_s / gate_edges_a_period)),
           .consequence = "edges would be lost: the plant would see other voltages than the bridge",
           .remedy = "take the gates by a mapped register on a core of its own (backend: polled), "
                     "as averages through RC filters, or by a timing co-processor",
           .grounds = lines.grounds},
          edges <= lines.edges_in_per_s);
      add_edges_a_turn(sum_, pwm, routes_.cycle_s);
    }
    if (sum_.stated(dead, "dead_time"))
      sum_.add({.signal = "dead time, in",
                .asks = fmt::format("{:g} x stamp jitter within it", dead_time_in_jitters),
                .demand = dead_time_in_jitters * lines.stamp_jitter_s * 1e6,
                .limit = dead * 1e6,
                .unit = "us",
                .fits_up_to = fmt::format("dead times from {}",
                                          seconds(dead_time_in_jitters * lines.stamp_jitter_s)),
                .consequence = "stamps would overlap where gates do not: false shoot-through",
                .remedy =
                    "a route with finer stamps (backend: polled, timing co-processor), or averaged "
                    "duty a period",
                .grounds = lines.grounds},
               dead_time_in_jitters * lines.stamp_jitter_s <= dead);
  }

  /// Of a first-order filter at half duty: half the swing for half a period, over its time
  /// constant.
  void averages() {
    const io::AveragesRoute& route = *routes_.averages;
    const double pwm = bench_.expects.pwm_frequency_Hz;
    if (!sum_.stated(pwm, "pwm_frequency")) return;
    const double ripple_percent = 100.0 / (4.0 * pwm * route.fastest_filter_s);
    sum_.add(
        {.signal = "gate averages, in",
         .asks =
             fmt::format("1 / (4 x {} x {} filter)", hertz(pwm), seconds(route.fastest_filter_s)),
         .demand = ripple_percent,
         .limit = ripple_most_percent,
         .unit = "% of duty",
         .fits_up_to =
             fmt::format("filters from {}", seconds(100.0 / (4.0 * pwm * ripple_most_percent))),
         .consequence = "samples would catch the filter's ripple: duties that nobody commanded",
         .remedy = "a slower filter, and a slower loop with it, or gates as edges",
         .grounds = "a first-order filter's ripple at half duty, peak to peak"},
        ripple_percent <= ripple_most_percent);
  }

  void angles() {
    // An edge waits half a cycle for its write in the mean, and none or a whole one at worst.
    const double half_s = 0.5 * routes_.cycle_s;
    const double best_lead_s = bench_.cycle.delay_s + half_s + routes_.lines.write_s;
    const double late_s = std::abs(best_lead_s - bench_.cycle.lead_s) + half_s;
    const double top = bench_.expects.top_speed_rad_s;
    const int pairs = bench_.drive.pole_pairs();
    if (halls(bench_) && sum_.stated(top, "top_speed")) {
      const double frequency = pairs * top / two_pi, late_deg = 360.0 * frequency * late_s;
      sum_.add(
          {.signal = "Halls, out",
           .asks = fmt::format("360 deg x {} x (|{} delay + {} half cycle + {} write - {} lead| + "
                               "half cycle)",
                               hertz(frequency), seconds(bench_.cycle.delay_s), seconds(half_s),
                               seconds(routes_.lines.write_s), seconds(bench_.cycle.lead_s)),
           .demand = late_deg,
           .limit = hall_late_most_deg,
           .unit = "deg",
           .fits_up_to =
               fmt::format("{:.4g} rpm", hall_late_most_deg / 360.0 / late_s / pairs * 60.0),
           .consequence = "Hall edges would be off by more than Halls are placed wrong",
           .remedy = fmt::format("{}a shorter cycle, a lower top speed, or a timing co-processor "
                                 "for the outputs",
                                 std::abs(best_lead_s - bench_.cycle.lead_s) > 0.1 * half_s
                                     ? fmt::format("cycle.lead: {}, ", seconds(best_lead_s))
                                     : ""),
           .grounds = "common practice: Halls are some electrical degrees off by themselves"},
          late_deg <= hall_late_most_deg);
    }
    if (encoder(bench_) && sum_.stated(top, "top_speed")) {
      const int lines = bench_.drive.encoder.lines;
      const double steps = 4.0 * lines * top / two_pi, writes = 1.0 / routes_.cycle_s;
      sum_.add(
          {.signal = "encoder, out",
           .asks = fmt::format("4 x {} lines x {:.4g} rpm", lines, top / rpm),
           .demand = steps,
           .limit = writes,
           .unit = "edges/s",
           .fits_up_to = fmt::format("{:.4g} rpm, or {:.0f} lines", writes / (4.0 * lines) * 60.0,
                                     writes / (4.0 * top / two_pi)),
           .consequence = "more than one quadrature step a write: the controller would miscount",
           .remedy = "a lower top speed, fewer lines, or a timing co-processor for the outputs",
           .grounds = "one quadrature step a write, one write a cycle"},
          steps <= writes);
    }
  }

  void volts() {
    if (!any_channel(bench_)) return;
    if (!routes_.volts) {
      sum_.add({.signal = "channels, out",
                .asks = "volts at the controller's inputs",
                .demand = 1.0,
                .limit = 0.0,
                .unit = "routes",
                .fits_up_to = "none",
                .consequence = "what the bench would put there reaches nobody",
                .remedy = "wire a converter, or leave the channels off the harness",
                .grounds = "the bench names no converter"},
               false);
      return;
    }
    const double averages_s = routes_.averages ? routes_.averages->delay_s : 0.0;
    sum_.loop_delay_s =
        averages_s + 0.5 * routes_.cycle_s + routes_.cycle_s + routes_.volts->delay_s;
    sum_.current_loop_most_Hz = phase_lost_most_deg / 360.0 / sum_.loop_delay_s;
    if (!currents(bench_) || !sum_.stated(bench_.expects.current_loop_Hz, "current_loop")) return;
    const double crossover = bench_.expects.current_loop_Hz;
    const double lost_deg = 360.0 * crossover * sum_.loop_delay_s;
    sum_.add(
        {.signal = "currents, out",
         .asks =
             fmt::format("360 deg x {} x ({}{} half hold + {} cycle + {} bus)", hertz(crossover),
                         routes_.averages ? fmt::format("{} averages + ", seconds(averages_s)) : "",
                         seconds(0.5 * routes_.cycle_s), seconds(routes_.cycle_s),
                         seconds(routes_.volts->delay_s)),
         .demand = lost_deg,
         .limit = phase_lost_most_deg,
         .unit = "deg",
         .fits_up_to = fmt::format("{} crossover", hertz(sum_.current_loop_most_Hz)),
         .consequence =
             fmt::format("the current loop would lose {:.0f} deg of phase at its crossover "
                         "and swing, or worse",
                         lost_deg),
         .remedy = "test current loops in virtual time, or with the fast part of the plant on a "
                   "timing co-processor",
         .grounds = routes_.volts->grounds},
        lost_deg <= phase_lost_most_deg);
  }

  void clocked_angle() {
    if (!wired(bench_, io::line::angle_clock)) return;
    sum_.add(
        {.signal = "absolute angle, out",
         .asks = "an answer to each clock edge of the controller",
         .demand = 1.0,
         .limit = routes_.cycle_s * 1e6,
         .unit = "us",
         .fits_up_to = "none",
         .consequence =
             "the sensor's bits would come a cycle late, behind the clock that reads them",
         .remedy = "leave the clock unwired and use Halls or encoder, or a timing co-processor",
         .grounds = "no Linux process answers a clock of hundreds of kilohertz"},
        false);
  }

  /// Its edges come with the cycle's writes: the width is a whole number of cycles.
  void command_pulse() {
    if (!wired(bench_, io::line::command_pulse)) return;
    const CommandPulse& pulse = bench_.controls.pulse;
    const double travel_s = pulse.full_s - pulse.idle_s;
    const double step_percent = 100.0 * routes_.cycle_s / travel_s;
    sum_.add(
        {.signal = "command pulse, out",
         .asks = fmt::format("{} cycle / {} from idle to full", seconds(routes_.cycle_s),
                             seconds(travel_s)),
         .demand = step_percent,
         .limit = pulse_step_most_percent,
         .unit = "% of travel",
         .fits_up_to =
             fmt::format("cycles of {}", seconds(0.01 * pulse_step_most_percent * travel_s)),
         .consequence = "the pulse would end with a cycle: the throttle would move in steps",
         .remedy = "wire the throttle's voltage, run it in virtual time, or a timing co-processor "
                   "for the outputs",
         .grounds = "common practice: receivers have a dead band of some microseconds"},
        step_percent <= pulse_step_most_percent);
  }

  void grade() {
    const bool fast_currents =
        currents(bench_) && bench_.expects.current_loop_Hz > sum_.current_loop_most_Hz;
    if (fast_currents) {
      sum_.grade = Grade::partitioned;
      sum_.grade_why = fmt::format(
          "currents are asked at a {} crossover; through a loop of {} only {} keep their margin",
          hertz(bench_.expects.current_loop_Hz), seconds(sum_.loop_delay_s),
          hertz(sum_.current_loop_most_Hz));
    } else if (currents(bench_) || routes_.averages) {
      sum_.grade = Grade::averages;
      if (routes_.averages)
        sum_.grade_why = fmt::format("gates are averages, {} behind their wires",
                                     seconds(routes_.averages->delay_s));
      if (currents(bench_))
        sum_.grade_why +=
            fmt::format("{}averaged currents, for loops up to {}",
                        sum_.grade_why.empty() ? "" : "; ", hertz(sum_.current_loop_most_Hz));
    } else {
      sum_.grade_why = "Halls, encoder, slow analog: six-step drives, sequences, faults";
    }
  }

  const Bench& bench_;
  const Routes& routes_;
  Budget sum_;
};

}  // namespace

bool Budget::fits() const noexcept {
  return not_stated.empty() &&
         std::all_of(demands.begin(), demands.end(), [](const Demand& d) { return d.fits; });
}

void Budget::add(Demand demand, bool does_fit) {
  demand.fits = does_fit;
  demands.push_back(std::move(demand));
}

bool Budget::stated(double value, const char* name) {
  if (value > 0.0) return true;
  const std::string path = fmt::format("controller.expects.{}", name);
  if (std::find(not_stated.begin(), not_stated.end(), path) == not_stated.end())
    not_stated.push_back(path);
  return false;
}

void add_edges_a_turn(Budget& budget, double pwm_frequency_Hz, double cycle_s) {
  constexpr double most = 0.9 * io::EdgeBatch::most_edges;
  const double edges = gate_edges_a_period * pwm_frequency_Hz * cycle_s;
  budget.add({.signal = "gates, a turn",
              .asks = fmt::format("12 x {} x {} cycle", hertz(pwm_frequency_Hz), seconds(cycle_s)),
              .demand = edges,
              .limit = most,
              .unit = "edges",
              .fits_up_to = fmt::format("cycles of {}",
                                        seconds(most / (gate_edges_a_period * pwm_frequency_Hz))),
              .consequence = "edges would wait for the next turn and find the plant beyond them",
              .remedy = "a shorter cycle.period",
              .grounds = "nine tenths of what a turn reads"},
             edges <= most);
}

Budget budget(const Bench& bench, const Routes& routes) { return Sums(bench, routes).all(); }

}  // namespace stillrotor
