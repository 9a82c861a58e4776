// How a leg conducts: what its gates offer each direction of current, and the Thevenin source that
// each way of conducting is. Source: plant/bridge/bridge.hpp's model, written down anew.
#pragma once

#include "tests/reference/cvode/model/circuit_state.hpp"

namespace stillrotor::reference {

/// v_k = share * v_dc + source - resistance * i_k.
struct Thevenin {
  double share = 0.0, source_V = 0.0, ohm = 0.0;
  double at_no_current(double bus_V) const { return share * bus_V + source_V; }
};
/// Of a leg that swings: about half the bus, without its swing.
Thevenin thevenin(LegMode, const plant::BridgeParameters&);
constexpr bool swings(LegMode m) {
  return m == LegMode::swinging_down || m == LegMode::swinging_up;
}
bool on_low_side(LegMode);
bool on_high_side(LegMode);

/// What carries current out of the leg and what carries it into the leg.
struct Offer {
  LegMode out, into;
  bool both_ways() const { return out == into; }
};
Offer offer(bool high_on, bool low_on, const plant::BridgeParameters&);

/// By how much the drop of a channel exceeds the knee of the diode beside it [V].
double over_knee(bool high, double i_A, const plant::BridgeParameters&);

/// From the negative rail up to the positive one through the legs: a diode and the switch beside it
/// that is on, or two diodes; the paths with the lower knee share, the others do not conduct. A
/// switch that conducts one way is no such path.
struct BusDiodes {
  double knee_V, conductance_S;
};
BusDiodes bus_diodes(const AbcInputs&, const plant::BridgeParameters&);

}  // namespace stillrotor::reference
