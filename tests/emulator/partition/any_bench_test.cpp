// Any bench that the co-processor accepts, on any gates: its plant beside the bench's own, from one
// report to the next, within what Bounds allows for it. Both take the same edges and the same
// angle, so that the bound here is the one for the rest: no stamps, no gap of angle.
#include <gtest/gtest.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <random>
#include <vector>

#include "emulator/bench/input_error.hpp"
#include "emulator/partition/bounds.hpp"
#include "emulator/partition/link_settings.hpp"
#include "io/link/coprocessor/rotor_field.h"
#include "tests/emulator/virtual_time/support.hpp"
#include "tests/reference/support/edges.hpp"

namespace stillrotor {
namespace {

namespace chip = io::coprocessor;
using plant::Switch;
using reference::GateEdge;

struct Random {
  explicit Random(unsigned seed) : rng(seed) {}
  double uniform(double a, double b) { return std::uniform_real_distribution<>(a, b)(rng); }
  double decades(double a, double b) {
    return std::pow(10.0, uniform(std::log10(a), std::log10(b)));
  }
  bool once_in(unsigned n) { return rng() % n == 0; }
  int whole(int a, int b) { return a + static_cast<int>(rng() % static_cast<unsigned>(b - a + 1)); }
  double sign() { return once_in(2) ? -1.0 : 1.0; }
  std::mt19937 rng;
};

/// The mid bench without sensors, its rotor held by a dynamometer.
Bench bare_bench() {
  Bench b = test::mid_bench();
  for (auto& line : b.harness.lines) line.connected = false;
  b.harness.channels.fill(false);
  b.drive.shaft = {.inertia_kg_m2 = 1e3};
  b.drive.phase_current.kind = b.drive.dc_link_current.kind = plant::CurrentSensing::none;
  b.drive.encoder.fitted = false;
  b.drive.supply.battery = {};
  b.expects = {};
  return b;
}

struct Drawn {
  Bench bench;
  io::LinkSettings settings;
};

/// Machine, bridge, link, supply and chip, over more than what is accepted. False: refused.
bool draw(Random& r, Drawn& out) {
  static const Bench bare = bare_bench();
  out.bench = bare;
  plant::DriveParameters& d = out.bench.drive;
  io::LinkConfig c;
  static constexpr double ticks_ns[] = {1, 2, 5, 8, 10, 20, 40, 100, 1000};
  const double tick_s = 1e-9 * ticks_ns[r.whole(0, 8)];
  c.tick_Hz = 1.0 / tick_s;
  c.step_s = r.whole(16, CP_STEP_TICKS_MAX) * tick_s;
  if (c.step_s < 0.5e-6 || c.step_s > 100e-6) return false;
  c.report_s = c.step_s * std::clamp(std::round(r.decades(50e-6, 20e-3) / c.step_s), 1.0, 4096.0);
  const double volts = r.decades(6.0, 800.0), amperes = r.decades(1.0, 1000.0);
  const double ohm = volts / amperes;
  c.current_range_A = amperes * r.uniform(1.0, 4.0);
  auto& m = d.machine;
  m.connection = r.once_in(4) ? plant::Connection::delta : plant::Connection::star;
  m.pole_pairs = r.whole(1, 12);
  m.winding_resistance_ohm = ohm * r.decades(1e-3, 1.0);
  m.inductance_d_H = ohm * c.step_s * r.decades(10.0, 1e5);
  m.inductance_q_H = m.inductance_d_H * (r.once_in(3) ? 1.0 : r.decades(0.25, 4.0));
  m.flux_linkage_Wb = r.decades(1e-4, 10.0);
  if (r.once_in(3))
    m.back_emf = m.connection == plant::Connection::delta
                     ? std::vector<plant::BackEmfHarmonic>{{1, 1.0}, {5, 0.05}, {7, -0.03}}
                     : plant::trapezoid_harmonics(120.0, 25);
  d.bridge.switch_on_resistance_ohm = ohm * r.decades(1e-3, 0.3);
  d.bridge.diode_voltage_V = r.uniform(0.0, 3.0);
  d.bridge.diode_resistance_ohm = ohm * r.decades(1e-3, 0.3);
  d.supply.voltage_V = volts;
  d.supply.resistance_ohm = r.decades(1e-3, 100.0);
  d.dc_link.capacitance_F = r.decades(1e-6, 1.0);
  d.dc_link.series_resistance_ohm = r.once_in(4) ? 0.0 : ohm * r.decades(1e-4, 0.3);
  try {
    out.settings = link_settings(out.bench, c);
    return true;
  } catch (const InputError&) {
    return false;
  }
}

struct Ride {
  double omega_e_rad_s = 0.0, theta_e_rad = 0.0, lasts_s = 0.0;
  double supply_V = 0.0;  // from the middle on
  std::vector<GateEdge> edges;
};

/// A leg's gates from one state (0 off, 1 high, 2 low) to the next.
void turn(std::vector<GateEdge>& edges, int leg, int from, int to, double at_s) {
  const std::int64_t at = reference::ps(at_s);
  if (from != 0) edges.push_back({at, static_cast<Switch>(2 * leg + from - 1), false});
  if (to != 0) edges.push_back({at, static_cast<Switch>(2 * leg + to - 1), true});
}

std::vector<GateEdge> pulse_width(Random& r, double step_s, double omega, double lasts_s) {
  reference::NaturalPwm pwm;
  pwm.carrier_Hz = std::min(1.0 / (6.0 * step_s), r.decades(1e3, 40e3));
  pwm.dead_time_s = r.once_in(4) ? 0.0 : r.uniform(0.0, 0.05) / pwm.carrier_Hz;
  const double share = r.uniform(0.0, 1.2), lead = r.uniform(-3.2, 3.2);
  pwm.reference = [=](double t) {
    const double a = omega * t + lead, third = plant::two_pi / 3.0;
    return std::array{share * std::cos(a), share * std::cos(a - third),
                      share * std::cos(a + third)};
  };
  return natural_pwm_edges(pwm, static_cast<int>(lasts_s * pwm.carrier_Hz) + 1);
}

/// Two legs conduct by the angle, or any leg changes at any time.
std::vector<GateEdge> blocks(Random& r, bool by_angle, double step_s, double omega,
                             double lasts_s) {
  std::vector<GateEdge> edges;
  for (int leg = 0; leg < 3; ++leg) {
    const double stays_s = by_angle ? 20.0 * step_s : step_s * r.decades(2.0, 200.0);
    int was = 0;
    for (double t = 0.0; t < lasts_s; t += r.uniform(by_angle ? 0.1 : 0.01, 2.0) * stays_s) {
      const double c = std::cos(omega * t - leg * plant::two_pi / 3.0);
      const int now = by_angle ? (c > 0.5 ? 1 : c < -0.5 ? 2 : 0) : r.whole(0, 2);
      if (now != was) turn(edges, leg, was, now, t);
      was = now;
    }
  }
  return edges;
}

/// All off, from the start or after a pull of two legs.
std::vector<GateEdge> off(Random& r, double step_s, double lasts_s) {
  if (r.once_in(2)) return {};
  const double until_s = r.decades(step_s, lasts_s);
  std::vector<GateEdge> edges;
  turn(edges, 0, 0, 1, 0.0);
  turn(edges, 1, 0, 2, 0.0);
  turn(edges, 0, 1, 0, until_s);
  turn(edges, 1, 2, 0, until_s + r.uniform(0.0, 2.0) * step_s);
  return edges;
}

/// On whole ticks, in order; a switch whose partner is still on stays off.
std::vector<GateEdge> on_ticks(std::vector<GateEdge> edges, std::int64_t tick_ps) {
  for (GateEdge& e : edges) e.at_ps = (e.at_ps + tick_ps / 2) / tick_ps * tick_ps;
  reference::sort_edges(edges);
  unsigned gates = 0;
  std::erase_if(edges, [&](const GateEdge& e) {
    const unsigned gate = static_cast<unsigned>(e.gate), bit = 1U << gate;
    const bool no_news = e.on == ((gates & bit) != 0);
    if (no_news || (e.on && (gates >> (gate ^ 1U) & 1U) != 0)) return true;
    gates ^= bit;
    return false;
  });
  return edges;
}

std::int64_t tick_ps(const chip::Scale& scale) { return std::llround(1e12 * scale.tick_s); }

Ride ride(Random& r, const Drawn& b) {
  const plant::DriveParameters& d = b.bench.drive;
  const chip::Scale& scale = b.settings.plant.scale;
  const double flux_Wb = plant::equivalent_star(d.machine).flux_linkage_Wb, h = scale.step_s();
  // Where the EMF between two terminals is the supply's voltage.
  const double base = d.supply.voltage_V / std::sqrt(3.0) / flux_Wb;
  const double most =
      d.machine.pole_pairs * chip::max_speed_rad_s(b.settings.parameters.angle, scale);
  const auto report_steps = static_cast<int>(b.settings.parameters.report_steps);
  Ride out;
  out.lasts_s = std::clamp(6000 / report_steps, 3, 40) * report_steps * h;
  out.theta_e_rad = r.uniform(0.0, plant::two_pi);
  out.supply_V = d.supply.voltage_V * (r.once_in(3) ? r.uniform(0.5, 1.3) : 1.0);
  const int kind = r.whole(0, 3);
  const double omega = base * (kind == 0 ? r.sign() * r.uniform(0.9, 1.35) : r.uniform(-2.0, 2.0));
  out.omega_e_rad_s = std::clamp(omega, -most, most);
  out.edges = on_ticks(kind == 0   ? off(r, h, out.lasts_s)
                       : kind == 1 ? pulse_width(r, h, out.omega_e_rad_s, out.lasts_s)
                                   : blocks(r, kind == 2, h, out.omega_e_rad_s, out.lasts_s),
                       tick_ps(scale));
  return out;
}

double largest(const plant::Phases& i) {
  return std::max({std::abs(i.U), std::abs(i.V), std::abs(i.W)});
}

/// Both plants on one ride.
class BothPlants {
 public:
  BothPlants(const Drawn& b, const Ride& ride)
      : scale_(b.settings.plant.scale),
        tick_ps_(tick_ps(scale_)),
        edges_(ride.edges),
        drive_(b.bench.drive) {
    plant::StartState start;
    start.theta_m_rad = ride.theta_e_rad / b.bench.drive.machine.pole_pairs;
    start.omega_m_rad_s = ride.omega_e_rad_s / b.bench.drive.machine.pole_pairs;
    start.bus_V = b.bench.drive.supply.voltage_V;
    drive_.start(start);
    reference::hold_electrical(drive_, ride.omega_e_rad_s);
    const cp_piece first = chip::piece(scale_, {start.theta_m_rad, start.omega_m_rad_s, 0.0}, 0);
    cp_track_start(&track_, &b.settings.parameters.track, first.theta);
    cp_track_join(&track_, &first, 0);
    cp_plant_start(&chip_, &b.settings.plant.parameters, first.theta,
                   static_cast<std::int32_t>(first.rate >> 32));
  }

  void step() {
    const std::int64_t end_ps = now_ps_ + tick_ps_ * scale_.step_ticks;
    for (; next_ < edges_.size() && edges_[next_].at_ps < end_ps; ++next_) {
      const GateEdge& e = edges_[next_];
      run_chip(e.at_ps);
      gates_ ^= 1U << static_cast<unsigned>(e.gate);
      cp_plant_gates(&chip_, gates_);
      reference::advance_to(drive_, e.at_ps);
      drive_.set_switch(e.gate, e.on);
    }
    run_chip(end_ps);
    cp_track_step(&track_);
    if (cp_field_step(&chip_))
      cp_field_aim(&chip_,
                   track_.theta + CP_FIELD_AHEAD * static_cast<std::uint32_t>(track_.moved));
    reference::advance_to(drive_, end_ps);
  }

  void set_supply_V(double volts) {
    cp_plant_supply(&chip_, scale_.volts(volts));
    drive_.set_supply_V({volts, 0.0});
  }

  plant::Phases chip_A() const {
    return {chip_.i[0] * scale_.ampere, chip_.i[1] * scale_.ampere, chip_.i[2] * scale_.ampere};
  }
  double chip_V() const { return chip_.bus * scale_.volt; }
  bool says_over_range() const { return (chip_.flags & CP_PLANT_OVER_RANGE) != 0; }
  plant::Drive& drive() { return drive_; }

 private:
  void run_chip(std::int64_t to_ps) {
    if (to_ps > now_ps_)
      cp_plant_advance(&chip_, static_cast<std::uint32_t>((to_ps - now_ps_) / tick_ps_));
    now_ps_ = to_ps;
  }

  chip::Scale scale_;
  std::int64_t tick_ps_, now_ps_ = 0;
  const std::vector<GateEdge>& edges_;
  plant::Drive drive_;
  cp_track track_{};
  cp_plant chip_{};
  std::size_t next_ = 0;
  std::uint32_t gates_ = 0;
};

struct Outcome {
  double worst_A = 0.0, worst_V = 0.0;  // in shares of the bound
  int reports = 0;
  bool over_range = false, emptied = false;
};

/// Until the chip says that it is over its range, or a switch comes near where its diode would
/// share: the mirror of a chip at its limit is not held to the bound.
Outcome compare(const Drawn& b, const Ride& ride) {
  const plant::DriveParameters& d = b.bench.drive;
  const plant::PermanentMagnetParameters star = plant::equivalent_star(d.machine);
  const Bounds bounds(b.bench, b.settings);
  const double l_min = std::min(star.inductance_d_H, star.inductance_q_H);
  const double stamps_A = 2.0 / 3.0 * 0.5e-6 * d.supply.voltage_V / l_min;
  const double shares_A = 0.9 * d.bridge.diode_voltage_V / d.bridge.switch_on_resistance_ohm;
  const auto report_steps = static_cast<int>(b.settings.parameters.report_steps);
  const auto steps = static_cast<int>(std::lround(ride.lasts_s / b.settings.plant.scale.step_s()));
  BothPlants both(b, ride);
  Outcome out;
  double before_A = 0.0, late_V = 0.0, late_A = 0.0;
  for (int n = 1; n <= steps; ++n) {
    // Just behind a report: the chip looks at its source half a refresh later.
    if (n == steps / 2 / report_steps * report_steps + 1 && report_steps >= CP_REFRESH_STEPS) {
      both.set_supply_V(ride.supply_V);
      const double late_Vs = std::abs(ride.supply_V - d.supply.voltage_V) * 0.5 *
                             double{CP_REFRESH_STEPS} * b.settings.plant.scale.step_s();
      late_V = late_Vs / (d.dc_link.capacitance_F *
                          (d.supply.resistance_ohm + d.dc_link.series_resistance_ohm));
      late_A = late_Vs / l_min;
    }
    both.step();
    out.over_range = both.says_over_range();
    const plant::Probe own = both.drive().probe(both.drive().state());
    if (out.over_range || largest(own.current_A) > shares_A) break;
    out.emptied = out.emptied || own.bus_V < 0.0;
    if (n % report_steps != 0) continue;
    ++out.reports;
    const plant::Phases i = both.chip_A();
    const double off_A =
        largest({i.U - own.current_A.U, i.V - own.current_A.V, i.W - own.current_A.W});
    const double now_A = largest(own.current_A);
    const double bound_A = bounds.current_A(0.0, 0.0, ride.omega_e_rad_s / d.machine.pole_pairs,
                                            std::max(now_A, before_A)) -
                           stamps_A;
    out.worst_A = std::max(out.worst_A, off_A / (bound_A + late_A));
    out.worst_V = std::max(out.worst_V,
                           std::abs(both.chip_V() - own.bus_V) / (bounds.bus_V(bound_A) + late_V));
    before_A = now_A;
    both.drive().adopt_currents(i, bounds.none_below_A());
  }
  return out;
}

TEST(AnyBench, TheCoProcessorAcceptsStaysWithinTheBoundOfACorrection) {
  int tried = 0, over_range = 0, emptied = 0, reports = 0, tight = 0;
  for (unsigned seed = 0; tried < 1500; ++seed) {
    ASSERT_LT(seed, 1'000'000U);
    Random r(seed);
    Drawn b;
    if (!draw(r, b)) continue;
    ++tried;
    const Outcome o = compare(b, ride(r, b));
    EXPECT_LE(o.worst_A, 1.0) << "seed " << seed;
    EXPECT_LE(o.worst_V, 1.0) << "seed " << seed;
    over_range += o.over_range;
    emptied += o.emptied;
    reports += o.reports;
    tight += o.worst_A > 0.3;
  }
  // What the draw is worth: limits met, links emptied, a bound that is no mere ornament.
  EXPECT_GT(reports, 20'000);
  EXPECT_GT(over_range, 50);
  EXPECT_GT(emptied, 5);
  EXPECT_GT(tight, 100);
}

}  // namespace
}  // namespace stillrotor
