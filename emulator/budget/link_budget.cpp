#include "emulator/budget/link_budget.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <numbers>

#include "emulator/budget/quantities.hpp"
#include "io/link/address.hpp"
#include "io/wired.hpp"

namespace stillrotor {
namespace {

constexpr double two_pi = 2.0 * std::numbers::pi;
constexpr double rpm = two_pi / 60.0;
// As many have been brought, one by one, over each kind of wire (tests/io/link/stream_test.cpp).
constexpr double edges_tested_per_s = 240'000.0;
// On a line with a speed: ten bits a byte; three bytes an edge, a frame's thirty with 75 of them.
constexpr double bits_a_byte = 10.0, bytes_an_edge = 3.0 + 30.0 / 75.0, bytes_a_report = 114.0;
constexpr double bytes_of_beats_per_s = 500.0 * 42.0;

class Sums {
 public:
  Sums(const Bench& bench, const io::LinkConfig& link, const ChipStamps& stamps)
      : bench_(bench), link_(link), stamps_(stamps) {}

  Budget all() {
    edges_in();
    if (const double pwm = bench_.expects.pwm_frequency_Hz; pwm > 0.0)
      add_edges_a_turn(sum_, pwm, bench_.cycle.period_s);
    dead_time();
    speed();
    currents();
    inputs();
    sum_.grade = Grade::partitioned;
    sum_.grade_why = fmt::format(
        "bridge, currents, trip and angle outputs are computed beside the pins: currents follow a "
        "gate edge within {}, loops keep their margin up to {}",
        seconds(longest_answer_s()), hertz(sum_.current_loop_most_Hz));
    return std::move(sum_);
  }

 private:
  std::string of_stamps() const {
    return stamps_.asked ? "as the chip says of itself"
                         : "declared in controller.link, until a chip is asked (check --connect)";
  }
  /// From a gate edge to the converter's code that shows it, at worst: the step it lies in, its
  /// computation, the step until the next.
  double longest_answer_s() const { return 2.0 * link_.step_s + link_.settle_s; }

  void edges_in() {
    double limit = edges_tested_per_s;
    std::string grounds = "as many are brought over each kind of wire in the project's tests";
    const io::LinkAddress address = io::parse_link_address(link_.address);
    // Without @ the line has no speed of its own, as over USB.
    if (address.kind == io::LinkAddress::Kind::serial &&
        link_.address.find('@') != std::string::npos) {
      const double baud = address.baud;
      const double left =
          baud / bits_a_byte - bytes_a_report / link_.report_s - bytes_of_beats_per_s;
      limit = std::clamp(left / bytes_an_edge, 0.0, limit);
      grounds = fmt::format("a line of {:g} baud, less reports and heartbeats", baud);
    }
    if (!sum_.stated(bench_.expects.pwm_frequency_Hz, "pwm_frequency")) return;
    const double edges = gate_edges_a_period * bench_.expects.pwm_frequency_Hz;
    sum_.add(
        {.signal = "gates, in",
         .asks = fmt::format("12 x {}", hertz(bench_.expects.pwm_frequency_Hz)),
         .demand = edges,
         .limit = limit,
         .unit = "edges/s",
         .fits_up_to = fmt::format("{} PWM", hertz(limit / gate_edges_a_period)),
         .consequence = "edges would be lost on the way; each loss makes its window INVALID",
         .remedy = "a faster line, fewer reports (controller.link.report), or USB or a network",
         .grounds = grounds},
        edges <= limit);
  }

  void dead_time() {
    const double dead = bench_.expects.dead_time_s;
    if (!sum_.stated(dead, "dead_time")) return;
    const double jitters = dead_time_in_jitters * stamps_.error_s();
    sum_.add({.signal = "dead time, in",
              .asks = fmt::format("{:g} x stamp error within it", dead_time_in_jitters),
              .demand = jitters * 1e6,
              .limit = dead * 1e6,
              .unit = "us",
              .fits_up_to = fmt::format("dead times from {}", seconds(jitters)),
              .consequence = "stamps would overlap where gates do not: false shoot-through",
              .remedy = "a chip with finer capture",
              .grounds = of_stamps()},
             jitters <= dead);
  }

  void speed() {
    const double top = bench_.expects.top_speed_rad_s;
    if (!sum_.stated(top, "top_speed")) return;
    const double most = io::coprocessor::max_speed_rad_s(link_.settings->parameters.angle,
                                                         link_.settings->plant.scale);
    sum_.add(
        {.signal = "angle, out",
         .asks = "the top speed",
         .demand = top / rpm,
         .limit = most / rpm,
         .unit = "rpm",
         .fits_up_to = fmt::format("{:.4g} rpm", most / rpm),
         .consequence = "the encoder's or Halls' edges would be held back: another angle than the "
                        "plant's",
         .remedy = "a shorter step on a faster chip, or an encoder of fewer lines",
         .grounds = fmt::format("one count and two electrical degrees a step of {}",
                                seconds(link_.step_s))},
        top <= most);
  }

  void currents() {
    sum_.loop_delay_s = 1.5 * link_.step_s + link_.settle_s;
    sum_.current_loop_most_Hz = phase_lost_most_deg / 360.0 / sum_.loop_delay_s;
    const auto& channels = link_.channels;
    const bool wired = std::any_of(channels.begin() + io::index(io::channel::phase_current_U),
                                   channels.begin() + io::index(io::channel::phase_current_W) + 1,
                                   [](int at) { return at >= 0; });
    if (!wired || !sum_.stated(bench_.expects.current_loop_Hz, "current_loop")) return;
    const double crossover = bench_.expects.current_loop_Hz;
    const double lost_deg = 360.0 * crossover * sum_.loop_delay_s;
    sum_.add({.signal = "currents, out",
              .asks = fmt::format("360 deg x {} x ({} half hold + {} step + {} settle)",
                                  hertz(crossover), seconds(0.5 * link_.step_s),
                                  seconds(link_.step_s), seconds(link_.settle_s)),
              .demand = lost_deg,
              .limit = phase_lost_most_deg,
              .unit = "deg",
              .fits_up_to = fmt::format("{} crossover", hertz(sum_.current_loop_most_Hz)),
              .consequence = "the current loop would lose that phase at its crossover",
              .remedy = "a shorter step, on a chip that can",
              .grounds = "controller.link.step; the chip's own lateness is reported while it runs"},
             lost_deg <= phase_lost_most_deg);
  }

  /// Key, brake, reverse and throttle as the scenario has them at the clock's time: a turn of the
  /// cycle brings them to the link, a turn of the link's thread to the chip.
  void inputs() {
    constexpr double most_ms = 50.0;  // below what a hand does
    constexpr double link_turn_ms = 2.0;
    const double late_ms = 1e3 * bench_.cycle.period_s + link_turn_ms;
    sum_.add({.signal = "driver's inputs, out",
              .asks = fmt::format("{} cycle + {:g} ms link", seconds(bench_.cycle.period_s),
                                  link_turn_ms),
              .demand = late_ms,
              .limit = most_ms,
              .unit = "ms",
              .fits_up_to = "throttle, switches, temperatures",
              .consequence = "throttle and switches would come later than a hand moves",
              .remedy = "a shorter cycle.period",
              .grounds = "below what a hand does"},
             late_ms <= most_ms);
  }

  const Bench& bench_;
  const io::LinkConfig& link_;
  const ChipStamps& stamps_;
  Budget sum_;
};

}  // namespace

double ChipStamps::error_s() const noexcept {
  // A chip's jitter may hold its rounding, or not: the larger of both, not less than rounding.
  return std::max(jitter_s, resolution_s / std::sqrt(12.0));
}

ChipStamps declared_stamps(const io::LinkConfig& link) {
  return {link.stamp_resolution_s, link.stamp_jitter_s, false};
}

Budget link_budget(const Bench& bench, const io::LinkConfig& link, const ChipStamps& stamps) {
  return Sums(bench, link, stamps).all();
}

}  // namespace stillrotor
