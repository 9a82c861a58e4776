// What feeds the DC link, and the link itself.
// Battery      i = (open_circuit_voltage - v_dc) / resistance, both ways.
// Bench supply i = (voltage - v_dc) / resistance, limited to 0 .. current_limit: it cannot sink,
//              so energy that the machine returns raises the bus.
// DC link      capacitance with equivalent series resistance; v_dc = v_C + ESR * (i_supply - i_dc).
// Units V, A, ohm, F.  Sign i_supply > 0 out of the supply into the link; i_dc > 0 from the link
// into the bridge.
#pragma once

namespace stillrotor::plant {

enum class SupplyKind : unsigned char { battery, bench_supply };

/// What a bench supply is doing; a battery stays in `voltage`.
enum class SupplyMode : unsigned char { voltage, current_limit, blocked };

struct SupplyParameters {
  SupplyKind kind = SupplyKind::battery;
  double voltage_V = 48.0;          // open-circuit or set voltage, >= 0
  double resistance_ohm = 40e-3;    // > 0
  double current_limit_A = 1e9;     // bench supply only, > 0
  double cable_inductance_H = 0.0;  // both wires together, >= 0
};

struct DcLinkParameters {
  double capacitance_F = 1e-3;          // > 0
  double series_resistance_ohm = 5e-3;  // >= 0
};

}  // namespace stillrotor::plant
