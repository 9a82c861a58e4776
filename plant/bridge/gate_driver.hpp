// The gate driver between the controller's six lines and the six switches: delays, enable,
// protection, its supply and the bootstrap supplies of the high switches.
//   delay      each line has one for turning on and one for turning off; what their difference does
//              to a pulse happens (transport), and a pulse they shorten to nothing vanishes. Two
//              edges of a line are under way at most; a pulse more vanishes whole.
//   trip       when a switch carries more than trip_A: trip_delay later all switches are off and
//              the fault line is pulled; what happens in between does not call it off. Latched till
//              enable goes low and high again, or for retry_after where that is above 0.
//   supply     below undervoltage all off, fault latched the same way, for as long as it is low.
//   bootstrap  while the leg's terminal is low: dV/dt = (supply - V_diode - V) / (R C) - I_q / C,
//              the diode blocking where V is above; otherwise dV/dt = -I_q / C; each turn-on of the
//              high switch takes gate_charge / C. Below undervoltage the high switch is off until V
//              has recovered by the hysteresis. The terminal's own drop is left out.
// Faults: a line whose edges come later still (skew), which a bench without a driver may have too;
// a bootstrap diode that has gone open, whose capacitor is no longer charged.
// Source: common practice of half-bridge drivers; the exponentials derived (first order).
// Units SI, times in ps since start.  RT: everything but the constructor is safe; O(1).
#pragma once

#include <cstdint>
#include <limits>
#include <type_traits>

#include "plant/bridge/bridge.hpp"

namespace stillrotor::plant {

struct BootstrapParameters {
  double capacitance_F = 0.0;  // >= 0; 0: the high switches have supplies of their own
  double resistance_ohm = 10.0;
  double diode_voltage_V = 0.6;
  double quiescent_A = 100e-6;
  double gate_charge_C = 60e-9;  // of one high switch, a turn-on
  double undervoltage_V = 8.0, hysteresis_V = 0.5;
};

struct GateDriverParameters {
  double on_delay_s[switch_count] = {}, off_delay_s[switch_count] = {};  // 0 to 10 us
  double trip_A = 0.0;                                                   // 0: no such protection
  double trip_delay_s = 1e-6, retry_after_s = 0.0;
  double supply_V = 12.0, undervoltage_V = 0.0, hysteresis_V = 0.5;  // 0: not watched
  BootstrapParameters bootstrap;
};

inline constexpr std::int64_t no_driver_event_ps = std::numeric_limits<std::int64_t>::max();

struct GateDriverState {
  std::int64_t due_ps[switch_count][2] = {};  // edges under way, in order; levels alternate
  std::uint8_t under_way[switch_count] = {};
  std::uint8_t delivered = 0;  // what has come through the delays; bit k: Switch k
  bool enabled = true, latched = false, starved = false;
  std::int64_t trip_at_ps = no_driver_event_ps, retry_at_ps = no_driver_event_ps;
  double supply_V = 0.0;
  // bootstrap, per leg
  double bootstrap_V[3] = {};  // at bootstrap_ps
  std::int64_t bootstrap_ps = 0;
  std::uint8_t charging = 0, high_supplied = 0;  // bit k: leg k
  std::uint8_t diode_open = 0;                   // bit k: of leg k; a fault
  bool skewed = false;                           // any line below has been; a fault
  double later_on_s[switch_count] = {}, later_off_s[switch_count] = {};
  std::int64_t crossing_ps[3] = {no_driver_event_ps, no_driver_event_ps, no_driver_event_ps};
};
static_assert(std::is_trivially_copyable_v<GateDriverState>);

class GateDriver {
 public:
  explicit GateDriver(const GateDriverParameters&) noexcept;

  /// False: lines reach the switches at once, whatever happens.
  bool fitted() const noexcept { return fitted_; }
  /// The same, or a fault makes lines late.
  bool acts(const GateDriverState& s) const noexcept { return fitted_ || s.skewed; }
  bool has_bootstrap() const noexcept { return p_.bootstrap.capacitance_F > 0.0; }
  /// Waits for a switch to carry too much; see trip().
  bool watches_current(const GateDriverState& s) const noexcept {
    return p_.trip_A > 0.0 && !s.latched && s.trip_at_ps == no_driver_event_ps;
  }

  GateDriverState started() const noexcept;
  /// Which switches are on.
  std::uint8_t gates(const GateDriverState&) const noexcept;
  /// What is under way may bring a moment at which both switches of a leg are asked for; always_on:
  /// those that are on whatever is asked.
  bool may_short(const GateDriverState&, std::uint8_t always_on) const noexcept;
  /// The open-drain output pulls.
  bool fault(const GateDriverState& s) const noexcept { return s.latched; }

  void command(GateDriverState&, Switch, bool on, std::int64_t now_ps) const noexcept;
  void enable(GateDriverState&, bool, std::int64_t now_ps) const noexcept;
  void supply(GateDriverState&, double volts, std::int64_t now_ps) const noexcept;
  void trip(GateDriverState&, std::int64_t now_ps) const noexcept;
  /// Legs whose terminal is low from now on; high switches that have just been turned on.
  void bootstrap(GateDriverState&, std::uint8_t low_legs, std::uint8_t high_turned_on,
                 std::int64_t now_ps) const noexcept;
  /// delivered: what the lines ask for now, where no driver acted so far.
  void skew(GateDriverState&, Switch, double on_s, double off_s,
            std::uint8_t delivered) const noexcept;
  void open_bootstrap(GateDriverState&, int leg, bool open, std::int64_t now_ps) const noexcept;
  /// What is due at now_ps or before.
  void ring(GateDriverState&, std::int64_t now_ps) const noexcept;
  std::int64_t next_alarm_ps(const GateDriverState&) const noexcept;
  /// The next moment known already at which the fault line moves.
  std::int64_t fault_moves_ps(const GateDriverState& s) const noexcept {
    return s.trip_at_ps < s.retry_at_ps ? s.trip_at_ps : s.retry_at_ps;
  }
  /// Of one leg [V].
  double bootstrap_V(const GateDriverState&, int leg, std::int64_t now_ps) const noexcept;

 private:
  double after_s(double volts, bool charging, double supply_V, double seconds) const noexcept;
  double time_to_s(double volts, bool charging, double supply_V, double level_V) const noexcept;
  void settle_bootstrap(GateDriverState&, std::int64_t now_ps) const noexcept;
  void find_crossings(GateDriverState&) const noexcept;

  GateDriverParameters p_;
  bool fitted_;
};

}  // namespace stillrotor::plant
