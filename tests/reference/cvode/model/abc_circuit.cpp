#include "tests/reference/cvode/model/abc_circuit.hpp"

#include <algorithm>
#include <cmath>
#include <stdexcept>

namespace stillrotor::reference {
namespace {

bool floats(LegMode m) { return m == LegMode::floating; }

}  // namespace

Windings::Terminals AbcCircuit::terminals(const AbcState& x, const std::array<double, 3>& line_A,
                                          const AbcInputs& in, const AbcModes& modes,
                                          double bus_V) const {
  Windings::Terminals out;
  for (std::size_t k = 0; k < 3; ++k) {
    if (floats(modes.leg[k])) continue;
    const Thevenin t = at_terminal(k, modes.leg[k], in);
    out[k] = {true, t.at_no_current(bus_V) - t.ohm * line_A[k]};
    if (swings(modes.leg[k])) out[k].potential_V += x.swing_V[k];
  }
  return out;
}

// v = leg's share v_dc + source - r (i + v / R_g), i into the machine.
Thevenin AbcCircuit::at_terminal(std::size_t leg, LegMode mode, const AbcInputs& in) const {
  const Thevenin own = thevenin(mode, bridge_);
  if (!grounded(in, leg)) return own;
  const double R = in.ground.ohm;
  if (mode == LegMode::grounded_alone) return {0.0, 0.0, R};
  const double left = R / (R + own.ohm);
  return {left * own.share, left * own.source_V, left * own.ohm};
}

double AbcCircuit::lowest_V(const AbcInputs& in, std::size_t leg, double bus_V) const {
  return thevenin(offer_of(in, leg).out, bridge_).at_no_current(bus_V);
}

double AbcCircuit::highest_V(const AbcInputs& in, std::size_t leg, double bus_V) const {
  return thevenin(offer_of(in, leg).into, bridge_).at_no_current(bus_V);
}

std::array<double, 3> AbcCircuit::potentials(const AbcRates& r, const AbcInputs& in,
                                             const AbcModes& modes) const {
  std::array<double, 3> v = r.terminal_V;
  if (!std::all_of(modes.leg.begin(), modes.leg.end(), floats)) return v;
  const double mean = (v[0] + v[1] + v[2]) / 3.0;
  double most = 1e300, least = -1e300;
  for (std::size_t k = 0; k < 3; ++k) {
    v[k] -= mean;
    if (in.open[k]) continue;
    least = std::max(least, lowest_V(in, k, r.bus_V) - v[k]);
    most = std::min(most, highest_V(in, k, r.bus_V) - v[k]);
  }
  const double common = std::min(std::max(0.0, least), most);
  for (double& each : v) each += common;
  return v;
}

AbcRates AbcCircuit::rates(const AbcState& x, const AbcInputs& in, const AbcModes& modes) const {
  AbcRates out;
  out.state.time_s = 1.0;
  const std::array<double, 3> line = lines(x, in);
  AcrossBus across;
  for (std::size_t k = 0; k < 3; ++k) {
    const Thevenin leg = thevenin(modes.leg[k], bridge_);
    across.drawn_A += leg.share * line[k];
    if (grounded(in, k)) {
      const Thevenin at = at_terminal(k, modes.leg[k], in);
      across.drawn_A += leg.share * (at.source_V - at.ohm * line[k]) / in.ground.ohm;
      across.conductance_S += leg.share * at.share / in.ground.ohm;
    }
    if (swings(modes.leg[k])) out.state.swing_V[k] = -0.5 * line[k] / bridge_.output_capacitance_F;
    if (in.gate[2 * k] && in.gate[2 * k + 1])
      across.conductance_S += 0.5 / bridge_.switch_on_resistance_ohm;
  }
  if (modes.bus_diodes) {
    const BusDiodes diodes = bus_diodes(in, bridge_);
    across.conductance_S += diodes.conductance_S;
    across.drawn_A += diodes.conductance_S * diodes.knee_V;
  }
  feed_.rates(x, in, modes, across, out);
  out.bridge_A = across.drawn_A + across.conductance_S * out.bus_V;
  out.state.theta_e_rad = turning_.pole_pairs() * x.omega_m_rad_s;
  windings_.rates(x, in, terminals(x, line, in, modes, out.bus_V), out);
  out.machine_Nm += turning_.cogging_Nm(x);
  if (turning_.has_iron_losses())
    out.machine_Nm -= turning_.iron_drag_Nm(x, windings_.linkage_Wb(x, in));
  turning_.rates(x, in, modes.shaft, out);
  return out;
}

double AbcCircuit::violation(const AbcState& x, const AbcInputs& in, const AbcModes& modes) const {
  const AbcRates r = rates(x, in, modes);
  return std::max(conduction_violation(x, in, modes, r),
                  turning_.violation(x, in, modes.shaft, r.machine_Nm));
}

double AbcCircuit::conduction_violation(const AbcState& x, const AbcInputs& in,
                                        const AbcModes& modes, const AbcRates& r) const {
  const std::array<double, 3> line = lines(x, in);
  double worst = feed_.violation(x, modes, r);
  bool none = true;
  for (LegMode leg : modes.leg) none = none && floats(leg);
  for (std::size_t k = 0; k < 3; ++k) {
    const LegMode mode = modes.leg[k];
    if (swings(mode)) {
      const bool down = mode == LegMode::swinging_down;
      worst = std::max({worst, (down ? -line[k] : line[k]) - i_slack,
                        (down ? lowest_V(in, k, r.bus_V) - r.terminal_V[k]
                              : r.terminal_V[k] - highest_V(in, k, r.bus_V)) -
                            v_slack});
      continue;
    }
    if (!floats(mode)) {
      const Offer o = offer_of(in, k);
      if (grounded(in, k)) continue;
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
      worst = std::max({worst, lowest_V(in, k, r.bus_V) - r.terminal_V[k] - v_slack,
                        r.terminal_V[k] - highest_V(in, k, r.bus_V) - v_slack});
      continue;
    }
    for (std::size_t j = 0; j < 3; ++j)  // no potential is defined, only differences
      if (!in.open[j] && j != k)
        worst =
            std::max(worst, r.terminal_V[k] - r.terminal_V[j] -
                                (highest_V(in, k, r.bus_V) - lowest_V(in, j, r.bus_V)) - v_slack);
  }
  const double beyond_V = -bus_diodes(in, bridge_).knee_V - r.bus_V;
  return std::max(worst, (modes.bus_diodes ? -beyond_V : beyond_V) - v_slack);
}

bool AbcCircuit::consistent(const AbcState& x, const AbcInputs& in, const AbcModes& modes) const {
  const AbcRates r = rates(x, in, modes);
  if (conduction_violation(x, in, modes, r) > -0.5 * v_slack) return false;
  if (!feed_.may_begin(x, modes, r)) return false;
  const std::array<double, 3> line = lines(x, in);
  for (std::size_t k = 0; k < 3; ++k) {  // what is about to conduct needs a current that grows
    const Offer o = offer_of(in, k);
    if (o.both_ways() || floats(modes.leg[k]) || swings(modes.leg[k]) ||
        std::abs(line[k]) > i_slack)
      continue;
    if (!((modes.leg[k] == o.out ? r.line_A_s[k] : -r.line_A_s[k]) > 0.0)) return false;
  }
  return true;
}

AbcModes AbcCircuit::choose(const AbcState& x, const AbcInputs& in, const AbcModes& before) const {
  const AbcRates there = rates(x, in, before);
  AbcModes modes;
  modes.shaft = turning_.choose(x, in, there.machine_Nm);
  const std::array<double, 3> line = lines(x, in);
  std::array<bool, 3> free = {}, swinging = {};
  for (std::size_t k = 0; k < 3; ++k) {
    if (in.open[k]) continue;
    const Offer o = offer_of(in, k);
    if (!o.both_ways()) {
      free[k] = std::abs(line[k]) <= i_slack;
      if (free[k]) continue;
      const bool out = line[k] > 0.0;
      modes.leg[k] = out ? o.out : o.into;
      swinging[k] = !in.gate[2 * k] && !in.gate[2 * k + 1] && swings(before.leg[k]) &&
                    out == (before.leg[k] == LegMode::swinging_down);
      continue;
    }
    modes.leg[k] = o.out;
    if (grounded(in, k)) continue;  // diodes beside it are left out
    if (o.out == LegMode::high_switch && over_knee(true, line[k], bridge_) > 0.0)
      modes.leg[k] = LegMode::high_shared;
    if (o.out == LegMode::low_switch && over_knee(false, line[k], bridge_) > 0.0)
      modes.leg[k] = LegMode::low_shared;
  }
  static constexpr SupplyMode source[3] = {SupplyMode::linear, SupplyMode::limited,
                                           SupplyMode::blocked};
  const int supplies = feed_.limits() && !in.path.open() ? 3 : 1;
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
        for (int n = 0; n < supplies * 2; ++n) {
          modes.supply = in.path.open() ? SupplyMode::open : source[n / 2];
          modes.bus_diodes = n % 2 != 0;
          if (consistent(x, in, modes)) return true;
        }
      }
    return false;
  };
  // As it was: a chopper between its thresholds, and swings that have not arrived; where that
  // contradicts itself, for the bus jumps, any of them may have.
  const AbcModes carried = modes;
  for (const bool any : {false, true})
    for (std::size_t changed = 0; changed < 16; ++changed) {
      bool possible = feed_.chopper_acts() || changed < 8;
      for (std::size_t k = 0; k < 3; ++k) {
        const bool arrives = (changed >> k & 1U) != 0;
        const double left_V = line[k] > 0.0 ? there.terminal_V[k] - lowest_V(in, k, there.bus_V)
                                            : highest_V(in, k, there.bus_V) - there.terminal_V[k];
        if (arrives) possible = possible && swinging[k] && (any || left_V < v_slack);
        modes.leg[k] = swinging[k] && !arrives ? before.leg[k] : carried.leg[k];
      }
      modes.chopper = feed_.chopper_acts() ? before.chopper != (changed >= 8) : in.chopper_gate;
      if (possible && found()) return modes;
    }
  throw std::runtime_error("no consistent conduction state");
}

void AbcCircuit::begin_swing(AbcState& x, const AbcInputs& in, AbcModes& modes, std::size_t k,
                             const Instant& before) const {
  const LegMode was = modes.leg[k];
  const double i = lines(x, in)[k], v = before.terminal_V[k];
  if (in.gate[2 * k] || in.gate[2 * k + 1] || bridge_.output_capacitance_F <= 0.0) return;
  if (std::abs(i) <= i_slack || floats(was) || grounded(in, k)) return;
  const bool out = i > 0.0;
  const bool arrived = out ? on_low_side(was) || v <= lowest_V(in, k, before.bus_V)
                           : on_high_side(was) || v >= highest_V(in, k, before.bus_V);
  if (arrived) return;
  modes.leg[k] = out ? LegMode::swinging_down : LegMode::swinging_up;
  x.swing_V[k] = v - 0.5 * before.bus_V;
}

AbcCircuit::Cost AbcCircuit::cost(const Switched& leg, double i_A, double v, double bus_V) const {
  const auto& e = bridge_.switching;
  const double scale = std::abs(i_A) / (e.at_V * e.at_A);
  Cost out;
  if ((leg.was_high && i_A > 0.0) || (leg.was_low && i_A < 0.0)) out.add(e.off_J * bus_V * scale);
  if (!leg.high && !leg.low) return out;
  const double across_V = leg.high ? bus_V - v : v;
  if (across_V <= 0.0) return out;
  out.taken_J += bridge_.output_capacitance_F * across_V * bus_V;
  out.heat_J += bridge_.output_capacitance_F * across_V * across_V;
  const bool from_diode = leg.high ? on_low_side(leg.was) : on_high_side(leg.was);
  if (leg.high ? i_A > 0.0 : i_A < 0.0)
    out.add((e.on_J + (from_diode ? e.recovery_J : 0.0)) * across_V * scale);
  return out;
}

std::array<double, 3> AbcCircuit::gates(AbcState& x, AbcInputs& in, AbcModes& modes,
                                        const Gates& to) const {
  const AbcRates r = rates(x, in, modes);
  const Instant before{r.bus_V, potentials(r, in, modes)};
  const Gates from = in.gate;
  in.gate = to;
  double taken_J = 0.0;
  std::array<double, 3> heat_J = {};
  for (std::size_t k = 0; k < 3; ++k) {
    const Switched leg{from[2 * k], from[2 * k + 1], to[2 * k], to[2 * k + 1], modes.leg[k]};
    if (leg.was_high == leg.high && leg.was_low == leg.low) continue;
    begin_swing(x, in, modes, k, before);
    if ((leg.was_high && leg.was_low) || (leg.high && leg.low)) continue;
    const Cost one = cost(leg, lines(x, in)[k], before.terminal_V[k], before.bus_V);
    taken_J += one.taken_J;
    heat_J[k] = one.heat_J;
  }
  if (x.v_cap_V > 0.0 && taken_J > 0.0)
    x.v_cap_V =
        std::sqrt(std::max(0.0, x.v_cap_V * x.v_cap_V - 2.0 * taken_J / link_.capacitance_F));
  return heat_J;
}

void AbcCircuit::set_ground(AbcState& x, AbcInputs& in, AbcModes& modes,
                            const GroundShort& to) const {
  const AbcRates r = rates(x, in, modes);
  const Instant before{r.bus_V, potentials(r, in, modes)};
  in.ground = to;
  for (std::size_t k = 0; k < 3; ++k)
    if (modes.leg[k] == LegMode::grounded_alone) begin_swing(x, in, modes, k, before);
}

void AbcCircuit::end_short(AbcState& x, AbcInputs& in, AbcModes& modes, bool of_turns) const {
  const AbcRates r = rates(x, in, modes);
  const Instant before{r.bus_V, potentials(r, in, modes)};
  windings_.end_short(x, in, of_turns);
  for (std::size_t k = 0; k < 3; ++k) begin_swing(x, in, modes, k, before);
}

void AbcCircuit::change_machine(AbcState& x, AbcInputs& in, const AbcModes& modes,
                                const MachineState& to) const {
  std::array<bool, 3> rests = {};
  std::array<int, 3> way = {};
  for (std::size_t k = 0; k < 3; ++k) {
    const Offer o = offer_of(in, k);
    rests[k] = floats(modes.leg[k]);
    if (!o.both_ways())
      way[k] = modes.leg[k] == o.out || modes.leg[k] == LegMode::swinging_down ? 1 : -1;
  }
  windings_.change(x, in, to, rests, way);
}

void AbcCircuit::settle(AbcState& x, const AbcInputs& in, const AbcModes& modes) const {
  feed_.settle(x, modes);
  turning_.settle(x, in, modes.shaft);
  std::array<double, 3> line = lines(x, in);
  std::array<bool, 3> none = {};
  int carrying = 0;
  for (std::size_t k = 0; k < 3; ++k) {
    const Offer o = offer_of(in, k);
    const bool out = modes.leg[k] == o.out || modes.leg[k] == LegMode::swinging_down;
    none[k] = in.open[k] || floats(modes.leg[k]) ||
              (!o.both_ways() && (out ? line[k] : -line[k]) < i_slack);
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

// What a leg gives the machine is what it takes from the bus less its heat; a leg that swings keeps
// the difference.
AbcHeat AbcCircuit::heat(const AbcState& x, const AbcInputs& in, const AbcModes& modes,
                         const AbcRates& r) const {
  AbcHeat out;
  windings_.heat(x, in, out);
  if (turning_.has_iron_losses())
    out.iron_W = turning_.iron_drag_Nm(x, windings_.linkage_Wb(x, in)) * x.omega_m_rad_s;
  const std::array<double, 3> line = lines(x, in);
  const BusDiodes across = bus_diodes(in, bridge_);
  const double held_W =
      modes.bus_diodes ? across.conductance_S * (r.bus_V + across.knee_V) * r.bus_V : 0.0;
  for (std::size_t k = 0; k < 3; ++k) {
    out.leg_W[k] = held_W / 3.0;
    if (!floats(modes.leg[k]) && !swings(modes.leg[k]))
      out.leg_W[k] += (thevenin(modes.leg[k], bridge_).share * r.bus_V - r.terminal_V[k]) * line[k];
    if (in.gate[2 * k] && in.gate[2 * k + 1])
      out.leg_W[k] += 0.5 * r.bus_V * r.bus_V / bridge_.switch_on_resistance_ohm;
  }
  return out;
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
