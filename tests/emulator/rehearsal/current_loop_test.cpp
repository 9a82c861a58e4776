// What a delay on the wires takes from a current loop: field-oriented control, 20 kHz PWM, 1 kHz
// crossover, the rotor held, the delay imposed through the bench's own cycle.
//
// How     a sine of 2 A along phase U's axis is added to the currents that the controller samples.
//         At standstill, without saliency, that axis is a loop of its own: its gain is L = - (what
//         the machine shows) / (what the controller sees).
// By hand the plain loop is an integrator of 1 kHz with 1.5 PWM periods of delay: 90 deg - 27 deg =
//         63 deg of margin. 50 us more: 360 deg * 1 kHz * 50 us = 18 deg less. 175 us more: 63 deg
//         less: nothing is left, it oscillates at its crossover.
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <complex>
#include <numbers>
#include <vector>

#include "emulator/rehearsal/rehearsed_run.hpp"
#include "tests/emulator/virtual_time/support.hpp"

namespace stillrotor::test {
namespace {

constexpr double two_pi = 2.0 * std::numbers::pi;
constexpr double crossover_Hz = 1e3, sine_A = 2.0, volts_per_A = 0.02;
constexpr double sine_from_s = 0.4, sine_to_s = 0.45, end_s = 0.47;  // whole periods of 1 kHz

/// Another controller that sees its phase currents with a sine in them, and what it saw.
class Disturbed final : public io::SimulatedController, private io::World {
 public:
  struct Seen {
    double at_s, machine_V, controller_V;  // phase U's sensor
  };
  explicit Disturbed(io::SimulatedController& inner) : inner_(inner) {}

  void power(double volts, io::Time t, io::World& world) override {
    world_ = &world;
    inner_.power(volts, t, *this);
  }
  io::Time run(io::Time horizon) noexcept override { return inner_.run(horizon); }
  void deliver(const io::Edge& edge) noexcept override { inner_.deliver(edge); }
  io::Health health() const noexcept override { return inner_.health(); }
  std::string_view diagnosis() const noexcept override { return inner_.diagnosis(); }

  std::vector<Seen> seen;

 private:
  void drive(const io::Edge& edge) noexcept override { world_->drive(edge); }
  io::Level level(io::LineId line, io::Time t) noexcept override { return world_->level(line, t); }
  void text(io::Time, std::string_view) noexcept override {}
  double volts(io::ChannelId channel, io::Time t) noexcept override {
    const double plain_V = world_->volts(channel, t);
    const bool is_U = channel == io::channel::phase_current_U;
    const bool is_other =
        channel == io::channel::phase_current_V || channel == io::channel::phase_current_W;
    if (!is_U && !is_other) return plain_V;
    const double at_s = static_cast<double>(t.count()) * 1e-12;
    const bool on = at_s >= sine_from_s && at_s < sine_to_s;
    const double added_V = on ? volts_per_A * sine_A * std::sin(two_pi * crossover_Hz * at_s) : 0.0;
    const double shown_V = plain_V + (is_U ? added_V : -0.5 * added_V);
    if (is_U) seen.push_back({at_s, plain_V, shown_V});
    return shown_V;
  }

  io::SimulatedController& inner_;
  io::World* world_ = nullptr;
};

/// 20 kHz, 1 kHz, the rotor held; sensors in line, which show the current at any time.
Bench held_bench(double delay_s) {
  Bench bench = mid_bench();
  bench.drive.machine.inductance_d_H = bench.drive.machine.inductance_q_H = 150e-6;
  bench.drive.shaft.hold = plant::Hold::locked;
  bench.drive.phase_current = {};
  bench.drive.phase_current.kind = plant::CurrentSensing::in_line;
  auto& controller = std::get<io::FieldOrientedConfig>(bench.controller);
  controller.scaling.low_side_shunts = false;
  controller.dead_time_s = 0.1e-6;  // one leg's current is near zero, where it swallows voltage
  controller.pwm_frequency_Hz = 20e3;
  controller.current_loop_Hz = crossover_Hz;
  controller.inductance_d_H = controller.inductance_q_H = 150e-6;
  bench.cycle.period_s = 1e-6;
  bench.cycle.delay_s = delay_s;
  return bench;
}

std::vector<Disturbed::Seen> seen_behind(double delay_s) {
  const Bench bench = held_bench(delay_s);
  RehearsedRoute route;  // nothing but the delay
  route.lines.edges_in_per_s = 1e12;
  route.burst_edges = 1e6;
  const auto plain = io::make_controller(bench.controller);
  Disturbed controller(*plain);
  Scenario scenario = drive_off(static_cast<std::int64_t>(end_s * 1e12), 2.0);
  // The held current lies near phase U's axis.
  scenario.start.angle_rad = -0.5 * std::numbers::pi / 4.0;
  KeepingSink sink;
  const RehearsedOutcome outcome = run_rehearsed(bench, scenario, controller, route, sink);
  EXPECT_EQ(outcome.run.controller, io::Health::running) << outcome.run.diagnosis;
  return controller.seen;
}

std::complex<double> loop_gain(const std::vector<Disturbed::Seen>& seen) {
  constexpr double settled_s = sine_from_s + 0.02;
  const auto counts = [](const Disturbed::Seen& s) {
    return s.at_s >= settled_s && s.at_s < sine_to_s;  // whole periods
  };
  double mean_V = 0.0, count = 0.0;
  for (const Disturbed::Seen& s : seen)
    if (counts(s)) {
      mean_V += s.machine_V;
      count += 1.0;
    }
  mean_V /= count;
  EXPECT_GT(std::abs(mean_V - 2.5), 10.0 * volts_per_A);  // a current is held
  std::complex<double> machine, controller;
  for (const Disturbed::Seen& s : seen)
    if (counts(s)) {
      const auto turned = std::polar(1.0, -two_pi * crossover_Hz * s.at_s);
      machine += (s.machine_V - mean_V) * turned;
      controller += (s.controller_V - mean_V) * turned;
    }
  return -machine / controller;
}

double margin_deg(std::complex<double> gain) { return 180.0 + std::arg(gain) * 360.0 / two_pi; }

/// Rms of the current's swing about its mean in a stretch after the sine [A].
double swing_A(const std::vector<Disturbed::Seen>& seen, double from_s, double to_s) {
  double sum = 0.0, squares = 0.0, count = 0.0;
  for (const Disturbed::Seen& s : seen)
    if (s.at_s >= from_s && s.at_s < to_s) {
      sum += s.machine_V;
      squares += s.machine_V * s.machine_V;
      count += 1.0;
    }
  return std::sqrt(std::max(squares / count - sum * sum / count / count, 0.0)) / volts_per_A;
}

// Tolerance: 6 deg and 15 % for the sensor's lag (0.8 us), the cycle's own 1 us, and the winding's
// pole, which the controller cancels only as far as it knows the switches' resistance.
TEST(CurrentLoopBehindWires, KeepsTheMarginOfItsOwnDelayWithoutAny) {
  const auto gain = loop_gain(seen_behind(0.0));
  EXPECT_NEAR(std::abs(gain), 1.0, 0.15);
  EXPECT_NEAR(margin_deg(gain), 63.0, 6.0);
}

TEST(CurrentLoopBehindWires, LosesEighteenDegreesToFiftyMicroseconds) {
  const auto seen = seen_behind(50e-6);
  const auto gain = loop_gain(seen);
  EXPECT_NEAR(std::abs(gain), 1.0, 0.15);
  EXPECT_NEAR(margin_deg(gain), 45.0, 6.0);
  EXPECT_LT(swing_A(seen, sine_to_s + 0.01, end_s), 0.05);  // and comes to rest
}

// It swings up until the controller finds too much current and stops; the last 5 ms before that.
TEST(CurrentLoopBehindWires, OscillatesAtItsCrossoverBehindOneHundredAndSeventyFive) {
  const auto seen = seen_behind(175e-6);
  const double end = seen.back().at_s, from_s = end - 5e-3;
  EXPECT_GT(swing_A(seen, from_s, end), 4.0);
  double mean_V = 0.0, count = 0.0;
  for (const Disturbed::Seen& s : seen)
    if (s.at_s >= from_s) {
      mean_V += s.machine_V;
      count += 1.0;
    }
  mean_V /= count;
  int rises = 0;
  double first_s = 0.0, last_s = 0.0;
  for (std::size_t k = 1; k < seen.size(); ++k) {
    if (seen[k].at_s < from_s || seen[k - 1].machine_V > mean_V || seen[k].machine_V <= mean_V)
      continue;
    if (rises++ == 0) first_s = seen[k].at_s;
    last_s = seen[k].at_s;
  }
  ASSERT_GE(rises, 3);
  EXPECT_NEAR((rises - 1) / (last_s - first_s), crossover_Hz, 100.0);
}

}  // namespace
}  // namespace stillrotor::test
