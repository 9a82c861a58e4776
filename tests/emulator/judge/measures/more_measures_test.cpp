// Measures of angle, energy, answers and reactions, each on a signal with a known answer: one
// table.
#include <gtest/gtest.h>

#include <numeric>

#include "tests/emulator/judge/synthetic_record.hpp"

namespace stillrotor {
namespace {

using namespace testing;

struct Case {
  const char* measure;
  double truth;
  double widest = 1e-9;  // of the uncertainty that may be claimed
  Window part = {};
  const char* argument = "";
  const char* phase = "";
};

/// The truth lies within the stated uncertainty, which is no wider than the case allows.
void expect(SyntheticRecord& record, std::initializer_list<Case> cases) {
  for (const Case& one : cases) {
    const Measurement m = measure(record.read(), one.measure, one.phase, one.part, one.argument);
    EXPECT_EQ(m.undefined, "") << one.measure;
    EXPECT_NEAR(m.value, one.truth, m.uncertainty + 1e-12) << one.measure;
    EXPECT_LE(m.uncertainty, one.widest) << one.measure;
  }
}
struct Hole {
  const char* measure;
  const char* why;
  Window part = {};
  const char* argument = "";
};
void expect_undefined(SyntheticRecord& record, std::initializer_list<Hole> holes) {
  for (const Hole& one : holes) {
    const Measurement m = measure(record.read(), one.measure, "", one.part, one.argument);
    EXPECT_NE(m.undefined.find(one.why), std::string::npos) << one.measure << ": " << m.undefined;
  }
}

constexpr double f_e = 49.3;  // electrical, beside every division of grid and window
double turned(double t_s) { return 2.0 * pi * (f_e * t_s + 4.0 * t_s * t_s); }  // speeding up

// i = 20 cos + 2 cos 5 + 1 cos 7 over the angle: distortion sqrt(2^2 + 1^2) / 20 = 0.111803; U's
// rms sqrt((400 + 4 + 1) / 2), V's 10 % less, W's the same: mean 0.96667, unbalance 0.06667 /
// 0.96667. Torque 8 + 0.5 cos 6. The speed changes by 16 % meanwhile: over time it would smear.
TEST(OverTheAngle, HarmonicsAndUnbalance) {
  SyntheticRecord record;
  const auto wave = [](double size) {
    return [size](double t_s) {
      const double a = turned(t_s);
      return size * (20.0 * std::cos(a) + 2.0 * std::cos(5.0 * a) + std::cos(7.0 * a));
    };
  };
  record.signal(Signal::angle_e, [](double t_s) { return std::fmod(turned(t_s), 2.0 * pi); })
      .signal(Signal::current_U, wave(1.0))
      .signal(Signal::current_V, wave(0.9))
      .signal(Signal::current_W, wave(1.0))
      .signal(Signal::torque, [](double t_s) { return 8.0 + 0.5 * std::cos(6.0 * turned(t_s)); });
  expect(record, {{"phase_current_harmonic", 20.0, 0.01, {}, "1", "U"},
                  {"phase_current_harmonic", 1.8, 0.01, {}, "5", "V"},
                  {"phase_current_harmonic", 1.0, 0.01, {}, "7", "U"},
                  {"phase_current_harmonic", 0.0, 0.01, {}, "3", "U"},
                  {"phase_current_distortion", std::sqrt(5.0) / 20.0, 1e-3, {}, "", "U"},
                  {"phase_current_unbalance", 0.2 / 2.9, 2e-2},
                  {"torque_harmonic", 0.5, 5e-3, {}, "6"},
                  {"torque_harmonic", 0.0, 5e-3, {}, "5"}});
  expect_undefined(record, {{"torque_harmonic", "a whole one", window(0.0, 0.01), "6"},
                            {"torque_harmonic", "carries harmonics up to order", {}, "200"},
                            {"torque_harmonic", "needs a harmonic's order"},
                            {"phase_current_distortion", "a whole one", window(0.0, 0.01)}});
}

// A cart's drive: 10 A on d (against), 30 A on q, L_d 100 uH, L_q 300 uH, psi 12 mWb, 42 mohm at 20
// degC and 0.00393/K, windings at 80 degC. By hand: (psi + 200 uH * 10 A) * 30 A = 0.42 against the
// best angle for 31.623 A, found by trying ten thousand below. Losses as they stand there, those of
// the iron falling from 8 W to 4 W, so 6 W. Bridge 576 W, shaft 4 N m * 100 rad/s = 400 W:
// efficiency 0.6944, the rest 576 - 400 - 140 = 36 W. Widest: 1e-3 of each power. Supply: 15 A out
// for 0.6 s, 5 A back for 0.4 s = 96 J. Torque an ampere: 4 / 31.623.
TEST(InTheRotorsAxes, CurrentsTorqueAndEnergy) {
  SyntheticRecord record;
  record.machine({42e-3, 100e-6, 300e-6, 12e-3, 293.15, 0.00393})
      .constant(Signal::current_d, -10.0)
      .constant(Signal::current_q, 30.0)
      .constant(Signal::torque, 4.0)
      .constant(Signal::speed, 100.0)
      .constant(Signal::bus_voltage, 48.0)
      .losses({.rotor = true, .iron = true, .switching = true})
      .constant(Signal::bridge_power, 576.0)
      .constant(Signal::loss_winding, 140.0)
      .constant(Signal::loss_rotor, 11.0)
      .signal(Signal::loss_iron, [](double t_s) { return 8.0 - 4.0 * t_s; })
      .constant(Signal::loss_conduction, 20.0)
      .constant(Signal::loss_switching, 9.0)
      .constant(Signal::loss_friction, 3.0)
      .constant(Signal::temperature_winding, 353.15)
      .signal(Signal::temperature_magnet, [](double t_s) { return 300.0 + 40.0 * t_s; })
      .constant(Signal::temperature_heatsink, 330.0)
      .signal(Signal::temperature_junction, [](double t_s) { return 400.0 - 20.0 * t_s; })
      .signal(
          Signal::bus_current, [](double t_s) { return t_s <= 0.6 ? 15.0 : -5.0; }, 1);
  for (const Signal phase : {Signal::current_U, Signal::current_V, Signal::current_W})
    record.constant(phase, 30.0);
  const double size = std::hypot(10.0, 30.0);
  double best = 0.0;
  for (int k = 0; k < 10'000; ++k) {
    const double angle = pi / 2.0 * k / 10'000.0;
    const double d = -size * std::sin(angle), q = size * std::cos(angle);
    best = std::max(best, (12e-3 - 200e-6 * d) * q);
  }
  expect(record, {{"current_d_mean", -10.0, 1e-5},
                  {"current_q_mean", 30.0, 1e-5},
                  {"torque_per_ampere", 4.0 / size, 1e-6},
                  {"distance_from_best_torque", 1.0 - 0.42 / best, 1e-5},
                  {"input_energy", 576.0, 0.6},
                  {"shaft_energy", 400.0, 1e-3},
                  {"efficiency", 400.0 / 576.0, 8e-4},
                  {"copper_loss", 140.0, 0.15},
                  {"rotor_loss", 11.0, 0.012},
                  {"iron_loss", 6.0, 7e-3},
                  {"iron_loss", 7.4, 8e-3, window(0.1, 0.2)},
                  {"conduction_loss", 20.0, 0.021},
                  {"conduction_loss", 20.0, 0.06, window(0.10001, 0.19993)},  // bins cut
                  {"switching_loss", 9.0, 0.01},
                  {"friction_loss", 3.0, 4e-3},
                  {"remaining_loss", 36.0, 0.73},
                  {"returned_energy", 96.0, 0.121},
                  {"temperature_winding_max", 353.15, 1e-3},
                  {"temperature_magnet_max", 340.0, 0.01},
                  {"temperature_heatsink_max", 330.0, 1e-3},
                  {"temperature_junction_max", 400.0, 0.01}});
  SyntheticRecord other;
  other.constant(Signal::current_q, 1.0);
  expect_undefined(other, {{"distance_from_best_torque", "names no constant inductances"},
                           {"rotor_loss", "no cage"},
                           {"iron_loss", "gives its machine no iron losses"},
                           {"switching_loss", "cost nothing to switch"},
                           {"conduction_loss", "shorter than one step", window(0.1, 0.10002)},
                           {"efficiency", "nothing flows through"}});
}

// A lamp that is lit for 3 s at first (nothing that could be a blink), then blinks thrice and again
// thrice, 250 ms lit and 250 ms dark, pauses of 1.5 s: groups from 5 s to 6.25 s and from 7.75 s to
// 9 s. Then five times, 100 ms lit, 200 ms dark, from 10.5 s to 11.8 s; and a sixth, cut by the
// end.
TEST(Lamp, BlinksACodeBetweenPauses) {
  SyntheticRecord record(15.0, 1e3), dark(3.0, 1e3), lit(3.0, 1e3);
  const auto blink = [&](double at_s, double lit_s) {
    record.pulse(io::index(io::line::lamp), std::llround(at_s * 1e12),
                 std::llround((at_s + lit_s) * 1e12));
  };
  blink(0.5, 3.0);
  for (const double begin_s : {5.0, 7.75})
    for (int k = 0; k < 3; ++k) blink(begin_s + 0.5 * k, 0.25);
  for (int k = 0; k < 5; ++k) blink(10.5 + 0.3 * k, 0.1);
  blink(14.9, 0.3);
  expect(record, {{"blink_code", 3.0, 0.0, window(0.0, 10.0)},
                  {"blink_code", 3.0, 0.0, window(3.9, 7.5)},   // pauses of 1.1 s and 1.25 s
                  {"blink_code", 5.0, 0.0, window(9.4, 15.0)},  // the first three are cut
                  {"blink_code", 3.0, 0.0, window(0.0, 10.5), "0.2 0.3 1.45"},
                  {"blink_code", 5.0, 0.0, window(9.0, 14.0), "0.05 0.25 1.45"},
                  {"blink_code", 1.0, 0.0, window(5.3, 5.9), "0.1 0.25 0.15"}});
  expect_undefined(record, {{"blink_code", "blinked 3 and 5 times"},
                            {"blink_code", "no group of blinks", window(4.5, 7.0)},
                            {"blink_code", "no group of blinks", window(0.0, 7.1)},
                            {"blink_code", "was lit for 3 s", window(0.0, 5.5)},
                            {"blink_code", "was lit for 100 ms", window(9.1, 14.0), "0.2 0.8 1"},
                            {"blink_code", "was lit for 250 ms", window(3.9, 7.5), "0.05 0.2 1"}});
  expect_undefined(dark, {{"blink_code", "no group of blinks"}});
  lit.initially_high(23);
  expect_undefined(lit, {{"blink_code", "no group of blinks"}});
}

// Six-step at 50 Hz, blocks of 120 degrees commutated 3 degrees late: block k of leg L begins at 30
// + 180 k + 120 L degrees. By hand: each pole voltage is +-1/2 for a third of the turn each, its
// fundamental (4 / pi) / 2 * cos 30 deg of the bus, so 1.1027 over half of it.
SyntheticRecord& six_step(SyntheticRecord& record, double late_deg) {
  record.signal(Signal::angle_e, [](double t_s) { return std::fmod(100.0 * pi * t_s, 2.0 * pi); });
  for (int leg = 0; leg < 3; ++leg)
    for (int k = 0; k < 40; ++k) {
      const double begin_deg = 30.0 + 180.0 * k + 120.0 * leg + late_deg;
      const auto at = [&](double deg) { return std::llround(deg / 360.0 * 20e9); };
      record.pulse(static_cast<std::uint16_t>(2 * leg + 1 - k % 2), at(begin_deg),
                   at(begin_deg + 120.0));
    }
  return record;
}
TEST(SixStep, CommutationAndModulation) {
  SyntheticRecord late(0.4), even(0.4);
  const Window part = window(0.1, 0.38);
  expect(six_step(late, 3.0), {{"commutation_error_mean", 3.0 * pi / 180.0, 1e-4, part},
                               {"commutation_error_spread", 0.0, 1e-4, part},
                               {"modulation_index", 4.0 / pi * std::cos(pi / 6.0), 0.15, part},
                               {"shortest_pulse", 20e-3 / 3.0, 3e-12, part}});
  expect(six_step(even, 0.0), {{"commutation_error_mean", 0.0, 1e-4, part}});
  SyntheticRecord still(0.1);
  expect_undefined(still, {{"commutation_error_mean", "only 0 commutations"},
                           {"modulation_index", "it takes a whole one"},
                           {"shortest_pulse", "no gate goes on and off"}});
}

// Periods of 100 us whose duty wanders; every tenth pulse 0.4 us late as a whole. Dead times of 1
// us, every 50th 0.5 us (2 %); ten overlaps of 0.3 us. By hand: p1 0.5 us, median 1 us, overlap 3
// us, shortest pulse 20 us. Jitter by quartiles: a tenth of late pulses does not reach them: 0.
TEST(Gates, DeadTimesOverlapsAndJitter) {
  SyntheticRecord record(0.12);
  for (int k = 0; k < 1000; ++k) {
    const std::int64_t at = k * 100 * us + (k % 10 == 5 ? 400'000 : 0);
    const std::int64_t half = (10 + k % 7) * us, middle = at + 40 * us;
    const std::int64_t dead = k % 100 == 99 ? -300'000 : k % 50 == 48 ? 500'000 : us;
    record.pulse(0, middle - half, middle + half)
        .pulse(1, middle + half + dead, middle + half + dead + 30 * us);
  }
  expect(record, {{"dead_time_median", 1e-6, 1.1e-12},
                  {"dead_time_p1", 0.5e-6, 1.1e-12},
                  {"smallest_dead_time", -0.3e-6, 1.1e-12},
                  {"shoot_through_time", 3e-6, 1.1e-11},
                  {"shortest_pulse", 20e-6, 1.1e-12},
                  {"pwm_jitter", 0.0, 1.1e-12}});
}

double lag(double t_s, double tau_s) { return t_s < 0.0 ? 0.0 : 1.0 - std::exp(-t_s / tau_s); }
/// Two equal poles' opposite: a step that overshoots by exp(-pi zeta / sqrt(1 - zeta^2)).
double swing(double t_s, double zeta, double omega) {
  if (t_s < 0.0) return 0.0;
  const double root = std::sqrt(1.0 - zeta * zeta);
  return 1.0 - std::exp(-zeta * omega * t_s) *
                   (std::cos(root * omega * t_s) + zeta / root * std::sin(root * omega * t_s));
}

// First order, tau 20 ms: 10 to 90 % in tau ln 9, within 5 % after tau ln 20, 95 % of the way from
// rest likewise (textbook). Second order, zeta 0.5: overshoot exp(-pi / sqrt 3) = 0.16303.
TEST(Answers, ToAStep) {
  SyntheticRecord record;
  record.mark(MarkKind::action, 200 * ms, "throttle")
      .signal(Signal::speed, [](double t_s) { return 10.0 + 40.0 * lag(t_s - 0.2, 20e-3); })
      .signal(Signal::current_q, [](double t_s) { return 30.0 * swing(t_s - 0.2, 0.5, 300.0); })
      .signal(Signal::current_U, [](double t_s) { return t_s > 0.5 && t_s < 0.6 ? -50.0 : 40.0; });
  const Window part = after("throttle");
  expect(record, {{"speed_rise_time", 20e-3 * std::log(9.0), 2e-4, part},
                  {"speed_settling_time", 20e-3 * std::log(20.0), 1e-4, part},
                  {"speed_overshoot", 0.0, 1e-4, part},
                  {"current_overshoot", std::exp(-pi / std::sqrt(3.0)), 1e-3, part},
                  {"start_up_time", 20e-3 * std::log(40.0 / 2.5), 2e-4, part},
                  {"current_limit_overshoot", 0.25, 1e-5, part}});
  // zeta 0.5: the rise is 1.6390 / omega and settling 5.2878 / omega, by bisection on the formula.
  const Measurement rise = measure(record.read(), "current_rise_time", "", part);
  EXPECT_NEAR(rise.value, 1.6390 / 300.0, rise.uncertainty + 1e-6);
  const Measurement rest = measure(record.read(), "current_settling_time", "", part);
  EXPECT_NEAR(rest.value, 5.2878 / 300.0, rest.uncertainty + 1e-6);
  expect_undefined(record, {{"speed_rise_time", "name one with"},
                            {"speed_rise_time", "had not settled", window(0.0, 0.03, "throttle")},
                            {"start_up_time", "already", window(0.4)}});
  SyntheticRecord nothing;
  expect_undefined(nothing, {{"current_limit_overshoot", "next to no current"}});
}

// A load at 0.3 s takes 50 t' exp(-t' / tau) rad/s off 100: most at tau = 20 ms, 50 * 20 ms / e =
// 0.3679. Within a tenth of that when x exp(1 - x) = 0.1, x = 4.8897 (bisection).
TEST(Answers, ToADisturbance) {
  SyntheticRecord record;
  record.mark(MarkKind::action, 300 * ms, "load_torque").signal(Signal::speed, [](double t_s) {
    const double t = std::max(0.0, t_s - 0.3);
    return 100.0 - 50.0 * t * std::exp(-t / 20e-3);
  });
  const Window part = after("load_torque");
  expect(record, {{"speed_deviation", std::exp(-1.0), 2e-4, part},
                  {"speed_recovery_time", 4.8897 * 20e-3, 1e-4, part}});
  SyntheticRecord still;
  still.mark(MarkKind::action, 300 * ms, "load_torque").constant(Signal::speed, 100.0);
  expect_undefined(still, {{"speed_deviation", "did not move", part}});
}

// 4 pole pairs, 10 rad/s rising to 60: ripple of 1.5 rad/s either way. By hand: a turn is smooth to
// 20 % from some 15 rad/s on, plus what it speeds up by in that turn.
TEST(Answers, LowestSmoothSpeed) {
  SyntheticRecord record(20.0, 2e3);
  record
      .signal(Signal::speed,
              [](double t_s) { return 10.0 + 2.5 * t_s + 1.5 * std::sin(200.0 * t_s); })
      .signal(Signal::angle_e, [](double t_s) {
        return std::fmod(4.0 * (10.0 * t_s + 1.25 * t_s * t_s), 2.0 * pi);
      });
  const Measurement m = measure(record.read(), "lowest_smooth_speed", "", {});
  EXPECT_EQ(m.undefined, "");
  // (3 + 2.5 * 2 pi / v) / v = 0.2 at v = 19.0 (by hand, quadratic); a turn there is 0.8 rad/s
  // long.
  EXPECT_NEAR(m.value, 19.0, 0.9);
  EXPECT_LT(m.uncertainty, 1.0);
}

// Brake at 0.2 s: torque falls in a straight line within 10 ms: 5 % of 6 N m at 9.5 ms. Gates off
// from 0.21 s, on again at 0.3 and 0.4 s. The bus rises from 48 to 60 V. Contactor opens at 0.25 s.
TEST(Reactions, AfterAnEvent) {
  SyntheticRecord record(0.5);
  record.mark(MarkKind::action, 200 * ms, "brake on")
      .mark(MarkKind::text, 230 * ms, "controller", "fault 7: bus too high")
      .mark(MarkKind::text, 240 * ms, "controller", "fault 12")
      .mark(MarkKind::text, 250 * ms, "controller", "all is well")
      .signal(Signal::torque,
              [](double t_s) { return 6.0 * std::clamp(1.0 - (t_s - 0.2) / 10e-3, 0.0, 1.0); })
      .signal(
          Signal::bus_voltage, [](double t_s) { return t_s > 0.22 ? 60.0 : 48.0; }, 1)
      .pulse(0, 0, 210 * ms)
      .pulse(0, 300 * ms, 301 * ms)
      .pulse(0, 303 * ms, 304 * ms)
      .pulse(3, 400 * ms, 401 * ms)
      .pulse(20, 0, 250 * ms)
      .pulse(21, 220 * ms, 230 * ms)
      .pulse(21, 240 * ms, 245 * ms)
      .pulse(static_cast<int>(io::line::lamp), 300 * ms, 320 * ms);
  const Window part = after("brake on");
  expect(record, {{"time_to_zero_torque", 9.5e-3, 51e-6, part},
                  {"restarts", 2.0, 0.0, part},
                  {"bus_overvoltage", 12.0, 1e-5, part},
                  {"time_to_contactor_open", 50e-3, 2e-12, part},
                  {"chopper_on_time", 15e-3, 5e-12},
                  {"chopper_on_time", 12e-3, 5e-12, window(0.223, 0.4)},
                  {"lamp_lit_time", 20e-3, 5e-12},
                  {"lamp_lit_time", 0.0, 5e-12, window(0.0, 0.3)},
                  {"text_matches", 2.0, 0.0, {}, "^fault [0-9]+"},
                  {"text_matches", 1.0, 0.0, window(0.235), "^fault [0-9]+"},
                  {"text_matches", 0.0, 0.0, {}, "reset"},
                  {"text_number", 12.0, 0.0, window(0.235), "^fault ([0-9]+)"},
                  {"text_number", 7.0, 0.0, window(0.0, 0.235), "^fault ([0-9]+)"}});
  EXPECT_TRUE(measure(record.read(), "time_to_contactor_closed", "", part).at_least);
  EXPECT_TRUE(
      measure(record.read(), "time_to_zero_torque", "", window(0.0, 5e-3, "brake on")).at_least);
  expect_undefined(record,
                   {{"time_to_zero_torque", "name one with"},
                    {"time_to_zero_torque", "must rest 5 ms", window(0.0, 11e-3, "brake on")},
                    {"restarts", "never rested", window(0.0, 9e-3, "brake on")},
                    {"bus_overvoltage", "name one with"},
                    {"text_matches", "needs a pattern"},
                    {"text_matches", "no regular expression", {}, "a(b"},
                    {"text_number", "no line that fits", {}, "reset ([0-9]+)"},
                    {"text_number", "lines differ: 7, later 12", {}, "^fault ([0-9]+)"},
                    {"text_number", "is no number", {}, "^(fault)"},
                    {"text_number", "is no number", {}, "^fault"}});
  SyntheticRecord idle(0.5);
  idle.mark(MarkKind::action, 200 * ms, "brake on");
  expect_undefined(idle, {{"time_to_zero_torque", "no torque before", part},
                          {"time_to_contactor_open", "was low already", part}});
}

// 10 A with 3 A at 25 Hz: on a line of 1.024 s (0.9766 Hz apart) it lies between two, at most half
// a line from one. The slice's mean takes sin(pi f T) / (pi f T) = 0.999 of it.
TEST(SupplyCurrent, Swings) {
  SyntheticRecord record(1.5);
  record.signal(Signal::bus_current, [](double t_s) {
    return 10.0 + 2.0 * t_s + 3.0 * std::sin(2.0 * pi * 25.0 * t_s);
  });
  expect(record, {{"supply_swing", 3.0, 0.6}, {"supply_swing_frequency", 25.0, 0.5}});
  SyntheticRecord quiet(1.5);
  quiet.constant(Signal::bus_current, 10.0);
  expect_undefined(quiet, {{"supply_swing_frequency", "nothing stands out"},
                           {"supply_swing", "shorter than 64 ms", window(0.0, 0.05)}});
}

}  // namespace
}  // namespace stillrotor
