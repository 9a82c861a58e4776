// A battery's inner voltage: open-circuit voltage over state of charge, less the voltages of
// resistor-capacitor branches in series (what the cells take time for):
//   v_inner = OCV(z) - sum v_k,   dz/dt = -i / capacity,   tau_k dv_k/dt = R_k i - v_k
// Charge and branches move by the charge that each accepted step has drawn, as if its mean current
// had flowed; inside a step v_inner is a ramp from the current at its begin. That is second order
// in the step over tau_k, which is small.
// Below empty and above full the open-circuit voltage stays at the table's ends.
// Units V, C, ohm, s, K; charge as a share of the capacity.  Sign i > 0 discharges.
// Source textbook (equivalent circuit of a cell), from memory.
// RT: safe. O(points of the table) at worst, O(1) as a rule.
#pragma once

#include <array>
#include <cstdint>
#include <vector>

#include "plant/curve.hpp"

namespace stillrotor::plant {

inline constexpr int branch_count = 3;

struct BatteryParameters {
  std::vector<CurvePoint> open_circuit_V;  // over charge 0 to 1, rising; empty: `voltage` stays
  double capacity_C = 72e3;                // > 0
  double charge = 0.8;                     // at the start, 0 to 1
  struct Branch {
    double resistance_ohm = 0.0;  // 0: none
    double time_s = 1.0;          // > 0
  };
  std::array<Branch, branch_count> branch{};
  std::vector<CurvePoint> resistance_share;  // of `resistance`, over temperature; empty: 1
  double temperature_K = 298.15;

  bool moves() const noexcept {
    bool any = !open_circuit_V.empty();
    for (const Branch& b : branch) any = any || b.resistance_ohm > 0.0;
    return any;
  }
  /// At the present temperature.
  double share_of_resistance() const noexcept {
    return resistance_share.empty() ? 1.0 : on_curve(resistance_share, temperature_K);
  }
};

struct BatteryState {
  double charge = 0.0;  // share of the capacity
  double branch_V[branch_count] = {};
  std::int32_t stretch = 0;  // of the table, in which the charge was last
};

class Battery {
 public:
  explicit Battery(const BatteryParameters&);

  /// Rested, at the start's charge.
  BatteryState at_start() const noexcept { return {par_.charge, {}, 0}; }
  /// What charge and branches add to the open-circuit voltage of the start.
  double own_V(BatteryState&) const noexcept;
  /// Its rate while `current_A` flows.
  double own_V_per_s(const BatteryState&, double current_A) const noexcept;

  struct Energies {
    double supplied_J = 0.0;  // by the open-circuit source, on top of its voltage at the start
    double heat_J = 0.0;      // in the branches' resistors
  };
  /// A step of h_s in which charge_C was drawn.
  Energies draw(BatteryState&, double charge_C, double h_s) const noexcept;
  /// Energy in the branches' capacitors.
  double stored_J(const BatteryState&) const noexcept;

 private:
  double open_circuit_V(BatteryState&) const noexcept;

  BatteryParameters par_;
  double start_V_ = 0.0;
};

}  // namespace stillrotor::plant
