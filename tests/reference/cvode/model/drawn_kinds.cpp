#include "tests/reference/cvode/model/drawn_kinds.hpp"

#include <algorithm>
#include <cmath>

#include "tests/reference/cvode/model/drawn_machine.hpp"
#include "tests/reference/cvode/model/drawn_path.hpp"
#include "tests/reference/cvode/model/drawn_shaft.hpp"

namespace stillrotor::reference {
namespace {

void draw_bridge(Experiment& e, Draw& draw) {
  auto& b = e.parameters.bridge;
  if (!draw.chance(0.2)) return;
  b.switch_kind = plant::SwitchKind::igbt;
  b.switch_knee_V = draw.linear(0.4, 2.0);
}

bool is_whole(const Experiment& e) {
  return e.open_leg < 0 && std::none_of(e.changes.begin(), e.changes.end(), [](const Change& c) {
           return c.kind == Change::Kind::cut;
         });
}

/// Behind parted conductors a leg's own midpoint would be a state more.
void draw_commutation(Experiment& e, Draw& draw) {
  auto& b = e.parameters.bridge;
  if (is_whole(e) && draw.chance(0.15)) b.output_capacitance_F = draw.logarithmic(0.1e-9, 10e-9);
  if (!draw.chance(0.15)) return;
  b.switching.at_V = e.parameters.supply.voltage_V;
  b.switching.at_A = 50.0;
  for (double* energy : {&b.switching.on_J, &b.switching.off_J, &b.switching.recovery_J})
    *energy = draw.logarithmic(1e-6, 1e-3);
}

void draw_supply(Experiment& e, Draw& draw) {
  auto& s = e.parameters.supply;
  const double V = s.voltage_V;
  if (s.kind == plant::SupplyKind::bench_supply) {
    const int sort = draw.whole(0, 5);
    if (sort == 1) s.fold_back_A = s.current_limit_A * draw.linear(0.1, 0.9);
    if (sort == 2 || sort == 3) {
      s.voltage_loop_Hz = draw.logarithmic(200.0, 10e3);
      s.current_loop_Hz = draw.logarithmic(200.0, 10e3);
    }
    if (sort == 3 || sort == 4) s.cable_inductance_H = draw.logarithmic(0.5e-6, 10e-6);
    // A current loop quicker than the cable rings on and on, and what rings forgets nothing.
    if (sort == 3)
      s.current_loop_Hz =
          std::min(s.current_loop_Hz, s.resistance_ohm * s.resistance_ohm / s.cable_inductance_H *
                                          s.current_limit_A / (plant::two_pi * V));
  }
  if (draw.chance(0.15)) e.supply_V_per_s = draw.linear(-0.3, 0.3) * V / drawn_s;
  if (draw.chance(0.1)) {
    e.ripple_V = draw.linear(0.002, 0.05) * V;
    e.ripple_Hz = draw.logarithmic(100.0, 20e3);
  }
  if (draw.chance(0.15)) {
    e.changes.push_back(
        {.at_ps = at_some_time(draw, 0.1, 0.6), .kind = Change::Kind::part_supply, .on = true});
    if (draw.chance(0.6))
      e.changes.push_back(
          {.at_ps = at_some_time(draw, 0.6, 0.9), .kind = Change::Kind::part_supply});
  }
  if (!draw.chance(0.2)) return;
  auto& chopper = e.parameters.chopper;
  const double through_A = draw.logarithmic(2.0, 100.0);
  chopper.resistance_ohm = V / through_A;
  chopper.by_itself = draw.chance(0.6);
  if (chopper.by_itself) {
    // Further apart than what its own current lets the bus fall by at once.
    const double in_series_ohm = s.resistance_ohm + e.parameters.dc_link.series_resistance_ohm;
    chopper.on_V = V * draw.linear(0.9, 1.3);
    chopper.off_V = chopper.on_V * chopper.resistance_ohm /
                    (chopper.resistance_ohm + 2.0 * in_series_ohm) * draw.linear(0.9, 0.999);
    return;
  }
  for (int n = draw.whole(1, 6), on = 1; n > 0; --n, on = 1 - on)
    e.changes.push_back(
        {.at_ps = at_some_time(draw, 0.0, 1.0), .kind = Change::Kind::chopper, .on = on != 0});
}

void draw_winding_faults(Experiment& e, Draw& draw) {
  const auto& m = e.parameters.machine;
  const bool equal = equal_windings(m), soft = e.iron.has_value();
  const bool cage = e.parameters.induction.has_value();
  const int sort = draw.whole(0, 9), leg = draw.whole(0, 2);
  Change c{.at_ps = at_some_time(draw, 0.1, 0.8), .leg = leg};
  if (sort == 1 && !cage && !soft) {
    c.kind = Change::Kind::joint;
    c.ohm = draw.logarithmic(1e-3, 30.0);
  } else if (sort == 2 && (equal || cage)) {
    c.kind = Change::Kind::short_turns;
    c.share = draw.linear(0.02, 0.5);
    c.ohm = draw.logarithmic(1e-3, 1.0);
  } else if (sort == 3) {
    c.kind = Change::Kind::short_phases;
    c.ohm = draw.logarithmic(5e-3, 1.0);
    c.henry = draw.logarithmic(0.2e-6, 10e-6);
  } else {
    return;
  }
  e.changes.push_back(c);
  if (!draw.chance(0.5) || c.kind == Change::Kind::joint) return;
  c.kind = c.kind == Change::Kind::short_turns ? Change::Kind::end_turns : Change::Kind::end_phases;
  c.at_ps += ps(draw.linear(0.0, 0.3) * drawn_s);
  e.changes.push_back(c);
}

/// Where diodes beside a grounded leg would carry, neither side knows of it; behind a conductor
/// that is parted a ground is nowhere.
void draw_bridge_faults(Experiment& e, Draw& draw) {
  const auto& b = e.parameters.bridge;
  const int sort = draw.whole(0, 19);
  Change c{.at_ps = at_some_time(draw, 0.0, 0.8), .leg = draw.whole(0, 2), .on = true};
  c.which = static_cast<plant::Switch>(draw.whole(0, plant::switch_count - 1));
  if (sort == 1 && is_whole(e) && b.switch_kind == plant::SwitchKind::mosfet) {
    c.kind = Change::Kind::ground;
    c.ohm = draw.logarithmic(1e-3, 1.0);
  } else if (sort == 2 || sort == 3) {
    c.kind = sort == 2 ? Change::Kind::switch_open : Change::Kind::switch_shorted;
  } else if (sort == 4) {
    c.kind = Change::Kind::pulse;
    c.seconds = draw.logarithmic(0.1e-6, 5e-6);
  } else {
    return;
  }
  e.changes.push_back(c);
  if (c.kind != Change::Kind::pulse && draw.chance(0.3)) return;
  c.at_ps += ps(c.kind == Change::Kind::pulse ? c.seconds : draw.linear(0.0, 0.3) * drawn_s);
  c.on = false;
  e.changes.push_back(c);
}

}  // namespace

void draw_kinds(Experiment& e, Draw& draw) {
  draw_bridge(e, draw);
  draw_supply(e, draw);
  draw_shaft(e, draw);
  draw_machine(e, draw);
  draw_winding_faults(e, draw);
  draw_bridge_faults(e, draw);
  draw_commutation(e, draw);
  draw_path(e, draw);
  std::stable_sort(e.changes.begin(), e.changes.end(),
                   [](const Change& a, const Change& b) { return a.at_ps < b.at_ps; });
}

}  // namespace stillrotor::reference
