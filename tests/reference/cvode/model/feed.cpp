#include "tests/reference/cvode/model/feed.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace stillrotor::reference {

namespace {

/// Straight between the points, and on beyond them as they end.
double between(const std::vector<plant::CurvePoint>& points, double x) {
  if (x <= points.front().x) return points.front().y;
  for (std::size_t k = 1; k < points.size(); ++k) {
    const auto &a = points[k - 1], &b = points[k];
    if (x < b.x) return (a.y * (b.x - x) + b.y * (x - a.x)) / (b.x - a.x);
  }
  return points.back().y;
}

}  // namespace

double Feed::battery_V(const AbcState& x) const {
  const auto& b = supply_.battery;
  double v = 0.0;
  if (!b.open_circuit_V.empty())
    v += between(b.open_circuit_V, x.charge) - between(b.open_circuit_V, b.charge);
  for (const double branch_V : x.branch_V) v -= branch_V;
  return v;
}

double Feed::resistance_ohm() const {
  const auto& b = supply_.battery;
  return supply_.resistance_ohm *
         (b.resistance_share.empty() ? 1.0 : between(b.resistance_share, b.temperature_K));
}

double Feed::set_V(const AbcState& x, const AbcInputs& in) const {
  return supply_.voltage_V + in.supply_V_per_s * x.time_s +
         in.ripple_V * std::sin(2.0 * std::numbers::pi * in.ripple_Hz * x.time_s) + battery_V(x);
}

void Feed::rates(const AbcState& x, const AbcInputs& in, const AbcModes& modes, AcrossBus across,
                 AbcRates& out) const {
  const double esr = link_.series_resistance_ohm, own_ohm = resistance_ohm(),
               R = own_ohm + in.path.ohm();
  const double set = set_V(x, in), source = regulated() ? x.source_V : set;
  if (modes.chopper) across.conductance_S += 1.0 / chopper_.resistance_ohm;
  // i_supply = fixed - slope * v, and with it v.
  double fixed_A = 0.0, slope_S = 0.0;
  double fold_S = 0.0;
  if (limits() && supply_.fold_back_A >= 0.0)
    fold_S = (supply_.current_limit_A - supply_.fold_back_A) / supply_.voltage_V;
  const bool feeds =
      modes.supply == SupplyMode::linear || (modes.supply == SupplyMode::limited && regulated());
  if (feeds && cable()) {
    fixed_A = x.cable_A;
  } else if (feeds) {
    fixed_A = source / R;
    slope_S = 1.0 / R;
  } else if (modes.supply == SupplyMode::limited) {
    fixed_A = supply_.current_limit_A - fold_S * set;
    slope_S = -fold_S;
  }
  out.bus_V = (x.v_cap_V + esr * (fixed_A - across.drawn_A)) /
              (1.0 + esr * (slope_S + across.conductance_S));
  out.supply_A = fixed_A - slope_S * out.bus_V;
  out.asked_A = (source - out.bus_V) / R;
  out.limit_A = supply_.current_limit_A - fold_S * (set - out.bus_V);
  out.state.v_cap_V =
      (out.supply_A - across.drawn_A - across.conductance_S * out.bus_V) / link_.capacitance_F;
  if (feeds && cable())
    out.state.cable_A = (source - R * x.cable_A - out.bus_V) / supply_.cable_inductance_H;
  const auto& b = supply_.battery;
  out.state.charge = -out.supply_A / b.capacity_C;
  for (std::size_t k = 0; k < plant::branch_count; ++k)
    if (b.branch[k].resistance_ohm > 0.0)
      out.state.branch_V[k] =
          (b.branch[k].resistance_ohm * out.supply_A - x.branch_V[k]) / b.branch[k].time_s;
  if (!regulated()) return;
  const double w = 2.0 * std::numbers::pi * supply_.voltage_loop_Hz;
  const double k = 2.0 * std::numbers::pi * supply_.current_loop_Hz * supply_.voltage_V /
                   supply_.current_limit_A;
  const double by_voltage = w * (set - x.source_V + own_ohm * out.supply_A);
  const double by_current = k * (out.limit_A - out.supply_A);
  out.state.source_V = modes.supply == SupplyMode::limited  ? by_current
                       : modes.supply == SupplyMode::linear ? by_voltage
                                                            : std::min(by_voltage, by_current);
  out.loops_apart_V = (by_current - by_voltage) / w;
}

double Feed::violation(const AbcState& x, const AbcModes& modes, const AbcRates& r) const {
  double worst = -1.0;
  if (chopper_acts())
    worst = std::max(
        worst, (modes.chopper ? chopper_.off_V - r.bus_V : r.bus_V - chopper_.on_V) - v_slack);
  if (!limits() || modes.supply == SupplyMode::open) return worst;
  if (modes.supply == SupplyMode::blocked) return std::max(worst, r.asked_A - i_slack);
  if (regulated()) {
    const double apart = modes.supply == SupplyMode::linear ? -r.loops_apart_V : r.loops_apart_V;
    return std::max({worst, apart - v_slack, -r.supply_A - i_slack});
  }
  const double i = cable() ? x.cable_A : r.supply_A;
  if (modes.supply == SupplyMode::limited)
    return std::max({worst, r.limit_A - r.asked_A - i_slack});
  return std::max({worst, -i - i_slack, i - r.limit_A - i_slack});
}

bool Feed::may_begin(const AbcState& x, const AbcModes& modes, const AbcRates& r) const {
  if (!limits() || !cable() || modes.supply == SupplyMode::open) return true;
  const bool none = x.cable_A <= 2.0 * i_slack;
  if (modes.supply == SupplyMode::blocked) return none;
  if (none && r.asked_A < 0.0) return false;
  if (regulated()) return true;
  const bool most = x.cable_A >= r.limit_A - 2.0 * i_slack;
  return modes.supply == SupplyMode::limited ? most : !(most && r.asked_A > r.limit_A);
}

void Feed::settle(AbcState& x, const AbcModes& modes) const {
  if (modes.supply == SupplyMode::blocked || modes.supply == SupplyMode::open) x.cable_A = 0.0;
  if (modes.supply == SupplyMode::limited && !regulated()) x.cable_A = supply_.current_limit_A;
}

}  // namespace stillrotor::reference
