#include "tests/reference/benches/model/followed.hpp"

#include <algorithm>
#include <cmath>

namespace stillrotor::reference {
namespace {

/// Share of a leg's current that a shunt below it carries.
double below(LegMode m) {
  if (on_low_side(m)) return -1.0;
  return m == LegMode::both_switches || swings(m) ? -0.5 : 0.0;
}

}  // namespace

Followed::Followed(const plant::DriveParameters& p) : p_(p), dc_link_(p.dc_link_current, 0) {
  for (std::size_t k = 0; k < 3; ++k) phase_[k] = CurrentMemory(p.phase_current, k);
}

void Followed::settle(const AbcState& x, const AbcInputs& in) {
  const AbcCircuit circuit(p_);
  const AbcModes modes = circuit.choose(x, in, {});
  const AbcRates rates = circuit.rates(x, in, modes);
  bus_V_ = rates.bus_V;
  terminal_V_ = circuit.potentials(rates, in, modes);
}

GatheredHeat Followed::take_heat() {
  const GatheredHeat taken = heat_;
  heat_ = {};
  return taken;
}

Followed::Seen Followed::seen(const AbcState& x, const Stretch& s) const {
  Seen out;
  out.line_A = s.circuit.lines(x, s.inputs);
  const AbcRates r = s.circuit.rates(x, s.inputs, s.modes);
  out.bus_V = r.bus_V;
  out.bridge_A = r.bridge_A;
  out.terminal_V = s.circuit.potentials(r, s.inputs, s.modes);
  if (p_.thermal.fitted) out.heat = s.circuit.heat(x, s.inputs, s.modes, r);
  return out;
}

void Followed::follow(const Stretch& s, Shown& shown) {
  constexpr double short_s = 3e-6;
  const int parts = 1 + static_cast<int>((s.to_s - s.from_s) / short_s);
  const double h = (s.to_s - s.from_s) / parts;
  std::array<Seen, points>& at = latest_;
  if (!s.goes_on) at[points - 1] = seen(s.at(s.from_s), s);
  for (int n = 0; n < parts; ++n) {
    at[0] = at[points - 1];
    for (std::size_t k = 1; k < points; ++k)
      at[k] = seen(s.at(std::min(s.from_s + h * (n + point_at[k]), s.to_s)), s);
    pass(at, s.modes, h, shown);
  }
}

void Followed::pass(const std::array<Seen, points>& at, const AbcModes& modes, double h,
                    Shown& shown) {
  const auto course = [&](const auto& of) {
    Course u;
    for (std::size_t k = 0; k < points; ++k) u[k] = of(at[k]);
    return u;
  };
  const auto sum = [&](const auto& of) {
    double integral = 0.0;
    for (std::size_t k = 0; k < points; ++k) integral += h * point_weight[k] * of(at[k]);
    return integral;
  };
  for (std::size_t k = 0; k < 3; ++k) {
    const double share =
        p_.phase_current.kind == plant::CurrentSensing::in_line ? 1.0 : below(modes.leg[k]);
    if (p_.phase_current.kind != plant::CurrentSensing::none)
      phase_[k].pass(course([&](const Seen& s) { return share * s.line_A[k]; }), h);
    for (const Seen& s : at)
      shown.most_phase_A[k] = std::max(shown.most_phase_A[k], std::abs(s.line_A[k]));
    if (p_.phase_voltage.filter_s > 0.0)
      terminal_V_[k] =
          lagged(terminal_V_[k], course([&](const Seen& s) { return s.terminal_V[k]; }), h,
                 p_.phase_voltage.filter_s);
    heat_.leg_J[k] += sum([&](const Seen& s) { return s.heat.leg_W[k]; });
  }
  for (const Seen& s : at)
    shown.most_dc_link_A = std::max(shown.most_dc_link_A, std::abs(s.bridge_A));
  if (p_.dc_link_current.kind != plant::CurrentSensing::none)
    dc_link_.pass(course([](const Seen& s) { return s.bridge_A; }), h);
  if (p_.bus_voltage.filter_s > 0.0)
    bus_V_ =
        lagged(bus_V_, course([](const Seen& s) { return s.bus_V; }), h, p_.bus_voltage.filter_s);
  heat_.winding_J += sum([](const Seen& s) { return s.heat.winding_W; });
  heat_.magnet_J += sum([](const Seen& s) { return s.heat.cage_W; });
  heat_.housing_J += sum([](const Seen& s) { return s.heat.iron_W; });
}

}  // namespace stillrotor::reference
