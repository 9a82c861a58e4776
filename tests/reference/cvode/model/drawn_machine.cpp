#include "tests/reference/cvode/model/drawn_machine.hpp"

#include <algorithm>
#include <cmath>

namespace stillrotor::reference {
namespace {

/// In place of the magnets; the rotor with its load turns as it did.
void draw_cage(Experiment& e, Draw& draw) {
  const auto& m = e.parameters.machine;
  if (!draw.chance(0.12)) return;
  plant::InductionParameters cage;
  cage.pole_pairs = m.pole_pairs;
  cage.stator_leakage_H = m.inductance_d_H * draw.linear(0.3, 0.7);
  cage.rotor_leakage_H = draw.chance(0.2) ? 0.0 : m.inductance_d_H * draw.linear(0.3, 0.7);
  cage.magnetising_inductance_H = m.inductance_d_H * draw.logarithmic(5.0, 60.0);
  cage.stator_resistance_ohm = m.winding_resistance_ohm;
  cage.rotor_resistance_ohm = m.winding_resistance_ohm * draw.logarithmic(0.5, 3.0);
  e.parameters.induction = cage;
  e.parameters.machine.iron_loss = {};
  e.parameters.machine.cogging = {};
}

/// Currents as close together as the iron bends, further apart beyond: 2 % of it and of
/// themselves, which leaves to the map's fit 1e-7 of the current at which it bends.
std::vector<double> grid_A(double bend_A, double most_A) {
  const int each_way = static_cast<int>(std::ceil(std::asinh(most_A / bend_A) / 0.02));
  std::vector<double> out;
  for (int k = -each_way; k <= each_way; ++k) out.push_back(bend_A * std::sinh(0.02 * k));
  return out;
}

/// Inductances that fall from the drawn ones to a share of them. Where a fine step's current would
/// pass several lines of the map, or leave it, the map's own error is what would be seen.
void draw_iron(Experiment& e, Draw& draw) {
  auto& m = e.parameters.machine;
  const double settles_s = std::min(m.inductance_d_H / m.winding_resistance_ohm, drawn_s);
  const double possible_A = 4.0 * e.parameters.supply.voltage_V * settles_s / m.inductance_d_H;
  const bool may = !e.parameters.induction && m.connection == plant::Connection::star &&
                   equal_windings(m) && m.inductance_d_H > 60e-6 && possible_A < 2500.0;
  if (!may || !draw.chance(0.3)) return;
  SoftIron iron;
  iron.a = std::clamp(possible_A * draw.logarithmic(0.08, 0.4), 15.0, 50.0);
  iron.b = iron.a * draw.linear(0.7, 1.3);
  iron.A = draw.linear(0.2, 0.6) *
           std::min(m.inductance_d_H * iron.a * iron.a, m.inductance_q_H * iron.b * iron.b);
  iron.l_d = m.inductance_d_H - iron.A / (iron.a * iron.a);
  iron.l_q = m.inductance_q_H - iron.A / (iron.b * iron.b);
  iron.i_m = iron.a * draw.unit();
  iron.psi_0 = m.flux_linkage_Wb - iron.psi_d(0.0, 0.0);
  e.iron = iron;
  const double most_A = std::min(possible_A, 19.0 * std::min(iron.a, iron.b));
  m.flux_map = iron.table(grid_A(iron.a, most_A), grid_A(iron.b, most_A));
}

void draw_warming(Experiment& e, Draw& draw) {
  if (draw.chance(0.15))
    for (int n = draw.whole(1, 4); n > 0; --n)
      e.changes.push_back({.at_ps = at_some_time(draw, 0.0, 1.0),
                           .kind = Change::Kind::temperatures,
                           .winding_K = draw.linear(250.0, 450.0),
                           .rotor_K = draw.linear(250.0, 430.0)});
  if (!e.parameters.induction && draw.chance(0.05))
    e.changes.push_back({.at_ps = at_some_time(draw, 0.0, 1.0),
                         .kind = Change::Kind::lose_flux,
                         .share = draw.linear(0.05, 0.5)});
}

}  // namespace

bool equal_windings(const plant::PermanentMagnetParameters& m) {
  return m.equal_turns() && m.turns_factor[0] == 1.0 &&
         std::all_of(std::begin(m.resistance_factor), std::end(m.resistance_factor),
                     [](double factor) { return factor == 1.0; });
}

void draw_machine(Experiment& e, Draw& draw) {
  draw_cage(e, draw);
  draw_iron(e, draw);
  draw_warming(e, draw);
}

}  // namespace stillrotor::reference
