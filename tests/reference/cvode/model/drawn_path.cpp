#include "tests/reference/cvode/model/drawn_path.hpp"

namespace stillrotor::reference {
namespace {

/// What cells take time for is slow beside a step.
void draw_battery(Experiment& e, Draw& draw) {
  auto& s = e.parameters.supply;
  auto& b = s.battery;
  if (s.kind != plant::SupplyKind::battery || !draw.chance(0.3)) return;
  b.charge = draw.linear(0.2, 0.8);
  b.capacity_C = draw.logarithmic(0.3, 1e3);
  const double V = s.voltage_V;
  for (double z = 0.0, v = 0.8; z <= 1.0; z += 0.25, v += draw.linear(0.01, 0.1))
    b.open_circuit_V.push_back({z, v * V});
  s.voltage_V = plant::on_curve(b.open_circuit_V, b.charge);
  for (auto& branch : b.branch)
    if (draw.chance(0.5))
      branch = {s.resistance_ohm * draw.logarithmic(0.1, 2.0), draw.logarithmic(5e-3, 10.0)};
  if (draw.chance(0.3)) {
    b.resistance_share = {{250.0, 3.0}, {280.0, 1.5}, {298.15, 1.0}, {330.0, 0.8}};
    b.temperature_K = draw.linear(240.0, 340.0);
  }
}

void draw_contactor(Experiment& e, Draw& draw) {
  auto& c = e.parameters.contactor;
  if (!draw.chance(0.12)) return;
  c.fitted = true;
  c.pull_in_s = draw.logarithmic(1e-6, 1e-3);
  c.drop_out_s = draw.logarithmic(1e-6, 1e-3);
  c.pre_charge_ohm = draw.chance(0.5) ? draw.logarithmic(0.1, 20.0) : 0.0;
  c.closed_at_start = draw.chance(0.7);
  bool on = c.closed_at_start;
  for (std::int64_t at = at_some_time(draw, 0.0, 0.4); at < ps(drawn_s);) {
    on = !on;
    e.changes.push_back({.at_ps = at, .kind = Change::Kind::contactor, .on = on});
    at += ps(on ? c.pull_in_s : c.drop_out_s);
    e.changes.push_back({.at_ps = at, .kind = Change::Kind::contactor_moved, .on = on});
    at += at_some_time(draw, 0.05, 0.5);
  }
}

void draw_bounces(Experiment& e, Draw& draw) {
  if (draw.chance(0.1))
    e.changes.push_back({.at_ps = at_some_time(draw, 0.0, 0.9),
                         .kind = Change::Kind::weak_supply,
                         .ohm = draw.logarithmic(1e-3, 1.0)});
  if (!draw.chance(0.1)) return;
  Change c{.at_ps = at_some_time(draw, 0.0, 0.8), .kind = Change::Kind::bounce_supply};
  c.times = draw.whole(1, 5);
  c.open_s = draw.logarithmic(1e-6, 50e-6);
  c.seconds = c.open_s + draw.logarithmic(1e-6, 200e-6);
  e.changes.push_back(c);
  const std::int64_t open = ps(c.open_s), shut = ps(c.seconds - c.open_s);
  c.kind = Change::Kind::bounced;
  for (int n = 0; n < c.times; ++n) {
    c.on = true;
    e.changes.push_back(c);
    c.at_ps += open;
    c.on = false;
    e.changes.push_back(c);
    c.at_ps += shut;
  }
}

}  // namespace

void draw_path(Experiment& e, Draw& draw) {
  draw_battery(e, draw);
  draw_contactor(e, draw);
  draw_bounces(e, draw);
}

}  // namespace stillrotor::reference
