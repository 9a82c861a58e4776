// What feeds the DC link, and the link itself.
// Battery      i = (inner voltage - v_dc) / resistance, both ways. Its inner voltage is `voltage`,
// or
//              follows the state of charge and resistor-capacitor branches (battery.hpp).
// Bench supply i = (voltage - v_dc) / resistance, limited to 0 .. current limit: it cannot sink,
//              so energy that the machine returns raises the bus. With loops of finite speed its
//              source voltage v_s is an integrator that the lower of two loops moves:
//                dv_s/dt = min(w_v (voltage - v_s + resistance i), k (limit - i)),
//              so `resistance` is what the output shows to what is faster than the voltage loop.
// Fold-back    limit = current_limit - slope (voltage - v_dc), slope so that `fold_back` A flow
//              into a short at the nominal voltage.
// Cable        inductance between source and link: the supply's current is then a state of its own.
// Path         connector, protection board and contactor in line; a resistor beside the contactor
//              charges the link before it closes.
// Chopper      a resistor across the bus behind a switch: by the controller's line, or by itself
//              between two thresholds.
// DC link      capacitance with equivalent series resistance; v_dc = v_C + ESR * (i_supply - i_dc).
// Units V, A, ohm, F.  Sign i_supply > 0 out of the supply into the link; i_dc > 0 from the link
// into the bridge.
#pragma once

#include "plant/supply/battery.hpp"
#include "plant/supply/protection.hpp"

namespace stillrotor::plant {

enum class SupplyKind : unsigned char { battery, bench_supply };

/// What the supply is doing; a battery knows `voltage` and `open` only.
enum class SupplyMode : unsigned char {
  voltage,
  current_limit,
  blocked,  // the bus stands above a bench supply's output
  open      // the path is open, or a bench supply has latched off
};

struct SupplyParameters {
  SupplyKind kind = SupplyKind::battery;
  double voltage_V = 48.0;          // open-circuit or set voltage, >= 0
  double resistance_ohm = 40e-3;    // > 0
  double current_limit_A = 1e9;     // bench supply only, > 0
  double cable_inductance_H = 0.0;  // both wires together, >= 0
  // bench supply only
  double fold_back_A = -1.0;     // into a short, up to current_limit; < 0: no fold-back
  double voltage_loop_Hz = 0.0;  // 0: both loops ideal
  double current_loop_Hz =
      0.0;  // bandwidth into the load voltage / current_limit; > 0 with the other
  double latch_above_V = 1e9;  // bus voltage at which it switches off for good, > 0
  // battery only
  BatteryParameters battery{};
  ProtectionParameters protection{};
};

struct ContactorParameters {
  bool fitted = false;          // false: a plain wire
  double pull_in_s = 20e-3;     // from command to closed, >= 0
  double drop_out_s = 10e-3;    // from command to open, >= 0
  double pre_charge_ohm = 0.0;  // beside the contactor; 0: none, an open contactor parts the path
  bool closed_at_start = false;
};

struct ChopperParameters {
  double resistance_ohm = 0.0;  // 0: none
  bool by_itself = false;       // between the thresholds; false: by its gate
  double on_V = 0.0, off_V = 0.0;
};

struct DcLinkParameters {
  double capacitance_F = 1e-3;          // > 0
  double series_resistance_ohm = 5e-3;  // >= 0
};

/// What of the supply side changes in time, beside what is integrated. In DriveState.
struct SupplyState {
  BatteryState battery;
  ProtectionState protection;
  double own_V = 0.0, own_V_per_s = 0.0;  // what charge and branches add to the battery's voltage
  double drawn_C = 0.0;                   // out of a battery that follows its charge, since start
  std::int64_t contactor_at_ps = INT64_MAX;  // when it does what it was last asked for
  bool contactor_closed = true, contactor_asked = true;
  bool interrupted = false;  // the connector is apart
  bool latched = false;      // bench supply: over-voltage
  bool chopper_gate = false, chopper_on = false;
  // faults
  double more_ohm = 0.0;  // in series with the source, outside its terminals
  double share = 1.0;     // of the voltage that it is set to; what a battery's charge adds stays
  double ripple_V = 0.0, ripple_rad_s = 0.0;  // on top: amplitude, a sine from ripple_from_ps on
  std::int64_t ripple_from_ps = 0;
  bool disconnected = false, contactor_failed = false, pre_charge_failed = false;
  bool bounced = false;  // apart just now by a bouncing connector
  int bounces_left = 0;
  std::int64_t bounce_at_ps = INT64_MAX, bounce_open_ps = 0, bounce_shut_ps = 0;
  // when it last happened: contactor, any check of the board, latch
  std::int64_t contactor_moved_ps = 0, protection_moved_ps = 0, latched_ps = 0;
};

}  // namespace stillrotor::plant
