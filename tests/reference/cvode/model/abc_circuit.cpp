#include "tests/reference/cvode/model/abc_circuit.hpp"

#include <algorithm>
#include <cmath>
#include <stdexcept>

namespace stillrotor::reference {
namespace {

constexpr double v_slack = 1e-9, i_slack = 1e-9;  // below any tolerance of the comparison
constexpr double w_slack = 1e-6;

bool floats(LegMode m) { return m == LegMode::floating; }

}  // namespace

Windings::Terminals AbcCircuit::terminals(const std::array<double, 3>& line_A,
                                          const AbcModes& modes, double bus_V) const {
  Windings::Terminals out;
  for (std::size_t k = 0; k < 3; ++k) {
    if (floats(modes.leg[k])) continue;
    const Thevenin t = thevenin(modes.leg[k], bridge_);
    out[k] = {true, t.at_no_current(bus_V) - t.ohm * line_A[k]};
  }
  return out;
}

AbcRates AbcCircuit::rates(const AbcState& x, const AbcInputs& in, const AbcModes& modes) const {
  AbcRates out;
  out.state.time_s = 1.0;
  const std::array<double, 3> line = lines(x, in);
  AcrossBus across;
  for (std::size_t k = 0; k < 3; ++k) {
    across.drawn_A += thevenin(modes.leg[k], bridge_).share * line[k];
    if (in.gate[2 * k] && in.gate[2 * k + 1])
      across.conductance_S += 0.5 / bridge_.switch_on_resistance_ohm;
  }
  if (modes.bus_diodes) {
    const BusDiodes diodes = bus_diodes(in, bridge_);
    across.conductance_S += diodes.conductance_S;
    across.drawn_A += diodes.conductance_S * diodes.knee_V;
  }
  feed_.rates(x, in, modes, across, out);
  out.state.theta_e_rad = turning_.pole_pairs() * x.omega_m_rad_s;
  windings_.rates(x, in, terminals(line, modes, out.bus_V), out);
  turning_.rates(x, in, modes, windings_.torque_Nm(x, in), windings_.linkage_Wb(x, in), out);
  return out;
}

double AbcCircuit::violation(const AbcState& x, const AbcInputs& in, const AbcModes& modes) const {
  return violation(x, in, modes, rates(x, in, modes));
}

double AbcCircuit::violation(const AbcState& x, const AbcInputs& in, const AbcModes& modes,
                             const AbcRates& r) const {
  const std::array<double, 3> line = lines(x, in);
  double worst = feed_.violation(x, modes, r);
  bool none = true;
  for (LegMode leg : modes.leg) none = none && floats(leg);
  const auto highest = [&](std::size_t k) {
    return thevenin(offer_of(in, k).into, bridge_).at_no_current(r.bus_V);
  };
  const auto lowest = [&](std::size_t k) {
    return thevenin(offer_of(in, k).out, bridge_).at_no_current(r.bus_V);
  };
  for (std::size_t k = 0; k < 3; ++k) {
    const LegMode mode = modes.leg[k];
    if (!floats(mode)) {
      const Offer o = offer_of(in, k);
      if (!o.both_ways())
        worst = std::max(worst, (mode == o.out ? -line[k] : line[k]) - i_slack);
      else if (mode == LegMode::high_switch || mode == LegMode::low_switch)
        worst =
            std::max(worst, over_knee(mode == LegMode::high_switch, line[k], bridge_) - v_slack);
      else if (mode == LegMode::high_shared || mode == LegMode::low_shared)
        worst =
            std::max(worst, -over_knee(mode == LegMode::high_shared, line[k], bridge_) - v_slack);
      continue;
    }
    if (in.open[k]) continue;
    if (!none) {
      worst = std::max(
          {worst, lowest(k) - r.terminal_V[k] - v_slack, r.terminal_V[k] - highest(k) - v_slack});
      continue;
    }
    for (std::size_t j = 0; j < 3; ++j)  // no potential is defined, only differences
      if (!in.open[j] && j != k)
        worst =
            std::max(worst, r.terminal_V[k] - r.terminal_V[j] - (highest(k) - lowest(j)) - v_slack);
  }
  const double beyond_V = -bus_diodes(in, bridge_).knee_V - r.bus_V;
  worst = std::max(worst, (modes.bus_diodes ? -beyond_V : beyond_V) - v_slack);
  if (turning_.loses())
    worst = std::max(worst, (modes.gear_drives ? -r.through_W : r.through_W) - w_slack);
  return worst;
}

bool AbcCircuit::consistent(const AbcState& x, const AbcInputs& in, const AbcModes& modes) const {
  const AbcRates r = rates(x, in, modes);
  if (violation(x, in, modes, r) > -0.5 * v_slack) return false;
  if (!feed_.may_begin(x, modes, r)) return false;
  const std::array<double, 3> line = lines(x, in);
  for (std::size_t k = 0; k < 3; ++k) {  // what is about to conduct needs a current that grows
    const Offer o = offer_of(in, k);
    if (o.both_ways() || floats(modes.leg[k]) || std::abs(line[k]) > i_slack) continue;
    if (!((modes.leg[k] == o.out ? r.line_A_s[k] : -r.line_A_s[k]) > 0.0)) return false;
  }
  return true;
}

AbcModes AbcCircuit::choose(const AbcState& x, const AbcInputs& in, const AbcModes& before) const {
  AbcModes modes;
  const std::array<double, 3> line = lines(x, in);
  std::array<bool, 3> free = {};
  for (std::size_t k = 0; k < 3; ++k) {
    if (in.open[k]) continue;
    const Offer o = offer_of(in, k);
    if (!o.both_ways()) {
      free[k] = std::abs(line[k]) <= i_slack;
      if (!free[k]) modes.leg[k] = line[k] > 0.0 ? o.out : o.into;
      continue;
    }
    modes.leg[k] = o.out;
    if (o.out == LegMode::high_switch && over_knee(true, line[k], bridge_) > 0.0)
      modes.leg[k] = LegMode::high_shared;
    if (o.out == LegMode::low_switch && over_knee(false, line[k], bridge_) > 0.0)
      modes.leg[k] = LegMode::low_shared;
  }
  static constexpr SupplyMode source[3] = {SupplyMode::linear, SupplyMode::limited,
                                           SupplyMode::blocked};
  const int supplies = feed_.limits() && !in.supply_open ? 3 : 1;
  const int gears = turning_.loses() ? 2 : 1;
  const auto found = [&] {
    for (int conducting = 0; conducting <= 3; ++conducting)  // as few as do
      for (int code = 0; code < 27; ++code) {
        const int pick[3] = {code % 3, code / 3 % 3, code / 9};
        int used = 0;
        bool allowed = true;
        for (std::size_t k = 0; k < 3; ++k) {
          used += pick[k] != 0 ? 1 : 0;
          allowed = allowed && (free[k] || pick[k] == 0);
          const Offer o = offer_of(in, k);
          if (free[k])
            modes.leg[k] = pick[k] == 0 ? LegMode::floating : pick[k] == 1 ? o.out : o.into;
        }
        if (!allowed || used != conducting) continue;
        for (int n = 0; n < supplies * gears * 2; ++n) {
          modes.supply = in.supply_open ? SupplyMode::open : source[n / 2 % supplies];
          modes.bus_diodes = n % 2 != 0;
          modes.gear_drives = before.gear_drives != (n / 2 / supplies != 0);
          if (consistent(x, in, modes)) return true;
        }
      }
    return false;
  };
  // Between its thresholds a chopper stays as it was.
  modes.chopper = feed_.chopper_acts() ? before.chopper : in.chopper_gate;
  if (found()) return modes;
  modes.chopper = feed_.chopper_acts() != modes.chopper;
  if (feed_.chopper_acts() && found()) return modes;
  throw std::runtime_error("no consistent conduction state");
}

void AbcCircuit::settle(AbcState& x, const AbcInputs& in, const AbcModes& modes) const {
  feed_.settle(x, modes);
  std::array<double, 3> line = lines(x, in);
  std::array<bool, 3> none = {};
  int carrying = 0;
  for (std::size_t k = 0; k < 3; ++k) {
    const Offer o = offer_of(in, k);
    none[k] = in.open[k] || floats(modes.leg[k]) ||
              (!o.both_ways() && (modes.leg[k] == o.out ? line[k] : -line[k]) < i_slack);
    carrying += none[k] ? 0 : 1;
  }
  if (carrying < 2) none = {true, true, true};  // two currents vanish together
  double sum = 0.0;
  std::size_t last = 3;
  for (std::size_t k = 0; k < 3; ++k) {
    if (none[k])
      line[k] = 0.0;
    else
      last = k;
    sum += line[k];
  }
  if (last < 3) line[last] -= sum;
  windings_.set_lines(x, in, line);
}

void AbcCircuit::cut(AbcState& x, const AbcInputs& in, std::size_t leg) const {
  windings_.cut(x, in, leg);
  std::array<double, 3> line = lines(x, in);
  const std::size_t next = (leg + 1) % 3, last = (leg + 2) % 3;
  line[leg] = 0.0;
  line[last] = -line[next];
  windings_.set_lines(x, in, line);
}

}  // namespace stillrotor::reference
