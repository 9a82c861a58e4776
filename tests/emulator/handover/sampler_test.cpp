#include "emulator/handover/sampler.hpp"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <cstring>
#include <set>
#include <span>
#include <vector>

namespace stillrotor {
namespace {

constexpr std::int64_t us = 1'000'000, ms = 1000 * us;

class Frames final : public RunSink {
 public:
  void frame(const Frame& f) noexcept override { kept.push_back(f); }
  void edge(const LineEdge&) noexcept override {}
  void mark(MarkKind, std::int64_t, std::string_view, std::string_view,
            std::int64_t) noexcept override {}
  std::vector<Frame> kept;
};

double value(const Frame& frame, Signal signal) {
  return static_cast<double>(frame.value[static_cast<std::size_t>(signal)]);
}

plant::DriveParameters drive_parameters() {
  plant::DriveParameters p;
  p.shaft.inertia_kg_m2 = 1e6;  // stands still whatever happens
  p.phase_current.kind = plant::CurrentSensing::in_line;
  p.phase_current.bandwidth_Hz = 1e9;  // no lag to speak of
  return p;
}

const auto no_throttle = [](Sampler::Pins&, std::int64_t) {};

void connect_U_to_bus(plant::Drive& drive, bool on) {
  drive.set_switch(plant::Switch::UH, on);
  drive.set_switch(plant::Switch::VL, on);
  drive.set_switch(plant::Switch::WL, on);
}

// 1e12 / 3 Hz is no whole number: points at 333333333333, 666666666667, 1000000000000 ps.
TEST(Sampler, PutsPointsOnTheGridRoundedToThePicosecond) {
  plant::Drive drive(drive_parameters());
  Frames frames;
  Sampler sampler(drive, 3.0, frames, no_throttle);
  drive.advance(1'000'000'000'000, &sampler);
  ASSERT_EQ(frames.kept.size(), 3U);
  EXPECT_EQ(frames.kept[0].at_ps, 333'333'333'333);
  EXPECT_EQ(frames.kept[1].at_ps, 666'666'666'667);
  EXPECT_EQ(frames.kept[2].at_ps, 1'000'000'000'000);
}

TEST(Sampler, EmitsEachPointOnceHoweverTimeIsCut) {
  plant::Drive drive(drive_parameters());
  Frames frames;
  Sampler sampler(drive, 20e3, frames, no_throttle);
  // Cuts on grid points, a picosecond beside them, and anywhere else.
  for (std::int64_t t = 0; t < 2 * ms; t += 50 * us)
    for (const std::int64_t cut : {t, t + 1, t + 17'777'777, t + 50 * us - 1})
      drive.advance(cut, &sampler);
  drive.advance(2 * ms, &sampler);
  ASSERT_EQ(frames.kept.size(), 40U);
  for (std::size_t k = 0; k < frames.kept.size(); ++k)
    EXPECT_EQ(frames.kept[k].at_ps, static_cast<std::int64_t>(k + 1) * 50 * us);
}

TEST(Sampler, RefusesRatesThatAreNotWholeHertz) {
  const plant::Drive drive(drive_parameters());
  Frames frames;
  for (const double rate : {0.0, -1.0, 0.5, 20000.5, 2e6, HUGE_VAL, std::nan("")})
    EXPECT_THROW(Sampler(drive, rate, frames, no_throttle), std::invalid_argument) << rate;
}

/// Inductances that fall with the current.
plant::FluxMapTable soft_map() {
  plant::FluxMapTable map;
  for (int k = -6; k <= 6; ++k) map.i_d_A.push_back(50.0 * k);
  map.i_q_A = map.i_d_A;
  for (const double d : map.i_d_A)
    for (const double q : map.i_q_A) {
      map.psi_d_Wb.push_back(15e-3 + 150e-6 * d - 5e-8 * d * d - 5e-8 * q * q);
      map.psi_q_Wb.push_back(200e-6 * q - 1e-7 * d * q);
    }
  return map;
}

// Values at a point inside a long step against the same machine advanced exactly to that point.
// Tolerance: single precision of some 100 A is 4e-6 A; the interpolation is of fourth order.
TEST(Sampler, InterpolatesAsIfTheStepHadEndedThere) {
  auto parameters = drive_parameters();
  parameters.step_max_s = 50e-6;
  plant::Drive sampled(parameters), exact(parameters);
  Frames frames;
  Sampler sampler(sampled, 30e3, frames, no_throttle);
  connect_U_to_bus(sampled, true);
  connect_U_to_bus(exact, true);
  sampled.advance(1 * ms, &sampler);
  ASSERT_EQ(frames.kept.size(), 30U);
  for (const Frame& frame : frames.kept) {
    exact.advance(frame.at_ps);
    const plant::Snapshot s = exact.snapshot();
    EXPECT_NEAR(value(frame, Signal::current_U), s.current_A.U, 2e-5);
    EXPECT_NEAR(value(frame, Signal::bus_voltage), s.bus_V, 2e-4);
    EXPECT_NEAR(value(frame, Signal::terminal_U), s.terminal_V.U, 2e-4);
    EXPECT_NEAR(value(frame, Signal::bus_current), s.supply_A, 5e-3);  // 5 mV over 40 mohm and more
    EXPECT_NEAR(value(frame, Signal::sense_bus), exact.bus_voltage_sense_V(), 1e-5);
    EXPECT_NEAR(value(frame, Signal::sense_U), exact.phase_current_sense_V(plant::Leg::U), 1e-4);
  }
}

// The same of a saturated machine, whose currents leave the map and what can be reached beyond it.
// Tolerance: both ways' steps end elsewhere, and where one crosses the map's rim or its reach, it
// errs by 1e-3 A to 3e-3 A.
TEST(Sampler, InterpolatesSaturatedCurrentsWithinTheMapAndFarBeyondIt) {
  auto parameters = drive_parameters();
  parameters.machine.flux_map = soft_map();
  parameters.supply.voltage_V = 200.0;
  parameters.step_max_s = 25e-6;
  plant::Drive sampled(parameters), exact(parameters);
  for (plant::Drive* drive : {&sampled, &exact})
    drive->start({0.0, 0.25 * plant::pi / parameters.machine.pole_pairs, -1.0});
  Frames frames;
  Sampler sampler(sampled, 30e3, frames, no_throttle);
  connect_U_to_bus(sampled, true);
  connect_U_to_bus(exact, true);
  sampled.advance(6 * ms, &sampler);
  double most_A = 0.0;
  for (const Frame& frame : frames.kept) {
    exact.advance(frame.at_ps);
    const plant::Snapshot s = exact.snapshot();
    most_A = std::max(most_A, s.current_A.U);
    ASSERT_NEAR(value(frame, Signal::current_U), s.current_A.U, 4e-3) << frame.at_ps;
    ASSERT_NEAR(value(frame, Signal::torque), s.torque_Nm, 6e-4) << frame.at_ps;
  }
  EXPECT_GT(most_A, 1000.0);
}

// By hand: stiff bus of 48 V, 1.5 L = 225 uH between terminals U and V||W. On for 5 us of each
// 50 us bin; within 5 us the resistances (sum 0.08 ohm, tau = 2.8 ms) take 0.1 %. First bin: the
// current rises to 48 V * 5 us / 225 uH = 1.067 A and falls back through the freewheeling low
// switches to it and stays. Bridge current: the triangle, 0.5 * 1.067 A * 5 us / 50 us = 53.3 mA.
TEST(Sampler, GivesTheBridgeCurrentAsMeanOverTheBinAndThePeakAsSpread) {
  auto parameters = drive_parameters();
  parameters.supply.resistance_ohm = 1e-6;
  parameters.dc_link = {1.0, 0.0};
  plant::Drive drive(parameters);
  Frames frames;
  Sampler sampler(drive, 20e3, frames, no_throttle);
  drive.advance(10 * us, &sampler);
  connect_U_to_bus(drive, true);
  drive.advance(15 * us, &sampler);
  drive.set_switch(plant::Switch::UH, false);
  drive.set_switch(plant::Switch::UL, true);
  drive.advance(50 * us, &sampler);
  ASSERT_EQ(frames.kept.size(), 1U);
  const Frame& frame = frames.kept[0];
  EXPECT_NEAR(value(frame, Signal::bridge_current), 0.0533, 0.0533 * 0.002);
  EXPECT_NEAR(static_cast<double>(frame.greatest[0]), 1.0667, 1.0667 * 0.002);
  EXPECT_EQ(frame.least[0], 0.0F);
  EXPECT_NEAR(static_cast<double>(frame.least[1]), -0.5333, 0.5333 * 0.002);
}

/// Centre-aligned pulses of changing width with dead time, 20 kHz.
std::vector<plant::GateChange> pulses(std::int64_t until_ps) {
  std::vector<plant::GateChange> gates;
  for (std::int64_t begin = 0; begin < until_ps; begin += 50 * us)
    for (int leg = 0; leg < 3; ++leg) {
      const double turned = 2e-9 * static_cast<double>(begin) / us + 2.1 * leg;
      const auto half = static_cast<std::int64_t>(12.5e6 * (1.0 + 0.4 * std::sin(1e6 * turned)));
      const auto high = static_cast<plant::Switch>(2 * leg),
                 low = static_cast<plant::Switch>(2 * leg + 1);
      gates.insert(gates.end(), {{begin + 25 * us - half, low, false},
                                 {begin + 26 * us - half, high, true},
                                 {begin + 25 * us + half, high, false},
                                 {begin + 26 * us + half, low, true}});
    }
  std::stable_sort(gates.begin(), gates.end(),
                   [](const auto& a, const auto& b) { return a.at_ps < b.at_ps; });
  return gates;
}

/// Two legs in turn, the high switch of the one chopped, the third leg left alone.
std::vector<plant::GateChange> chopped(std::int64_t until_ps) {
  constexpr int high[6] = {2, 2, 4, 4, 0, 0}, low[6] = {5, 1, 1, 3, 3, 5};
  std::vector<plant::GateChange> gates;
  int was = -1;
  for (std::int64_t begin = 0; begin < until_ps; begin += 50 * us) {
    const auto sector = static_cast<std::size_t>(begin / (400 * us)) % 6;
    const auto chops = static_cast<plant::Switch>(high[sector]);
    if (was >= 0 && was != low[sector])
      gates.push_back({begin, static_cast<plant::Switch>(was), false});
    was = low[sector];
    gates.insert(gates.end(), {{begin, static_cast<plant::Switch>(was), true},
                               {begin + 3 * us, chops, true},
                               {begin + 30 * us, chops, false}});
  }
  return gates;
}

/// One inductance and a trapezoid, which the inner loop steps by the shape of.
void shape_the_emf(plant::DriveParameters& p) {
  p.machine.inductance_q_H = p.machine.inductance_d_H;
  p.machine.back_emf = plant::trapezoid_harmonics(120.0, 49);
  p.phase_current.kind = plant::CurrentSensing::low_side_shunt;
}

/// One that reaches its limit, takes no current back and latches off, and a chopper.
void weaken_the_supply(plant::DriveParameters& p) {
  p.supply.kind = plant::SupplyKind::bench_supply;
  p.supply.current_limit_A = 5.0;
  p.supply.fold_back_A = 3.0;
  p.dc_link.capacitance_F = 200e-6;
  p.chopper = {.resistance_ohm = 5.0, .by_itself = true, .on_V = 48.6, .off_V = 48.3};
}

/// All that has a memory beside the machine: heat, and sensors of every quantity.
void fit_everything(plant::DriveParameters& p) {
  p.thermal.fitted = true;
  p.phase_current.compression = 0.01;
  p.phase_current.hysteresis_A = 0.2;
  p.dc_link_current.kind = plant::CurrentSensing::dc_link;
  p.dc_link_current.slew_V_per_s = 5e6;
  p.bus_voltage = {.fitted = true, .filter_s = 100e-6};
  p.phase_voltage = {.fitted = true, .filter_s = 200e-6};
  p.machine.demagnetisation = {.possible = true, .knee_A = -250.0, .lose_all_within_A = 1000.0};
}

// The same arithmetic on both ways: not a bit of the state may differ. Sensor edges and diode
// currents that end are on the way, and the general steps in place of the fast ones.
TEST(Sampler, SeesGatesPlayedAtOnceAsThoseDrivenOneByOne) {
  for (const int kind : {0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11}) {
    plant::DriveParameters p = drive_parameters();
    p.shaft.inertia_kg_m2 = 2e-3;
    p.phase_current.bandwidth_Hz = 200e3;
    p.hall.fitted = p.encoder.fitted = true;
    if (kind == 4 || kind == 5 || kind == 8) fit_everything(p);
    if (kind >= 6 && kind <= 8) {
      shape_the_emf(p);
      p.machine.demagnetisation = {};
    }
    if (kind == 5) {
      p.machine.flux_map = soft_map();
      p.machine.iron_loss = {50.0, 100.0, 0.5};
    }
    if (kind == 9 || kind == 10) weaken_the_supply(p);
    if (kind == 11) {  // hardly any supply: the link is emptied now and then
      p.supply.resistance_ohm = 10.0;
      p.dc_link.capacitance_F = 5e-6;
    }
    if (kind == 10) shape_the_emf(p);
    if (kind == 1) p.shaft.coulomb_friction_Nm = 0.1;
    if (kind == 2) p.bridge.output_capacitance_F = 2e-9;
    if (kind == 3) p.gate_driver.on_delay_s[2] = 150e-9;
    plant::Drive played(p), driven(p);
    Frames at_once, one_by_one;
    Sampler quick(played, 30e3, at_once, no_throttle), slow(driven, 30e3, one_by_one, no_throttle);
    slow.tally = nullptr;  // comes to each step by itself
    plant::StartState start;
    start.omega_m_rad_s = 40.0;
    played.start(start);
    driven.start(start);
    const std::vector<plant::GateChange> gates =
        kind == 7 || kind == 10 ? chopped(6 * ms) : pulses(6 * ms);
    int edges_played = 0, edges_driven = 0;
    std::set<plant::SupplyMode> supply_modes;
    bool brakes = false, holds = false;
    // Now and then on beyond the changes, half the way to the next one.
    const auto beyond_ps = [&](std::size_t next) {
      return next % 17 == 0 && next < gates.size() ? (gates[next - 1].at_ps + gates[next].at_ps) / 2
                                                   : 0;
    };
    for (std::size_t next = 0; next < gates.size();) {
      const std::size_t end = std::min(next - next % 17 + 17, gates.size());
      auto done = played.play({gates.data() + next, end - next}, beyond_ps(end), &quick);
      next += done.played;
      edges_played += done.stop.edge;
      while (next == end && done.stop.edge) {
        done = played.play({}, beyond_ps(end), &quick);
        edges_played += done.stop.edge;
      }
    }
    for (std::size_t k = 0; k < gates.size(); ++k) {
      while (driven.advance(gates[k].at_ps, &slow).edge) ++edges_driven;
      driven.set_switch(gates[k].which, gates[k].on);
      const std::int64_t on_ps = beyond_ps(k + 1);
      while (on_ps != 0 && driven.advance(on_ps, &slow).edge) ++edges_driven;
      supply_modes.insert(driven.state().supply_mode);
      brakes |= driven.state().supply.chopper_on;
      holds |= driven.state().link_held;
    }
    EXPECT_EQ(holds, kind == 11) << kind;
    if (kind == 9 || kind == 10) {
      EXPECT_EQ(supply_modes,
                (std::set{plant::SupplyMode::voltage, plant::SupplyMode::current_limit,
                          plant::SupplyMode::blocked}));
      EXPECT_TRUE(brakes);
    }
    EXPECT_EQ(std::memcmp(&played.state(), &driven.state(), sizeof(plant::DriveState)), 0) << kind;
    EXPECT_EQ(edges_played, edges_driven);
    EXPECT_GT(edges_played, 20);
    ASSERT_EQ(at_once.kept.size(), one_by_one.kept.size());
    for (std::size_t k = 0; k < at_once.kept.size(); ++k) {
      EXPECT_EQ(at_once.kept[k].least, one_by_one.kept[k].least) << k;
      EXPECT_EQ(at_once.kept[k].greatest, one_by_one.kept[k].greatest) << k;
      // torque from the step's own axes or from the stationary ones: the last bits of a double
      for (std::size_t j = 0; j < signal_count; ++j)
        EXPECT_NEAR(at_once.kept[k].value[j], one_by_one.kept[k].value[j],
                    1e-6F * (1.0F + std::abs(one_by_one.kept[k].value[j])))
            << k << ' ' << j;
    }
  }
}

/// Over all frames, times the bin's length.
double sum(const std::vector<Frame>& frames, Signal signal) {
  double of_all = 0.0;
  for (const Frame& frame : frames) of_all += value(frame, signal) / 30e3;
  return of_all;
}

// What goes into the bridge comes out at the shaft, stays in the machine's field, or is one of the
// losses; and friction is what the plant's own ledger calls heat on the shaft. The ledger asks for
// the general steps: beside it the same without. Tolerance: quantities are straight lines in a step
// (some 1e-4 of what flows, see the record's measures), single precision.
TEST(Sampler, SplitsWhatIsLostSoThatNothingIsMissing) {
  enum {
    mosfet,
    hard_switching,
    overlapping,
    igbt,
    capacitance,
    iron,
    delta,
    unequal,
    cage,
    saturated,
    saturated_overlapping,
    shaped,
    shaped_floating,
    shaped_overlapping,
    weak_supply,
    kinds
  };
  for (int kind = 0; kind < kinds; ++kind) {
    plant::DriveParameters p = drive_parameters();
    p.shaft = {};
    p.shaft.inertia_kg_m2 = 2e-3;
    p.shaft.viscous_friction_Nm_s_per_rad = 2e-3;
    p.shaft.coulomb_friction_Nm = kind == iron ? 0.1 : 0.0;
    p.bridge.switching = {200e-6, 250e-6, 90e-6, 72.0, 80.0};
    const bool maps = kind == saturated || kind == saturated_overlapping;
    const bool overlaps =
        kind == overlapping || kind == saturated_overlapping || kind == shaped_overlapping;
    const bool shapes = kind == shaped || kind == shaped_floating || kind == shaped_overlapping;
    if (shapes) shape_the_emf(p);
    if (kind == weak_supply) weaken_the_supply(p);
    if (kind == mosfet || maps || shapes) p.bridge.switching = {};
    if (maps) {
      fit_everything(p);
      p.machine.flux_map = soft_map();
      p.machine.iron_loss = {30.0, 100.0, 0.5};
    }
    if (kind == igbt) {
      p.bridge.switch_kind = plant::SwitchKind::igbt;
      p.bridge.switch_knee_V = 0.9;
    }
    if (kind == capacitance) p.bridge.output_capacitance_F = 2e-9;
    if (kind == iron) {
      p.machine.iron_loss.reference_W = 30.0;
      p.machine.cogging.push_back({12, 0.05, 0.0});
    }
    if (kind == delta) p.machine.connection = plant::Connection::delta;
    if (kind == unequal) p.machine.resistance_factor[1] = 1.5;
    if (kind == cage)
      p.induction = plant::InductionParameters{2, 20e-3, 60e-6, 15e-3, 60e-6, 1.5e-3};
    plant::Drive booked(p), plain(p);
    booked.keep_ledger(true);
    Frames of_booked, of_plain;
    Sampler one(booked, 30e3, of_booked, no_throttle), other(plain, 30e3, of_plain, no_throttle);
    plant::StartState start;
    start.omega_m_rad_s = 60.0;
    booked.start(start);
    plain.start(start);
    const double before_J = booked.machine_energy_J();
    std::vector<plant::GateChange> gates =
        kind == shaped_floating ? chopped(12 * ms) : pulses(12 * ms);
    if (overlaps) {  // both switches of a leg for 200 ns
      for (plant::GateChange& gate : gates)
        if (gate.on) gate.at_ps -= us + us / 5;
      std::stable_sort(gates.begin(), gates.end(),
                       [](const auto& a, const auto& b) { return a.at_ps < b.at_ps; });
    }
    for (auto* drive : {&booked, &plain}) {
      plant::SegmentObserver* observer = drive == &booked ? &one : &other;
      for (std::span<const plant::GateChange> left(gates); !left.empty();)
        left = left.subspan(drive->play(left, observer).played);
      while (drive->advance(12 * ms, observer).edge) {
      }
    }
    for (int k = 0; k <= static_cast<int>(plant::SensorChannel::phase_voltage_W) && kind != delta;
         ++k) {
      const auto channel = static_cast<plant::SensorChannel>(k);
      EXPECT_NEAR(booked.sense_V(channel), plain.sense_V(channel), 1e-5) << kind << ' ' << k;
    }
    const auto& frames = of_booked.kept;
    ASSERT_EQ(frames.size(), 360U);
    double lost_J = 0.0, through_J = 0.0;
    for (const Signal part : {Signal::loss_winding, Signal::loss_rotor, Signal::loss_iron,
                              Signal::loss_conduction, Signal::loss_switching})
      lost_J += sum(frames, part);
    for (const Frame& frame : frames)
      through_J += std::abs(value(frame, Signal::bridge_power)) / 30e3;
    const plant::DriveState& s = booked.state();
    double swing_J = 0.0;
    for (const double w : s.extra.leg_swing_V) swing_J += p.bridge.output_capacitance_F * w * w;
    const double left_J = sum(frames, Signal::bridge_power) - s.mechanical_J -
                          (value(frames.back(), Signal::machine_energy) - before_J) - swing_J;
    EXPECT_GT(lost_J, 0.02 * through_J) << kind;
    EXPECT_NEAR(left_J, lost_J, 3e-4 * through_J) << kind;
    EXPECT_NEAR(sum(frames, Signal::loss_friction), s.shaft_heat_J, 1e-4 * s.shaft_heat_J) << kind;
    EXPECT_GT(s.shaft_heat_J, 0.0);
    // Where a leg shorts the bus on its way, that burns enough by itself.
    EXPECT_EQ(sum(frames, Signal::loss_switching) > 0.0,
              kind != mosfet && !maps && !shapes && !overlaps)
        << kind;
    EXPECT_EQ(sum(frames, Signal::loss_iron) > 0.0, kind == iron || maps) << kind;
    EXPECT_EQ(sum(frames, Signal::loss_rotor) > 0.0, kind == cage) << kind;
    for (std::size_t j = 0; j < signal_count; ++j) {
      const auto signal = static_cast<Signal>(j);
      if (signal == Signal::angle_e) continue;
      EXPECT_NEAR(sum(frames, signal), sum(of_plain.kept, signal),
                  1e-4 * std::abs(sum(frames, signal)) + 1e-6)
          << kind << ' ' << signal_table[j].name;
    }
  }
}

TEST(Sampler, ForgetsAndKeepsWhatItWasToldToHold) {
  const auto parameters = drive_parameters();
  plant::Drive straight(parameters), wandering(parameters);
  Frames expected, got;
  Sampler one(straight, 20e3, expected, no_throttle), other(wandering, 20e3, got, no_throttle);

  connect_U_to_bus(straight, true);
  connect_U_to_bus(wandering, true);
  for (std::int64_t t = 30 * us; t <= 600 * us; t += 30 * us) {
    straight.advance(t, &one);
    const plant::DriveState here = wandering.state();
    const std::size_t kept_before = got.kept.size();
    other.hold();  // a look ahead over several grid points, with a large current, taken back
    connect_U_to_bus(wandering, false);
    wandering.advance(t + 500 * us, &other);
    EXPECT_EQ(got.kept.size(), kept_before);
    other.forget();
    wandering.restore(here);
    other.hold();  // and one that is kept
    wandering.advance(t, &other);
    other.keep();
  }
  ASSERT_EQ(got.kept.size(), expected.kept.size());
  ASSERT_EQ(got.kept.size(), 12U);
  for (std::size_t k = 0; k < got.kept.size(); ++k) {
    EXPECT_EQ(got.kept[k].value, expected.kept[k].value) << k;
    EXPECT_EQ(got.kept[k].least, expected.kept[k].least) << k;
    EXPECT_EQ(got.kept[k].greatest, expected.kept[k].greatest) << k;
  }
}

TEST(Sampler, AsksForTheThrottleAtTheGridInstant) {
  plant::Drive drive(drive_parameters());
  Frames frames;
  Sampler sampler(drive, 10e3, frames, [](Sampler::Pins& pins, std::int64_t t_ps) {
    pins.throttle_V = 1e-9 * static_cast<double>(t_ps);
  });
  drive.advance(ms, &sampler);
  ASSERT_EQ(frames.kept.size(), 10U);
  EXPECT_FLOAT_EQ(frames.kept[2].value[static_cast<std::size_t>(Signal::throttle)], 0.3F);
}

}  // namespace
}  // namespace stillrotor
