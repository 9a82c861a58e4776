// The plant: bridge, machine (permanent-magnet or induction), DC link and supply, shaft and load,
// sensors. The one door for callers.
//
// Time    int64 picoseconds since start. Inside an interval between two such instants events (a
//         diode current that reaches zero, friction that lets go) lie at double seconds.
// Frames  stationary alpha-beta on phase U, dq on the magnet (plant/frames.hpp); motor convention.
// Numerics classical RK4 between edges (of plain drives a Taylor series), split at step_max_s;
//         conduction changes are found inside a step and landed on. docs/architecture.md has the
//         equations and their sources.
// Checkpoint DriveState is trivially copyable: `auto c = drive.state(); ...; drive.restore(c);`
// Ledger  supplied + adopted = d(stored) + mechanical + dissipated, all since start.
// RT      everything but the constructor is safe: no allocation, lock, log, throw or syscall.
#pragma once

#include <array>
#include <cstdint>
#include <memory>
#include <optional>
#include <span>
#include <type_traits>

#include "plant/bridge/bridge.hpp"
#include "plant/bridge/gate_driver.hpp"
#include "plant/faults/switch_faults.hpp"
#include "plant/frames.hpp"
#include "plant/machine/induction.hpp"
#include "plant/machine/permanent_magnet.hpp"
#include "plant/machine/terminal_law.hpp"
#include "plant/point.hpp"
#include "plant/sensors/analog.hpp"
#include "plant/sensors/sensors.hpp"
#include "plant/shaft/shaft.hpp"
#include "plant/supply/supply.hpp"
#include "plant/tally.hpp"
#include "plant/thermal/thermal.hpp"
#include "plant/time_constant.hpp"

namespace stillrotor::plant {

struct DriveParameters {
  BridgeParameters bridge;
  GateDriverParameters gate_driver;
  PermanentMagnetParameters machine;
  std::optional<InductionParameters> induction;  // in its place
  SupplyParameters supply;
  ContactorParameters contactor;
  ChopperParameters chopper;
  DcLinkParameters dc_link;
  ShaftParameters shaft;
  HallParameters hall;
  EncoderParameters encoder;
  SinCosParameters sin_cos;
  AbsoluteAngleParameters absolute_angle;
  CurrentSensorParameters phase_current;
  CurrentSensorParameters dc_link_current;  // its element 0; kind none or dc_link
  VoltageSensorParameters bus_voltage{.fitted = true};
  VoltageSensorParameters phase_voltage;       // at each terminal
  TemperatureSensorParameters temperature[2];  // motor, bridge
  ThermalParameters thermal;
  std::uint64_t seed = 1;  // of all noise and jitter
  double step_max_s =
      10e-6;  // 0.1 us to 50 us; shortened by itself where time constants ask for it

  int pole_pairs() const noexcept { return induction ? induction->pole_pairs : machine.pole_pairs; }
};

/// Lines that the plant itself moves.
enum class SensorLine : std::uint8_t {
  hall_U,
  hall_V,
  hall_W,
  encoder_A,
  encoder_B,
  encoder_Z,
  absolute_angle,  // pulse or data
  driver_fault     // high: the gate driver pulls its open-drain output
};
inline constexpr int sensor_line_count = 8;

struct SensorEdge {
  SensorLine line = SensorLine::hall_U;
  bool high = false;
};

/// An input that changes linearly from the moment it is set.
struct Ramp {
  double value = 0.0;
  double rate_per_s = 0.0;
};

/// The part of the state that is integrated. Units as named; angles in rad.
struct Continuous {
  std::int64_t time_ps = 0;
  double offset_s = 0.0;  // after time_ps; 0 whenever advance() returns, see follow()
  double i_alpha_A = 0.0, i_beta_A = 0.0;
  double v_cap_V = 0.0;
  double omega_m_rad_s = 0.0;
  double theta_e_rad = 0.0;           // 0 <= theta_e < 2 pi (a segment's end may stand outside)
  double cos_e = 1.0, sin_e = 0.0;    // of theta_e, carried
  std::int64_t electrical_turns = 0;  // theta_m = (turns * 2 pi + theta_e) / pole_pairs
  Extra extra{};
};

inline constexpr std::int64_t no_alarm_ps = INT64_MAX;

/// Everything that changes in time.
struct DriveState : Continuous {
  AnalogState analog;
  AbsoluteAngleState absolute_angle;
  double temperature_C[temperature_node_count] = {25.0, 25.0, 25.0, 25.0};  // by TemperatureNode
  // inputs, at this moment, with their rates
  Ramp load_torque_Nm, slope, supply_V, held_speed_rad_s, wind_m_s, pedal_Nm;
  bool speed_held = false;  // a dynamometer imposes held_speed_rad_s, or works towards it
  MachineCondition machine;
  double outside_map_s = 0.0;    // time for which the currents lay outside the machine's flux map
  std::int64_t left_map_ps = 0;  // when they did first; to a step
  std::int64_t magnets_fell_ps = 0;  // when the magnets last lost flux; to a step
  double source_ohm = 0.0;           // between the supply's inner voltage and the link
  SupplyState supply;
  // discrete
  std::uint8_t asked = 0;  // bit k: the driver asks Switch k to be on
  std::uint8_t gates = 0;  // bit k: Switch k is on; other than asked only by a fault of its
  SwitchFaults switches;
  GateDriverState driver;
  std::uint8_t open_phases = 0;  // bit k: terminal of leg k is disconnected
  std::int8_t grounded = -1;     // leg whose terminal is shorted to the negative rail; -1: none
  double ground_ohm = 0.0;       // through this
  Conduction leg[3] = {Conduction::floating, Conduction::floating, Conduction::floating};
  SupplyMode supply_mode = SupplyMode::voltage;
  bool link_held = false;      // by the legs' diodes, just below zero: it has been emptied
  std::int8_t rotation = 0;    // +1, -1 sliding; 0 held by friction
  std::int8_t rotation_2 = 0;  // the same of the load side, while it has its own speed
  bool apart = false;          // motor side and load side have two speeds
  RoadSurface surface;
  ShaftFaults shaft_faults;
  std::int8_t power_flow = 1;      // sign of what the gear passes on, where it has losses
  std::uint8_t sensor_levels = 0;  // bit k: SensorLine k is high
  double hall_shift_rad[3] = {0.0, 0.0, 0.0};  // electrical, of each switch out of its place
  double hall_carrier_rad = 0.0;               // of all three together
  double encoder_dirty_share = 0.0;            // of the disc's lines
  std::int64_t encoder_slip = 0;               // counts that the disc stands ahead of the shaft
  double sin_cos_shift_rad[2] = {0.0, 0.0};    // of the period: sine, cosine
  std::int64_t encoder_count = 0;
  std::int64_t alarm_ps = no_alarm_ps;  // the plant's next own timed change, see Impl::ring()
  double edge_ahead_rad = 1e9;          // the next sensor edge turning forward, on theta_e's scale
  double edge_behind_rad = -1e9;        // and turning backward
  double hall_ahead_rad = 1e9, hall_behind_rad = -1e9;  // of these, the Halls' own
  Warming warming;                                      // only where thermal is fitted
  double switching_J[3] = {};  // heat of each leg's changes of switches since start
  double drawn_J = 0.0;  // what they took out of the link for it, and to charge what they swing
  // energy ledger [J] since start, kept only while enabled (see Drive::keep_ledger)
  double supplied_J = 0.0, mechanical_J = 0.0, dissipated_J = 0.0;
  // of mechanical_J: what became heat on the shaft, and what the load took (the rest is motion)
  double shaft_heat_J = 0.0, load_J = 0.0;
  double adopted_J = 0.0;  // of what is stored: came (or went) with adopted currents, see there
};
static_assert(std::is_trivially_copyable_v<DriveState>);

/// What an ideal observer sees at one instant.
struct Snapshot {
  Phases current_A;   // into the machine
  Phases terminal_V;  // to the negative rail
  Phases back_emf_V;  // of each winding, triplens included; delta: between U-V, V-W, W-U
  Phases winding_A;   // of each winding; in star the same as current_A
  Dq current_dq_A;
  double bus_V = 0.0;       // at the bridge
  double supply_A = 0.0;    // out of the supply
  double bridge_A = 0.0;    // i_dc, into the bridge, shoot-through included
  double torque_Nm = 0.0;   // electromagnetic
  double machine_J = 0.0;   // see machine_energy_J()
  double load_Nm = 0.0;     // all that the load asks but friction, on the motor's side of the gear
  double through_Nm = 0.0;  // what the coupling passes on, on the motor's side of the gear
  double omega_m_rad_s = 0.0;
  double omega_2_rad_s = 0.0;  // load side, on the motor's side of the gear
  double vehicle_m_s = 0.0;
  double theta_e_rad = 0.0;
  double theta_m_rad = 0.0;  // not wrapped
  bool shoot_through = false;
};

/// One accepted step, all in one conduction mode (the mode the drive stands in while on_segment
/// runs).
struct Segment {
  const Continuous* begin = nullptr;
  const Continuous* end = nullptr;
  double length_s = 0.0;
  const AnalogState* analog_before = nullptr;  // at the begin, what the sensors remembered
};

/// How bridge and supply conduct.
inline std::uint32_t conduction_word(const DriveState& s) noexcept {
  return static_cast<std::uint32_t>(s.leg[0]) | static_cast<std::uint32_t>(s.leg[1]) << 8 |
         static_cast<std::uint32_t>(s.leg[2]) << 16 |
         static_cast<std::uint32_t>(s.supply_mode) << 24 |
         static_cast<std::uint32_t>(s.link_held) << 28;
}

/// Watches accepted steps. RT: called from advance(); must itself be RT-safe where advance() is.
class SegmentObserver {
 public:
  virtual ~SegmentObserver() = default;
  virtual void on_segment(const Segment&) noexcept = 0;

  /// With a tally, steps that end before tally->until_ps may only be entered there, in the order
  /// of time, and not come to on_segment(): which enters those that do.
  Tally* tally = nullptr;
};

/// A change at the gate driver's inputs.
struct GateChange {
  std::int64_t at_ps = 0;
  Switch which = Switch::UH;
  bool on = false;
};

struct StartState {
  double omega_m_rad_s = 0.0;
  double theta_m_rad = 0.0;
  double bus_V = -1.0;  // < 0: charged to the supply's voltage; 0 V behind an open contactor
};

class Drive {
 public:
  /// Throws std::invalid_argument naming the parameter, its value and its allowed range.
  explicit Drive(const DriveParameters&);
  ~Drive();
  Drive(Drive&&) noexcept;
  Drive& operator=(Drive&&) noexcept;

  /// Back to time 0, all gates off, nothing flowing.
  void start(const StartState& = {}) noexcept;

  const DriveState& state() const noexcept;
  /// A state that came from state(): the conduction mode in it is taken as it is.
  void restore(const DriveState&) noexcept;
  const DriveParameters& parameters() const noexcept;

  // Inputs: they act from state().time_ps on.
  void set_switch(Switch, bool on) noexcept;  // the driver's input line
  void set_driver_enable(bool) noexcept;      // from the start: enabled
  void set_driver_supply_V(double) noexcept;
  void set_load_torque_Nm(Ramp) noexcept;
  void set_slope(Ramp) noexcept;     // rise over run, uphill positive
  void set_supply_V(Ramp) noexcept;  // set voltage; open-circuit voltage at the start's charge
  void set_supply_interrupted(bool) noexcept;  // the connector parts, or closes again, at once
  void set_contactor(bool closed) noexcept;    // the command; it follows after its delay
  void set_chopper(bool on) noexcept;          // the gate of a chopper that does not act by itself
  void set_wind_m_s(Ramp) noexcept;            // against the vehicle
  void set_pedal_Nm(Ramp) noexcept;            // mean, at the crank; drives forward
  void set_surface(const RoadSurface&) noexcept;  // from now on, at once
  /// Of the surroundings, above 0 K: the bodies of fitted heat paths follow. Without heat paths
  /// nothing asks for it.
  void set_ambient_K(double) noexcept;
  void hold_speed_rad_s(Ramp) noexcept;          // dynamometer: imposes speed, or with a gain ...
  void release_speed() noexcept;                 // ... until released
  void set_phase_open(Leg, bool open) noexcept;  // current in it is cut at once (flux-conserving)
  /// A terminal touches the negative rail through a resistance > 0; the last one told only.
  /// MOSFETs.
  void ground_phase(Leg, double ohm) noexcept;
  void end_ground() noexcept;
  // Faults of the bridge: faults/switch_faults.hpp, bridge/gate_driver.hpp.
  void set_switch_open(Switch, bool) noexcept;
  void set_switch_shorted(Switch, bool) noexcept;  // open as well: open
  /// Both switches of a leg conduct for so long from now; 0: no longer.
  void short_leg(Leg, double for_s) noexcept;
  /// One line's edges come so much later than the driver's own delays say, 0 to 10 us each.
  void set_gate_skew(Switch, double on_s, double off_s) noexcept;
  void set_bootstrap_open(Leg, bool open) noexcept;  // nothing charges it any more
  /// Line currents that were measured elsewhere take the place of the plant's own, at once. Their
  /// zero sequence is left out. A leg whose switches let it rest carries none where no more than
  /// none_below_A was measured in it, so that a resolution does not open its diode; an open phase
  /// carries none whatever was measured. How the legs conduct follows from currents and gates. A
  /// delta's loop and a cage's flux go with them as by a voltage's impulse. What the fields gain by
  /// it no supply has given and no resistance has taken: adopted_J of the ledger.
  void adopt_currents(const Phases& measured_A, double none_below_A) noexcept;
  /// Of a body; the machine's resistance and magnets follow. Without fitted heat paths it stays
  /// there.
  void set_temperature_C(TemperatureNode, double) noexcept;
  // Faults of sensors, until set back to 0 or false. Levels that change by it come as edges.
  /// Electrical angle by which a Hall switch stands out of its place; positive: it flips late.
  void set_hall_shift_rad(Leg, double) noexcept;
  void set_hall_carrier_rad(double) noexcept;     // the same of all three together
  void set_encoder_dirty_share(double) noexcept;  // 0 to 0.5; which lines: by the seed
  /// The disc slips on the shaft, ahead or back. One count at a time: of more at once the line sees
  /// only where they end. For good.
  void slip_encoder(int counts) noexcept;
  /// Of the period; positive: the channel runs ahead. channel 0: sine, 1: cosine.
  void set_sin_cos_shift_rad(int channel, double) noexcept;
  void set_angle_bit_errors(double share) noexcept;  // of a clocked angle's bits, 0 to 1
  void set_angle_stuck(bool) noexcept;               // at the code of now
  // The controller's side of an absolute angle sensor that is clocked; its data follow as edges.
  void set_angle_clock(bool high) noexcept;
  void set_angle_selected(bool) noexcept;
  void set_angle_error(bool) noexcept;  // the sensor reports itself faulty
  /// Resistance and magnet flux as these temperatures ask; the windings' flux linkage stays, so the
  /// currents take over what the magnets lose or gain. Meant for slow ticks.
  void set_machine_temperatures(double winding_K, double magnet_K) noexcept;
  /// A bad joint in series with one winding, beside its own resistance; delta: U-V, V-W, W-U.
  /// Currents and linkages stay as they are; where windings become unequal the plant goes on in
  /// phase quantities. False, and nothing done: a machine that knows no single windings (flux map,
  /// induction).
  bool set_joint_ohm(Leg, double) noexcept;
  /// Computes in phase quantities even where the machine is symmetrical; the same motion, slower.
  /// False as above.
  bool use_phase_quantities(bool) noexcept;
  // Faults of the machine and of what it turns.
  /// A terminal and the next one (U-V, V-W, W-U), or a share of one winding's turns (delta: U-V,
  /// ...), shorted through a resistance > 0; one of each kind at a time. faults/winding_short.hpp
  void short_phases(Leg from, double ohm, double henry) noexcept;
  void short_turns(Leg winding, double share, double ohm) noexcept;
  void end_short(ShortPlace) noexcept;
  /// The magnets lose this share of their flux for good, at once; the windings' linkages stay. At
  /// least 5 % of the flux as built is left. False, and nothing done: no magnets.
  bool demagnetise(double share) noexcept;
  void set_bearing_friction_Nm(double more) noexcept;  // on the motor side, beside its own
  void set_grip_share(double) noexcept;                // of the tyre's, above 0
  void set_freewheel(FreewheelFault) noexcept;         // where one is fitted
  // Faults of the supply: supply/supply.hpp.
  void set_supply_more_ohm(double) noexcept;
  void set_supply_share(double) noexcept;  // of its voltage, >= 0
  void set_supply_ripple(double amplitude_V, double frequency_Hz) noexcept;
  void set_supply_disconnected(bool) noexcept;
  /// Opens for open_s, every every_s (beginning to beginning), so many times, from now; 0: no more.
  void bounce_supply(double open_s, double every_s, int times) noexcept;
  void fail_contactor(bool) noexcept;   // opens at once, whatever it is told
  void fail_pre_charge(bool) noexcept;  // its resistor is open
  void keep_ledger(bool) noexcept;      // energy accounts in DriveState; costs some speed

  struct Stop {
    bool edge = false;  // stopped at a sensor edge; false: reached `until`
    SensorEdge what;
  };
  /// Advances to until_ps, or to the first sensor edge before or at it, whichever comes first, and
  /// stands exactly there (state().time_ps). An edge's own time is rounded up to the next ps.
  /// Edges at one instant come out one call after the other. until_ps < now: does nothing.
  Stop advance(std::int64_t until_ps, SegmentObserver* = nullptr) noexcept;

  /// As advance() to each change and set_switch() there, one after the other, and then on to
  /// until_ps if that lies beyond, to the bit; faster where there are many. Ends early at a sensor
  /// edge: `played` says how many were made.
  struct Played {
    Stop stop;
    std::size_t played = 0;
  };
  Played play(std::span<const GateChange>, std::int64_t until_ps,
              SegmentObserver* = nullptr) noexcept;
  Played play(std::span<const GateChange> changes, SegmentObserver* observer = nullptr) noexcept {
    return play(changes, 0, observer);
  }

  /// Advances by whole steps of the integration only, as far as they go before until_ps or to the
  /// first sensor edge: the trajectory is then the same to the bit however often a caller looks in.
  /// Leaves offset_s below one picosecond, not always 0.
  Stop follow(std::int64_t until_ps, SegmentObserver* = nullptr) noexcept;

  /// A moment before which no sensor edge can come, whatever the gates do (but for a leg that they
  /// short across the bus: with a driver that trips, ask again after each gate): between now and
  /// limit_ps. From bounds on speed and acceleration; equal to now when an edge is imminent.
  enum class Edges : bool { all, but_encoder };
  std::int64_t quiet_until(std::int64_t limit_ps, Edges = Edges::all) const noexcept;

  /// For a look ahead, between state() and restore(): the rotor as it will stand in lead_s (0 to
  /// 10 ms) if its speed goes on changing as it does now, but never back through zero. Halls,
  /// encoder, sine and cosine and terminals' voltages show that moment; currents, the rest of the
  /// state and time are the present's. Kept in this state, the plant would go on wrongly.
  void turn_ahead(double lead_s) noexcept;

  /// What the machine's field holds beyond that of its magnets, and its cogging [J].
  double machine_energy_J() const noexcept;

  Snapshot snapshot() const noexcept;
  /// Inside a segment, tau_s after its begin (0 to length_s): cubic Hermite in the states,
  /// fourth order, everything else computed from them.
  Snapshot inside(const Segment&, double tau_s) const noexcept;
  /// At a segment's begin or end, in the segment's conduction mode. From on_segment only.
  Probe probe(const Continuous&) const noexcept;
  LinkProbe probe_link(const Continuous&) const noexcept;
  /// What the segment turned into heat, currents and speed being straight lines in it (plant/
  /// tally.hpp). From on_segment only.
  StepHeat heat(const Segment&) const noexcept;

  /// The quickest time constant that the parameters make; steps are a quarter of it or shorter.
  /// Faults may make quicker ones. Not RT.
  TimeConstant quickest() const;

  /// Numerical accidents since construction: both counts stay 0 or the plant has a flaw.
  struct Health {
    std::uint64_t forced_steps = 0;        // changes of mode that followed one another without time
    std::uint64_t inconsistent_modes = 0;  // no conduction mode fitted the state
    double outside_map_s = 0.0;            // of this run: currents outside the flux map
  };
  Health health() const noexcept;

  /// Energy in fields and capacitors: windings (magnets' own left out), link, cable. Not the
  /// shaft's.
  double stored_J() const noexcept;
  /// Flux linkages of the windings, the magnets' included, as (alpha, beta) of the line and the
  /// delta's loop: what a sudden change keeps. Magnet machines only.
  std::array<double, 3> linkage_Wb() const noexcept;
  /// Heat in a leg's switches and diodes at this moment, by conduction; the changes of switches
  /// gather in DriveState::switching_J.
  double leg_heat_W(Leg) const noexcept;
  double bootstrap_V(Leg) const noexcept;

  // Sensors at this moment, at the connector, before the harness.
  bool level(SensorLine) const noexcept;
  double sense_V(SensorChannel) const noexcept;
  double phase_current_sense_V(Leg leg) const noexcept {
    return sense_V(static_cast<SensorChannel>(leg));
  }
  double bus_voltage_sense_V() const noexcept { return sense_V(SensorChannel::bus_voltage); }

 private:
  struct Impl;
  std::unique_ptr<Impl> impl_;
};

}  // namespace stillrotor::plant
