// Time in the plant: checkpoints, cuts, observers, the quiet bound, memory.
#include <gtest/gtest.h>

#include <cmath>
#include <cstdlib>
#include <cstring>
#include <new>
#include <random>
#include <vector>

#include "plant/drive.hpp"

namespace {
thread_local long allocations = 0;
}
// Counts every allocation of this test program; the RT promise of the plant is that it makes none.
void* operator new(std::size_t size) {
  ++allocations;
  if (void* p = std::malloc(size ? size : 1)) return p;
  throw std::bad_alloc();
}
void operator delete(void* p) noexcept { std::free(p); }
void operator delete(void* p, std::size_t) noexcept { std::free(p); }

namespace stillrotor::plant {
namespace {

constexpr std::int64_t us = 1'000'000;

DriveParameters cart() {
  DriveParameters d;
  d.machine.inductance_q_H = 250e-6;
  d.shaft.inertia_kg_m2 = 2e-3;
  d.shaft.coulomb_friction_Nm = 0.1;
  d.shaft.viscous_friction_Nm_s_per_rad = 1e-3;
  d.hall.fitted = true;
  d.encoder.fitted = true;
  d.phase_current.kind = CurrentSensing::low_side_shunt;
  return d;
}

/// A six-step-like gate pattern with chopping: edge k comes at 7 us * k.
void apply_pattern(Drive& drive, int k) {
  constexpr int high[6] = {0, 0, 2, 2, 4, 4}, low[6] = {3, 5, 5, 1, 1, 3};
  const int sector = k / 40 % 6;
  for (int s = 0; s < switch_count; ++s) {
    const bool on = (s == high[sector] && k % 2 == 0) || s == low[sector];
    drive.set_switch(static_cast<Switch>(s), on);
  }
}

TEST(Time, AdvancingInManyPiecesArrivesWhereOneLongAdvanceDoes) {
  Drive one(cart()), many(cart());
  StartState start;
  start.omega_m_rad_s = 150.0;
  one.start(start);
  many.start(start);
  for (int k = 0; k < 400; ++k) {
    apply_pattern(one, k);
    apply_pattern(many, k);
    const std::int64_t until = (k + 1) * 7 * us;
    while (one.advance(until).edge) {
    }
    for (std::int64_t t = k * 7 * us; t <= until; t += 333'333)
      while (many.advance(t).edge) {
      }
    while (many.advance(until).edge) {
    }
  }
  // The shorter steps differ from the longer ones by the method's error only. The bus is the
  // fastest pole: 1 mF behind 45 mohm, tau = 45 us, (7 us / 45 us)^5 / 120 = 8e-7 of its volts each
  // step.
  EXPECT_NEAR(one.state().i_alpha_A, many.state().i_alpha_A, 1e-6);
  EXPECT_NEAR(one.state().i_beta_A, many.state().i_beta_A, 1e-6);
  EXPECT_NEAR(one.state().omega_m_rad_s, many.state().omega_m_rad_s, 1e-6);
  EXPECT_EQ(one.state().encoder_count, many.state().encoder_count);
  EXPECT_EQ(one.state().sensor_levels, many.state().sensor_levels);
}

// follow() takes whole steps only, so it leaves the trajectory as one advance() would have made it.
TEST(Time, FollowingInBetweenLeavesNoTrace) {
  Drive one(cart()), looked_in(cart());
  StartState start;
  start.omega_m_rad_s = 150.0;
  one.start(start);
  looked_in.start(start);
  for (int k = 0; k < 100; ++k) {
    apply_pattern(one, 20 * k);
    apply_pattern(looked_in, 20 * k);
    const std::int64_t until = (k + 1) * 97 * us;
    for (std::int64_t t = k * 97 * us; t < until; t += 7'777'777) {
      looked_in.follow(t);
      ASSERT_LE(looked_in.state().time_ps, t);
    }
    while (one.advance(until).edge) {
    }
    while (looked_in.advance(until).edge) {
    }
  }
  EXPECT_EQ(one.state().i_alpha_A, looked_in.state().i_alpha_A);
  EXPECT_EQ(one.state().theta_e_rad, looked_in.state().theta_e_rad);
  EXPECT_EQ(one.state().encoder_count, looked_in.state().encoder_count);
}

// Both ways, through current ripple and dead times: one picosecond before the edge the angle has
// not reached it, and the same at every edge when the plant takes its general steps (ledger).
TEST(Time, AnEdgeComesAtTheFirstPicosecondAtWhichTheAngleHasReachedIt) {
  for (const double speed : {150.0, -150.0}) {
    DriveParameters p = cart();
    p.phase_current.kind = CurrentSensing::in_line;
    p.shaft.inertia_kg_m2 = 2e-4;
    Drive fast(p), general(p);
    general.keep_ledger(true);
    StartState start;
    start.omega_m_rad_s = speed;
    fast.start(start);
    general.start(start);
    int edges = 0;
    for (int k = 0; k < 300; ++k) {
      for (Drive* d : {&fast, &general})
        for (int leg = 0; leg < 3; ++leg) {
          const bool high = (k + 5 * leg) % 15 < 7;
          d->set_switch(static_cast<Switch>(2 * leg + (high ? 1 : 0)), false);
          if (k % 4 != 0) d->set_switch(static_cast<Switch>(2 * leg + (high ? 0 : 1)), true);
        }
      const std::int64_t until = (k + 1) * 5 * us;
      for (;;) {
        const DriveState before = fast.state();
        const Drive::Stop stop = fast.advance(until), other = general.advance(until);
        ASSERT_EQ(stop.edge, other.edge);
        if (!stop.edge) break;
        ++edges;
        EXPECT_EQ(stop.what.line, other.what.line);
        const DriveState there = fast.state();
        // Two methods' speeds differ by their error, some 1e-9 of the way.
        EXPECT_NEAR(static_cast<double>(there.time_ps - general.state().time_ps), 0.0, 2000.0);
        if (there.time_ps == before.time_ps) continue;  // two lines at once
        const auto beyond = [&before](double theta) {
          return theta >= before.edge_ahead_rad || theta < before.edge_behind_rad;
        };
        EXPECT_TRUE(beyond(there.theta_e_rad));
        fast.restore(before);
        EXPECT_FALSE(fast.advance(there.time_ps - 1).edge);
        EXPECT_FALSE(beyond(fast.state().theta_e_rad));
        fast.restore(there);
      }
    }
    EXPECT_GT(edges, 20);
  }
}

TEST(Time, ARestoredCheckpointRunsOnBitForBitAsIfNothingHadHappened) {
  Drive a(cart()), b(cart());
  for (int k = 0; k < 50; ++k) {
    apply_pattern(a, k);
    apply_pattern(b, k);
    const DriveState checkpoint = a.state();
    a.advance((k + 1) * 7 * us);  // thrown away
    a.set_switch(Switch::UH, true);
    a.set_switch(Switch::UL, true);
    a.advance((k + 2) * 7 * us);
    a.restore(checkpoint);
    while (a.advance((k + 1) * 7 * us).edge) {
    }
    while (b.advance((k + 1) * 7 * us).edge) {
    }
  }
  EXPECT_EQ(a.state().i_alpha_A, b.state().i_alpha_A);
  EXPECT_EQ(a.state().theta_e_rad, b.state().theta_e_rad);
  EXPECT_EQ(a.state().v_cap_V, b.state().v_cap_V);
  EXPECT_EQ(a.state().analog.phase[1].output_A, b.state().analog.phase[1].output_A);
}

// The rotor-frame step and the stationary-frame one (used while the ledger is kept) are the same
// equations; they differ by the method's error only.
TEST(Time, BothFramesOfIntegrationAgree) {
  DriveParameters parameters = cart();
  parameters.machine.inductance_q_H = 400e-6;
  parameters.bridge.diode_resistance_ohm =
      20e-3;  // diodes unlike switches: resistance is anisotropic
  Drive rotor(parameters), stationary(parameters);
  stationary.keep_ledger(true);
  StartState start;
  start.omega_m_rad_s = 250.0;
  double far = 0.0;
  for (Drive* d : {&rotor, &stationary}) {
    d->start(start);
    d->set_slope({0.02, 0.1});
    d->set_supply_V({48.0, -100.0});
  }
  for (int k = 0; k < 2000; ++k) {
    for (Drive* d : {&rotor, &stationary}) {
      // Three legs conduct most of the time: a rotating pattern with both switches of a leg in
      // turn.
      for (int leg = 0; leg < 3; ++leg) {
        const bool high = (k + 5 * leg) % 15 < 7;
        d->set_switch(static_cast<Switch>(2 * leg + (high ? 1 : 0)), false);
        if (k % 4) d->set_switch(static_cast<Switch>(2 * leg + (high ? 0 : 1)), true);
      }
      while (d->advance((k + 1) * 5 * us).edge) {
      }
    }
    far = std::max(far, std::abs(rotor.state().i_alpha_A - stationary.state().i_alpha_A));
  }
  EXPECT_GT(std::hypot(rotor.state().i_alpha_A, rotor.state().i_beta_A), 1.0);
  EXPECT_LT(far, 1e-5);
}

// The same for two phases fed and for a trapezoid: the scalar step against the general one.
TEST(Time, TheStepAlongOneDirectionAgreesWithTheGeneralOne) {
  DriveParameters parameters = cart();
  parameters.machine.back_emf = trapezoid_harmonics(120.0, 25);
  Drive line(parameters), general(parameters);
  general.keep_ledger(true);
  StartState start;
  start.omega_m_rad_s = 120.0;
  double far = 0.0, most = 0.0;
  int one_leg_out = 0;
  for (Drive* d : {&line, &general}) d->start(start);
  for (int k = 0; k < 1000; ++k) {
    for (Drive* d : {&line, &general}) {
      apply_pattern(*d, k);
      while (d->advance((k + 1) * 7 * us).edge) {
      }
    }
    for (const Conduction leg : line.state().leg) one_leg_out += leg == Conduction::floating;
    most = std::max(most, std::abs(line.state().i_alpha_A));
    far = std::max(far, std::abs(line.state().i_alpha_A - general.state().i_alpha_A));
  }
  EXPECT_GT(one_leg_out, 100);
  EXPECT_GT(most, 5.0);
  EXPECT_LT(far, 1e-5);
}

class Watcher : public SegmentObserver {
 public:
  void on_segment(const Segment& s) noexcept override {
    ++count;
    length_s += s.length_s;
    const double begins = static_cast<double>(s.begin->time_ps) * 1e-12 + s.begin->offset_s;
    gap = std::max(gap, std::abs(begins - end));
    end = static_cast<double>(s.end->time_ps) * 1e-12 + s.end->offset_s;
  }
  int count = 0;
  double length_s = 0.0, end = 0.0, gap = 0.0;
};

TEST(Time, SegmentsShownToAnObserverJoinWithoutGapOrOverlap) {
  Drive drive(cart());
  StartState start;
  start.omega_m_rad_s = 300.0;
  drive.start(start);
  Watcher watcher;
  for (int k = 0; k < 200; ++k) {
    apply_pattern(drive, k);
    while (drive.advance((k + 1) * 7 * us, &watcher).edge) {
    }
  }
  EXPECT_GT(watcher.count, 200);
  EXPECT_NEAR(watcher.length_s, 1400e-6, 1e-12);
  EXPECT_LT(watcher.gap, 1e-15);
}

TEST(Time, InsideASegmentTheCubicAgreesWithSteppingThere) {
  struct Middle : SegmentObserver {
    const Drive* drive = nullptr;
    double i_alpha = 0.0;
    void on_segment(const Segment& s) noexcept override {
      i_alpha = drive->inside(s, 0.4 * s.length_s).current_A.U;
    }
  } middle;
  Drive drive(cart()), stepped(cart());
  StartState start;
  start.omega_m_rad_s = 200.0;
  for (Drive* d : {&drive, &stepped}) {
    d->start(start);
    d->set_switch(Switch::UH, true);
    d->set_switch(Switch::VL, true);
    d->set_switch(Switch::WL, true);
  }
  middle.drive = &drive;
  drive.advance(8 * us, &middle);
  stepped.advance(3'200'000);
  // Cubic Hermite: h^4 / 384 times the fourth derivative, that of the bus (tau = 45 us) above all:
  // (8 / 45)^4 / 384 = 2.6e-6 of its part in the current.
  EXPECT_NEAR(middle.i_alpha, stepped.snapshot().current_A.U, 2.6e-6 * 0.7);
}

// Whatever the gates do, no sensor edge may come before the promised moment.
TEST(Time, NoSensorEdgeComesBeforeTheQuietBound) {
  std::mt19937 rng(7);
  for (int trial = 0; trial < 300; ++trial) {
    DriveParameters p = cart();
    p.shaft.inertia_kg_m2 = std::uniform_real_distribution<>(1e-5, 1e-2)(rng);
    Drive drive(p);
    StartState start;
    start.omega_m_rad_s = std::uniform_real_distribution<>(-400.0, 400.0)(rng);
    start.theta_m_rad = std::uniform_real_distribution<>(0.0, 6.0)(rng);
    drive.start(start);
    for (int k = 0; k < 60; ++k) {
      const std::int64_t now = drive.state().time_ps;
      const std::int64_t quiet = drive.quiet_until(now + 50 * us);
      ASSERT_GE(quiet, now);
      // The worst the gates can do in between.
      std::int64_t t = now;
      while (t < quiet) {
        apply_pattern(drive, static_cast<int>(rng() % 240));
        t = std::min<std::int64_t>(quiet, t + static_cast<std::int64_t>(rng() % 9'000'000));
        ASSERT_FALSE(drive.advance(t).edge && drive.state().time_ps < quiet) << "trial " << trial;
      }
      while (drive.advance(now + 50 * us).edge) {
      }
    }
  }
}

TEST(Time, NothingIsAllocatedAfterConstruction) {
  Drive drive(cart());
  StartState start;
  start.omega_m_rad_s = 300.0;
  Watcher watcher;
  const long before = allocations;
  drive.start(start);
  for (int k = 0; k < 500; ++k) {
    apply_pattern(drive, k);
    while (drive.advance((k + 1) * 7 * us, &watcher).edge) {
    }
    (void)drive.snapshot();
    (void)drive.phase_current_sense_V(Leg::V);
    (void)drive.quiet_until((k + 2) * 7 * us);
  }
  drive.set_phase_open(Leg::U, true);
  drive.advance(4000 * us, &watcher);
  EXPECT_EQ(allocations, before);
  // The counter itself works.
  std::vector<int> something(10);
  EXPECT_GT(allocations, before);
}

// A map, cogging, iron losses, magnets that fall and temperatures that move: all of it in place.
TEST(Time, NothingIsAllocatedByAMeasuredMachineEither) {
  DriveParameters d = cart();
  auto& m = d.machine;
  for (int k = -4; k <= 4; ++k) {
    m.flux_map.i_d_A.push_back(50.0 * k);
    m.flux_map.i_q_A.push_back(50.0 * k);
  }
  for (const double i_d : m.flux_map.i_d_A)
    for (const double i_q : m.flux_map.i_q_A) {
      m.flux_map.psi_d_Wb.push_back(12e-3 + 150e-6 * i_d);
      m.flux_map.psi_q_Wb.push_back(250e-6 * i_q);
    }
  m.cogging = {{24, 0.02, 0.0}};
  m.iron_loss = {20.0, 100.0, 0.5};
  m.demagnetisation = {true, -20.0, 0.1, 100.0};
  Drive drive(d);
  StartState start;
  start.omega_m_rad_s = 300.0;
  const long before = allocations;
  drive.start(start);
  for (int k = 0; k < 500; ++k) {
    apply_pattern(drive, k);
    while (drive.advance((k + 1) * 7 * us).edge) {
    }
    if (k % 50 == 0) drive.set_machine_temperatures(300.0 + k, 300.0 + 0.5 * k);
    (void)drive.machine_energy_J();
  }
  EXPECT_LT(drive.state().machine.magnet_left, 1.0);
  EXPECT_EQ(allocations, before);
}

// The magnets' loss is part of the state: a checkpoint before it gives the magnets back.
TEST(Time, ACheckpointHoldsTheMagnets) {
  DriveParameters d = cart();
  d.machine.demagnetisation = {true, -20.0, 0.1, 100.0};
  Drive drive(d);
  const DriveState whole = drive.state();
  for (const Switch on : {Switch::UL, Switch::VH, Switch::WH}) drive.set_switch(on, true);
  while (drive.advance(300 * us).edge) {
  }
  ASSERT_LT(drive.state().machine.magnet_left, 1.0);
  drive.restore(whole);
  EXPECT_EQ(drive.state().machine.magnet_left, 1.0);
  EXPECT_EQ(drive.state().machine.flux_linkage_Wb, whole.machine.flux_linkage_Wb);
}

TEST(Time, AMissingOrAbsurdParameterIsNamedWithItsRange) {
  DriveParameters d = cart();
  d.machine.inductance_d_H = -1e-6;
  try {
    Drive drive(d);
    FAIL() << "a negative inductance was accepted";
  } catch (const std::invalid_argument& e) {
    EXPECT_NE(std::strstr(e.what(), "machine.inductance_d"), nullptr) << e.what();
    EXPECT_NE(std::strstr(e.what(), "above 0"), nullptr) << e.what();
  }
}

}  // namespace
}  // namespace stillrotor::plant
