// Inside the plant: what drive.cpp (door), advance.cpp (time), conduction changes and observation
// share. Not for callers.
#pragma once

#include <algorithm>
#include <cmath>
#include <cstring>
#include <optional>

#include "plant/bridge/conduction.hpp"
#include "plant/drive.hpp"
#include "plant/machine/machine.hpp"
#include "plant/pair.hpp"
#include "plant/sensors/position.hpp"
#include "plant/shaft/shaft_law.hpp"
#include "plant/supply/bus_law.hpp"

namespace stillrotor::plant {

/// What machine, bus and shaft do at one point, in one conduction mode.
struct Flow {
  TerminalLaw machine;
  AlphaBeta di_dt;
  double dv_dt, domega_dt;
  Extra extra_dt{};
  double bus_V, supply_A, legs_A;
};

/// Inputs that ramp, at a point inside a step.
struct Drivers {
  double supply_V, load_Nm;
  double wind_m_s = 0.0, pedal_Nm = 0.0, held_rad_s = 0.0;  // none of them in the fast steps
};

inline double leg_current(std::size_t k, double i_alpha, double i_beta) noexcept {
  return leg_axis[k].alpha * i_alpha + leg_axis[k].beta * i_beta;
}

/// Throws std::invalid_argument. supply/supply_check.cpp.
void check_feed(const DriveParameters&);
/// The same for shaft and load. shaft/shaft_check.cpp.
void check_shaft(const ShaftParameters&);

inline Point point_of(const Continuous& c) noexcept {
  return {c.i_alpha_A, c.i_beta_A, c.v_cap_V, c.omega_m_rad_s, c.theta_e_rad, c.cos_e,
          c.sin_e,     c.extra,    0.0};
}

class BusWatch;

struct Drive::Impl {
  explicit Impl(const DriveParameters&);
  std::vector<TimeConstant> time_constants() const;

  // --- numbers fixed at set-up
  DriveParameters par;
  Machine machine;
  PositionSensors position;
  AbsoluteAngle absolute_angle;
  /// Sensors with a memory.
  struct AnalogPaths {
    explicit AnalogPaths(const DriveParameters&) noexcept;
    CurrentPath phase_current, dc_link_current;
    bool follows_phases = false, follows_rest = false;
    /// Phase sensors that see their phase however the legs conduct.
    bool even_phases = false;
    /// Share of a leg's current that its sensor sees, by how the leg conducts.
    std::array<double, conduction_kinds> seen_share;
    SensorLagSteps lags;
    bool follows_dc_link = false, follows_bus_V = false, follows_terminals = false;
  } analog;
  Battery battery;
  SupplyLaw supply_law;
  ShaftLaw shaft_law;
  GateDriver driver;
  ModeTable modes;
  ModeSurroundings around;
  LegLaws laws;                  // the grounded ones: of s.ground_ohm
  ConductionMode grounded_mode;  // while a terminal is grounded, see mode_of()
  /// Legs by the six gates where these alone decide them: each leg has a switch on.
  struct Gated {
    bool all = false;
    /// By the signs of the currents, bit k: leg k's flows out. Where all is true they do not
    /// matter.
    std::array<std::array<Conduction, 3>, 8> leg{};
    std::array<const ConductionMode*, 8> mode{};
  };
  std::array<Gated, 64> gated;
  std::array<LegChoice, 4> choices;  // by a leg's two gates
  double share_A;                    // see sharing_A()
  bool switching_costs;              // a change of gates burns something
  double p;                          // pole pairs
  // All on one shaft, as the fast steps see it; shaft_law has the general form.
  double inertia_inverse, coulomb_Nm, quadratic_Nm_s2;
  double capacitance_inverse;
  double link_ohm2;  // square of the link's series resistance
  /// A plain machine on the rotor's axes (d, q), for the fast steps.
  struct RotorAxes {
    Pair inductance, inverse;  // H, 1/H
    Pair crossing;             // L_q / L_d, -L_d / L_q
    double saliency_H;         // L_d - L_q
  } rotor;

  double supply_ohm;      // of the source alone
  double cable_wave_ohm;  // volts that an ampere in the cable can still add to the bus
  double shaft_step_s;    // step_limits.hpp
  double angle_most_rad;  // electrical, that a step may turn
  bool follows_charge;    // a battery whose charge is kept
  bool watches_supply;    // the supply side changes by itself

  std::optional<ThermalNetwork> heat_paths;
  bool warms = false;
  static constexpr std::int64_t heat_tick_ps = 1'000'000'000;  // 1 ms

  // --- time-varying
  DriveState s;
  const ConductionMode* mode = nullptr;
  BusLaw bus;
  /// The fast steps hold: a plain machine, no cable inductance, no supply loops, one rigid mass
  /// without wind or pedals (ever_fast: but for those two).
  bool fast = true, ever_fast = true;
  bool rigid = true;    // of these, what concerns the shaft
  bool extras = false;  // states of Extra move, other than a second mass's or a swinging leg's
  bool bare = true;     // of these the shortest form
  /// Which step glide() goes by; none: not at all. Else nothing moves between gates but the fast
  /// steps' own states, of a plain machine, a saturated one, or one with one inductance and a
  /// back-EMF that is no sine.
  enum class GlideBy : std::uint8_t { none, plain, map, shape } glide_by = GlideBy::none;
  bool glides_beside_floating = false;  // where one leg floats as well
  bool mapped = false;                  // the fast step of a saturated machine stands in for them
  bool phased = false;                  // that of a star winding by winding does
  bool burns_plainly = false;           // heats_plainly(), but for the legs
  bool watched = false;                 // the machine itself asks for a look after each step
  double turns_rad = 0.0;               // electrical turns of this mechanical one, see note_turn()
  bool switches_broken = false;         // s.switches says more than nothing
  bool ledger = false;
  bool phase_quantities = false;  // asked for
  bool ramping = true;            // any input changes; else at_rest holds them
  Drivers at_rest{};
  double slope_at_rest_Nm = 0.0;                           // of a slope that stays
  std::uint64_t forced_steps = 0, inconsistent_modes = 0;  // must stay 0: tests look

  // advance.cpp
  /// Where advance() goes: through changes of gates, if there are any, to the end.
  struct Way {
    std::int64_t until_ps;  // the next change, or the end
    std::int64_t end_ps = until_ps;
    const GateChange* next = nullptr;
    const GateChange* end = nullptr;

    void pass() noexcept { until_ps = std::max(++next != end ? next->at_ps : end_ps, until_ps); }
  };
  Stop advance(Way&, bool whole_steps_only, SegmentObserver*) noexcept;
  void set_switch(Switch, bool on) noexcept;
  /// At way.until_ps: makes the change that is due there. False: it was the end.
  bool pass_change(Way& way) noexcept {
    if (way.next == way.end) return false;
    set_switch(way.next->which, way.next->on);
    way.pass();
    return true;
  }
  /// Third order (Heun) in short steps: a sixteenth of the step that the fourth order would be
  /// allowed, it errs by (1/64)^4 / 24 of a transient, 2e-9. Else classical RK4.
  enum class Order { third, fourth };
  template <bool Ledger, bool Extras, Order>
  Point step(double h, double energies_J[5]) const noexcept;
  static constexpr double short_share = 1.0 / 16.0;  // of the longest step
  // The inner loop's: of second and of third order below these.
  static constexpr double second_share = 1.0 / 32.0, third_share = 1.0 / 6.0;
  template <LegsDiffer Legs, bool Bare>
  Point rotor_step(double h) const noexcept;
  template <bool Bare>
  Point rotor_step(double h) const noexcept;  // rotor_step.cpp
  template <bool Bare>
  Point line_step(double h) const noexcept;  // line_step.cpp
  template <LegsDiffer Legs, Order>
  Point map_step(double h) const noexcept;
  template <Order>
  Point map_step(double h) const noexcept;  // map_step.cpp
  template <Order>
  Point phase_step(double h) const noexcept;  // phase_step.cpp
  /// Order::third: where it helps. Each way returns what it calls, or its one result: the point is
  /// then written where the caller wants it. (Copied right after, it would be waited for.)
  template <Order How = Order::fourth>
  Point step(double h) const noexcept {
    if (ledger || !fast || mode->swings != 0 || ((mapped || phased) && mode->freedom != 2))
      return extras || !rigid || mode->swings != 0 ? step<false, true, How>(h, nullptr)
                                                   : step<false, false, How>(h, nullptr);
    return fast_step<How>(h);
  }
  template <Order How>
  Point fast_step(double h) const noexcept {
    Point y = fast_states<How>(h);
    y.extra = s.extra;
    return y;
  }
  template <Order How>
  Point fast_states(double h) const noexcept {
    if (mapped) return map_step<How>(h);
    if (phased) return phase_step<How>(h);
    if (mode->freedom != 2) return bare ? line_step<true>(h) : line_step<false>(h);
    return bare ? rotor_step<true>(h) : rotor_step<false>(h);
  }
  double step_limit() const noexcept;
  /// While the shaft itself asks for nothing.
  double plain_step_limit(double omega) const noexcept {
    const double electrical = std::abs(p * omega);
    const double limit = std::min(mode->step_max_s, bus.step_max_s);
    return electrical * limit > angle_most_rad ? angle_most_rad / electrical : limit;
  }
  double locate(double h, Point& at) const noexcept;
  double crossing(const Point& end, double h) const noexcept;
  void move_to(const Point&, double h) noexcept;
  void accept(const Point&, double h, SegmentObserver*) noexcept;
  bool may_tally(Tally&, double h) const noexcept;
  /// At the begin of a step, perhaps in another mode than the tally's; link(): the link there.
  /// False: somebody has to look at it.
  template <class Link>
  bool enter_mode(Tally& tally, Pair i_A, const Link& link) const noexcept {
    const std::uint32_t now = conduction_word(s);
    if (now == tally.mode) return true;
    if (!tally.continues(i_A[0], i_A[1])) return false;
    tally.enter_link(link());
    tally.mode = now;
    return true;
  }
  void tally_step(Tally&, const Point& begin, const Point& end, double h) const noexcept;
  // glide.cpp, glide_law.hpp, linkage.hpp, glide_step.hpp, shaped_step.hpp, floating_leg.hpp
  struct GlideLaw;
  struct Glided;
  struct PhasePairs;
  struct GlideEnd;
  class PlainLinkage;
  class MapLinkage;
  struct ShapedEmf;
  class FloatingLeg;
  struct ShapedPlane;
  struct ShapedLine;
  struct ShapedMode;
  /// Arrived with nothing else due; at a moment at which a leg stops conducting as it did; or left
  /// where something else is next.
  enum class Glide { arrived, changed, left };
  Glide glide(Way&, bool whole_steps_only, SegmentObserver*) noexcept;
  template <bool Lean, bool Shaped>
  Glide glide(Way&, bool whole_steps_only, SegmentObserver*) noexcept;
  double glide_to_change(const GlideLaw&, const GlideEnd& from, double h, double limit,
                         const ShapedMode*, GlideEnd& to) const noexcept;
  bool glide_through(const GateChange&, bool plain_gates, GlideEnd&) noexcept;
  bool glide_legs(const GlideEnd&) noexcept;
  void read_currents(GlideEnd&) const noexcept;
  bool supply_changes(const GlideLaw&, const GlideEnd&) noexcept;
  GlideLaw glide_law() const noexcept;
  template <class Linkage, int Order>
  Glided glide_step(const GlideLaw&, const Glided& from, double h) const noexcept;
  template <class Linkage>
  void glide_step(const GlideLaw&, const Glided& from, double h, double limit,
                  Glided& to) const noexcept;
  void glide_step(const GlideLaw&, const Glided& from, double h, double limit,
                  Glided& to) const noexcept;
  /// Whether what glide() steps by holds from here on, as long as nothing changes.
  bool may_glide() const noexcept {
    return glide_by != GlideBy::none && !ramping && glides_in(*mode) && !watches_motion();
  }
  /// Of those that float the first.
  std::size_t floating_leg() const noexcept {
    return s.leg[0] == Conduction::floating ? 0U : s.leg[1] == Conduction::floating ? 1U : 2U;
  }
  bool glides_in(const ConductionMode& m) const noexcept {
    return m.freedom == 2 || (m.freedom == 1 && glides_beside_floating && m.floating);
  }
  /// Not where a saturated machine's map runs on beyond its pieces.
  bool series_reaches(const Continuous& c) const noexcept {
    if (!mapped) return true;
    const Dq i = park({c.i_alpha_A, c.i_beta_A}, c.cos_e, c.sin_e);
    return machine.flux_map()->reaches(i.d, i.q);
  }
  /// The state h [s] after `from`, in the mode that holds; where series_reaches().
  Point glided(const Continuous& from, double h) const noexcept;
  static Glided glided_of(const Continuous&) noexcept;
  static Point point_at(const Glided&) noexcept;  // without Extra, which does not move
  std::int64_t glide_to_edge(const GlideLaw&, const Glided& from, double h, double limit,
                             Glided& to) const noexcept;
  ShapedEmf shaped_emf(double theta, Pair magnet) const noexcept;
  template <class Mode>
  void shaped_step(const GlideLaw&, const Mode&, const Glided& from, double h,
                   Glided& to) const noexcept;
  void shaped_step(const GlideLaw&, const ShapedMode&, const Glided& from, double h,
                   Glided& to) const noexcept;
  double least_margin(const GlideLaw&, const GlideEnd&, const ShapedMode*) const noexcept;
  LinkProbe plain_link(const GlideLaw&, Pair i_A, double v_cap_V) const noexcept;
  struct GlideHeat;
  GlideHeat glide_heat(const GlideLaw&, const Glided& from, const Glided& to, const Tally::Sums&,
                       double h) const noexcept;
  template <bool Lean>
  void enter(Tally&, const GlideLaw&, const GlideEnd& from, const GlideEnd& to, const Tally::Sums&,
             double h) const noexcept;
  template <bool Lean>
  void sense(const PhasePairs& from_A, const PhasePairs& to_A, double h) noexcept;
  void warm(const GlideLaw&, const GlideEnd& from, const GlideEnd& to, const Tally::Sums&,
            double h) noexcept;
  template <bool Lean>
  void follow(const GlideLaw&, const GlideEnd& from, const GlideEnd& to, const Tally::Sums&,
              double h) noexcept;
  void show(const GlideLaw&, const GlideEnd& from, const GlideEnd& to, const Tally::Sums&, double h,
            std::int64_t ends_ps, SegmentObserver&) noexcept;
  void move_ramps(double h) noexcept {
    for (Ramp* r :
         {&s.load_torque_Nm, &s.slope, &s.supply_V, &s.held_speed_rad_s, &s.wind_m_s, &s.pedal_Nm})
      r->value += r->rate_per_s * h;
  }
  void take(const Glided&) noexcept;
  void take(const Point& y) noexcept {  // what every step moves
    s.i_alpha_A = y.i_alpha;
    s.i_beta_A = y.i_beta;
    s.v_cap_V = y.v_cap;
    s.omega_m_rad_s = y.omega;
    s.theta_e_rad = y.theta;
    s.cos_e = y.cos_e;
    s.sin_e = y.sin_e;
  }
  void settle_time(double h) noexcept {
    s.offset_s += h;
    const auto whole = static_cast<std::int64_t>(s.offset_s * 1e12);
    s.time_ps += whole;
    s.offset_s -= static_cast<double>(whole) * 1e-12;
  }
  /// The plant's own timed changes that are due now (DriveState::alarm_ps); sets the next alarm.
  void ring() noexcept;
  void set_alarm() noexcept;                                // after any change of what is due
  double voltage_bound_V(const Point& now) const noexcept;  // that any winding can see
  std::int64_t quiet_until(std::int64_t limit_ps, Edges) const noexcept;

  // supply/supply_changes.cpp
  void refresh_path() noexcept;  // after any change of connector, protection or contactor
  void part_supply() noexcept;
  bool choose_chopper() noexcept;  // whether it has changed
  void choose_source() noexcept;   // a bench supply's mode
  /// Of the diodes that conduct across the bus where it stands below -V.
  struct LinkHold {
    double V = 0.0, S = 0.0;
  };
  LinkHold link_hold() const noexcept;
  double hold_margin(double bus_V) const noexcept;
  void choose_hold() noexcept;
  static constexpr double nearly_empty_V = 5.0;  // of a bus that diodes may have to hold soon
  /// Whether the bus may stand at zero: what it is below the link's capacitor is no more than the
  /// link's resistance makes of a current of the legs.
  bool nearly_empty(double v_cap_V, double current_A2) const noexcept {
    const double left_V = v_cap_V - nearly_empty_V;
    return left_V < 0.0 || left_V * left_V < link_ohm2 * current_A2;
  }
  bool nearly_empty(const Point& y) const noexcept {
    return nearly_empty(y.v_cap, y.i_alpha * y.i_alpha + y.i_beta * y.i_beta);
  }
  /// Into the bridge beside what the machine takes.
  double shorted_A(double bus_V) const noexcept {
    const LinkHold hold = s.link_held ? link_hold() : LinkHold{};
    return (mode->shoot_S + hold.S) * bus_V + hold.S * hold.V;
  }
  BusWatch bus_watch() const noexcept;  // bus_watch.hpp
  double supply_margin(const Point&, const Drivers&, const Flow&) const noexcept;
  void steer_battery() noexcept;  // before a step: the ramp of its inner voltage
  void follow_battery(const Point& end, double h) noexcept;
  std::int64_t next_supply_alarm_ps() const noexcept;
  void ring_supply() noexcept;
  void start_supply() noexcept;
  double ripple_V(double into_step_s) const noexcept;
  double ripple_Vs(double span_s) const noexcept;  // its integral from now on

  // flow.hpp
  struct BusFlow {
    double legs_A, bus_V, supply_A;
  };
  BusFlow flow_of_bus(const ConductionMode&, AlphaBeta i_A, double v_cap_V, const Extra&,
                      const Drivers&) const noexcept;
  BusFlow flow_of_bus(const ConductionMode& m, const Point& y, const Drivers& in) const noexcept {
    return flow_of_bus(m, {y.i_alpha, y.i_beta}, y.v_cap, y.extra, in);
  }
  double source_V(const Extra& extra, const Drivers& in) const noexcept {
    return supply_law.regulated ? extra.supply_inner : in.supply_V;
  }
  double source_V(const Point& y, const Drivers& in) const noexcept {
    return source_V(y.extra, in);
  }
  double supply_limit_A(double bus_V, double set_V) const noexcept {
    return par.supply.current_limit_A - supply_law.fold_back_S * (set_V - bus_V);
  }
  /// Rates of the source voltage that a bench supply's two loops ask for; the lower one rules.
  struct LoopRates {
    double voltage, current, gain_per_s;
    double margin_V() const noexcept { return (current - voltage) / gain_per_s; }
  };
  LoopRates loops(double supply_A, double bus_V, const Point&, const Drivers&) const noexcept;
  TerminalLaw machine_law(const Point&) const noexcept;   // with its cogging
  double machine_torque_Nm(const Point&) const noexcept;  // of that law alone
  template <bool Extras = true>
  Flow flow(const ConductionMode&, const Point&, const Drivers&) const noexcept;
  Drivers drivers(double into_step_s) const noexcept;
  double slope_Nm(double slope) const noexcept {
    return shaft_law.weight_lever * slope / std::sqrt(1.0 + slope * slope);
  }

  double drag_Nm(double omega) const noexcept {
    return omega * (shaft_law.viscous + quadratic_Nm_s2 * std::abs(omega));
  }

  // motion.cpp
  ShaftMode shaft_mode() const noexcept {
    return {s.speed_held, s.held_speed_rad_s.rate_per_s, s.apart, s.rotation, s.rotation_2,
            s.power_flow};
  }
  ShaftPoint shaft_point(const Point& y, double torque_Nm) const noexcept {
    return {torque_Nm, y.omega, s.apart ? y.extra.omega_2_rad_s : y.omega, y.extra.twist_rad,
            theta_m(y.theta) - y.extra.twist_rad};
  }
  static ShaftInputs shaft_inputs(const Drivers& in) noexcept {
    return {in.load_Nm, in.wind_m_s, in.pedal_Nm, in.held_rad_s};
  }
  double motion_margin(const ShaftPoint&, const ShaftInputs&) const noexcept;
  void choose_motion() noexcept;
  double acceleration_bound(double machine_Nm, double span_s) const noexcept;

  void choose_model() noexcept;    // of the machine, after a change of its condition
  void refresh_shaft() noexcept;   // after a change of its faults in s
  void choose_path() noexcept;     // fast steps or the general one, after a change of s.machine
  void inputs_changed() noexcept;  // after any change of a Ramp in s
  GlideBy glide_step_of_machine() const noexcept;

  // thermal/step_heat.cpp: of a step that this mode has taken
  double leg_J(std::size_t k, const Point& from, const Point& to, double h) const noexcept;
  StepHeat machine_heat(const Point& from, const Point& to, double h) const noexcept;
  std::array<double, 3> legs_J(const Point& from, const Point& to, double h) const noexcept;
  double friction_J(const Point& from, const Point& to, double h) const noexcept;
  struct HeatOfStep {
    StepHeat all;
    std::array<double, 3> legs_J;
  };
  HeatOfStep step_heat(const Point& from, const Point& to, double h) const noexcept;
  /// The same of a star without iron losses at three sound legs, of its line currents and mean
  /// speed.
  bool heats_plainly() const noexcept {
    return burns_plainly && s.grounded < 0 && mode->shoot_S <= 0.0 && !s.link_held;
  }
  HeatOfStep plain_heat(const Phases& from_A, const Phases& to_A, double omega,
                        double h) const noexcept;
  StepHeat latest_heat;  // of the latest step, where it warms anything

  // thermal/warming.cpp
  void start_heat() noexcept;
  void follow_heat(const Point& begin, const Point& end,
                   double h) noexcept;  // before a step is taken over
  void take_heat(const HeatOfStep& heat) noexcept {
    Warming& w = s.warming;
    latest_heat = heat.all;
    w.heat.winding_J += heat.all.winding_J;
    w.heat.magnet_J += heat.all.rotor_J;
    w.heat.housing_J += heat.all.iron_J;
    for (std::size_t k = 0; k < 3; ++k) w.heat.leg_J[k] += heat.legs_J[k];
  }
  void ring_heat() noexcept;
  void take_temperatures() noexcept;  // from the bodies into machine and sensors

  // machine_changes.cpp
  void set_machine_temperatures(double winding_K, double magnet_K) noexcept;
  double machine_energy_J(const Point&) const noexcept;
  /// The machine is another one from now on, at the linkage that it had.
  void become(MachineCondition next, bool magnets_follow) noexcept;
  /// Moves the currents until the windings' flux linkage is what it was in the condition before;
  /// magnets below their knee fall.
  void keep_linkage(const MachineCondition& before, bool magnets_follow) noexcept;
  void magnetise_shorts(const MachineCondition& before) noexcept;
  void look_at_magnets() noexcept;
  void jump_to(AlphaBeta i_A) noexcept;    // line currents, and inner states with them
  void watch_machine(double h) noexcept {  // after a step
    const Dq i = machine_A();
    if (const FluxMap* map = machine.flux_map())
      if (!map->covers(i.d, i.q)) {
        if (s.outside_map_s == 0.0) s.left_map_ps = s.time_ps;
        s.outside_map_s += h;
      }
    if (i.d < s.machine.knee_A) look_at_magnets();
  }
  Dq machine_A() const noexcept {  // in the machine itself
    AlphaBeta i{s.i_alpha_A, s.i_beta_A};
    if (s.machine.shorted) {
      const Point y = machine.behind_shorts(point(), s.machine);
      i = {y.i_alpha, y.i_beta};
    }
    return park(i, s.cos_e, s.sin_e);
  }
  void flow_of_shorts(const Point&, Flow&) const noexcept;
  /// What an impulse of voltage at the terminals [V s] leaves in the shorts.
  void push_shorts(AlphaBeta impulse_Vs) noexcept;
  void end_short(ShortPlace) noexcept;
  // phase_cut.cpp
  void cut_phase(std::size_t k) noexcept;  // its current to zero, linkages of the others kept
  void cut_all() noexcept;                 // where two are out
  void cut_saturated(const AlphaBeta* axis) noexcept;

  void turn_rotor(double angle_rad) noexcept;  // turn_ahead.cpp

  void note_turn() noexcept {
    const auto pairs = static_cast<std::int64_t>(p);
    turns_rad = static_cast<double>((s.electrical_turns % pairs + pairs) % pairs) * two_pi;
  }
  double cogging_Nm(double theta_e) const noexcept {
    return machine.cogging().torque_Nm((turns_rad + theta_e) / p);
  }

  // changes.cpp
  /// Where the terminal of a leg without current may stand.
  struct Window {
    double low_V, high_V;
  };
  Window window(std::size_t k, double bus_V) const noexcept {
    const LegChoice& choice = choice_of(k);
    const LegLaw &out = law(choice.out), &into = law(choice.into);
    return {out.s * bus_V + out.e_V, into.s * bus_V + into.e_V};
  }
  /// The same where no leg carries the windings' current: across an emptied bus that the diodes
  /// hold the two ends have changed places, and a leg rests between its own two, which both
  /// conduct.
  Window rest_window(std::size_t k, double bus_V) const noexcept {
    const Window w = window(k, bus_V);
    return w.low_V <= w.high_V ? w : Window{w.high_V, w.low_V};
  }
  double margin(const Point&, double into_step_s) const noexcept;
  /// The part of margin() that needs no more than leg currents and speed.
  double plain_margin(const Phases& i_A, double omega) const noexcept {
    const auto& way = mode->way;
    const auto& beyond_A = mode->beyond_A;
    const double u = way[0] * i_A.U - beyond_A[0], v = way[1] * i_A.V - beyond_A[1],
                 w = way[2] * i_A.W - beyond_A[2];
    double least = v < u ? v : u;
    if (w < least) least = w;
    if (rigid && coulomb_Nm > 0.0 && s.rotation != 0 && !s.speed_held)
      least = std::min(least, omega * s.rotation);
    return least;
  }
  double plain_margin(const Point& y) const noexcept {
    return plain_margin(phases({y.i_alpha, y.i_beta}), y.omega);
  }
  bool watches_motion() const noexcept {
    return rigid ? coulomb_Nm > 0.0 && s.rotation == 0 && !s.speed_held
                 : !shaft_law.never_changes();
  }
  bool watches_more() const noexcept {
    return mode->floating || mode->swings != 0 || watches_motion() || watches_supply ||
           driver.watches_current(s.driver);
  }
  void settle_modes() noexcept;  // everything that may change by itself, at this moment
  /// The same where currents have jumped: one that has changed its sign has not ended, its leg
  /// carries it the other way.
  void settle_jump() noexcept;
  void choose_supply() noexcept;
  void refresh_bus() noexcept;  // after any change of supply, chopper or shorted legs
  Phases terminals(const std::array<Conduction, 3>&, const Point&, const Flow&) const noexcept;
  /// The same where all three legs conduct.
  Phases leg_terminals(const Phases& i_A, double bus_V) const noexcept {
    const auto of = [&](std::size_t k, double leg_A) {
      return mode->leg_share[k] * bus_V + mode->leg_V[k] - mode->leg_ohm[k] * leg_A;
    };
    return {of(0, i_A.U), of(1, i_A.V), of(2, i_A.W)};
  }
  void keep_to_freedom() noexcept;
  double swing_terminal_V(std::size_t k, const Point& y, double bus_V) const noexcept {
    return 0.5 * bus_V + y.extra.leg_swing_V[k];
  }
  double current_A2() const noexcept { return s.i_alpha_A * s.i_alpha_A + s.i_beta_A * s.i_beta_A; }
  unsigned gates_of(std::size_t k) const noexcept { return (s.gates >> (2 * k)) & 3U; }
  const LegChoice& choice_of(std::size_t k) const noexcept {
    static constexpr std::array<LegChoice, 4> grounded{
        {{Conduction::grounded, Conduction::grounded},
         {Conduction::grounded_high, Conduction::grounded_high},
         {Conduction::grounded_low, Conduction::grounded_low},
         {Conduction::grounded_shoot_through, Conduction::grounded_shoot_through}}};
    return s.grounded == static_cast<std::int8_t>(k) ? grounded[gates_of(k)] : choices[gates_of(k)];
  }
  /// From the table, or computed into `own`.
  const ConductionMode& mode_of(const std::array<Conduction, 3>& l,
                                ConductionMode& own) const noexcept {
    if (s.grounded < 0) return modes[static_cast<std::size_t>(mode_index(l[0], l[1], l[2]))];
    own = sum_legs(l, laws, around);
    return own;
  }
  const LegLaw& law(Conduction c) const noexcept { return laws[static_cast<std::size_t>(c)]; }
  void use_legs(const std::array<Conduction, 3>&) noexcept;
  void use_legs(const std::array<Conduction, 3>& leg, const ConductionMode& next) noexcept {
    std::memcpy(s.leg, leg.data(), sizeof s.leg);
    const bool other_bus = mode == nullptr || next.shoot_S != mode->shoot_S;
    mode = &next;
    if (other_bus) refresh_bus();
  }
  /// Where gates, and currents that flow in all legs, leave no question. False: there is one.
  bool use_plain_legs() noexcept;
  /// The same but for one leg at rest that its gates leave floating or to a diode.
  bool use_resting_leg() noexcept;
  /// Into the negative rail, of a leg that conducts.
  double leg_ground_A(std::size_t k, const Point& y, double bus_V) const noexcept {
    const LegLaw& leg = law(s.leg[k]);
    return (leg.s * bus_V + leg.e_V - leg.r_ohm * leg_current(k, y.i_alpha, y.i_beta)) /
           s.ground_ohm;
  }
  std::array<Conduction, 3> legs() const noexcept { return {s.leg[0], s.leg[1], s.leg[2]}; }
  // sensors/analog.cpp
  void follow_phase_currents(const Phases& before_A, const Phases& after_A, double h) noexcept;
  void follow_other_sensors(const Point& end, double h) noexcept;
  /// What those see.
  struct SeenByRest {
    double bridge_A, bus_V;
    Pair terminal_u_v_V{};
    double terminal_w_V = 0.0;
  };
  void follow_rest(const SeenByRest& before, const SeenByRest& after, double h,
                   const SensorLags&) noexcept;
  void settle_filters() noexcept;
  AbsoluteAngle::Shaft shaft() const noexcept;
  SensorEdge pass_absolute_angle() noexcept;
  SensorEdge absolute_angle_moved() noexcept;
  // bridge/driver_changes.cpp
  std::int64_t now_ps() const noexcept;
  double switch_A(const Point&, double bus_V) const noexcept;
  double trip_margin(const Point&, const Flow&) const noexcept;
  void tell_bootstrap(unsigned gates_before) noexcept;
  void follow_driver() noexcept;
  void look_after_driver() noexcept;
  void switches_changed() noexcept;  // after any change of s.switches
  bool fault_line_moves() const noexcept;
  bool fault_line_high() const noexcept;
  SensorEdge move_fault_line() noexcept;
  std::int64_t fault_line_quiet_ps(std::int64_t limit_ps) const noexcept;
  // choose_legs.cpp
  void choose_legs() noexcept;
  void begin_free_legs(std::array<Conduction, 3> leg, const bool (&free)[3]) noexcept;
  Conduction carrying(const LegChoice&, double current_A) const noexcept;
  Conduction leaving(std::size_t k, double current_A, double terminal_V,
                     double bus_V) const noexcept;
  // switching.cpp
  struct Terminals {
    double bus_V = 0.0;
    std::array<double, 3> terminal_V{};
  };
  Terminals terminals_now() const noexcept;
  double draw_from_link(double energy_J) noexcept;
  void burn(std::size_t k, double energy_J) noexcept;
  void set_swing(std::size_t k, double swing_V) noexcept;
  void pay_for_switching(const Terminals& before, unsigned gates_before,
                         const std::array<Conduction, 3>& leg_before) noexcept;
  void switch_gates(std::uint8_t asked) noexcept;  // of the six switches from now on
  // observe.cpp
  LinkProbe probe_link(const Continuous&, const Drivers&) const noexcept;
  Probe probe(const Continuous&) const noexcept;
  double plain_torque_Nm(const Dq& i) const noexcept {  // of a plain machine
    return 1.5 * p * (s.machine.flux_linkage_Wb + rotor.saliency_H * i.d) * i.q;
  }
  Snapshot snapshot(const Point&, double into_step_s) const noexcept;
  double theta_m(double theta_e) const noexcept {
    return (static_cast<double>(s.electrical_turns) * two_pi + theta_e) / p;
  }

  Point point() const noexcept { return point_of(s); }
};

/// Below this a leg carries no current. The search for a current's zero ends within 1e-9 A of it.
inline constexpr double zero_A = 5e-9;

inline double leg_current(std::size_t k, const Point& y) noexcept {
  return leg_current(k, y.i_alpha, y.i_beta);
}
inline double& at(Phases& x, std::size_t k) noexcept { return k == 0 ? x.U : k == 1 ? x.V : x.W; }
inline double at(const Phases& x, std::size_t k) noexcept {
  return k == 0 ? x.U : k == 1 ? x.V : x.W;
}

/// Cosine and sine of a small angle (|delta| < 0.1 rad: error below 1e-15).
inline void small_turn(double delta, double& cosine, double& sine) noexcept {
  const double d2 = delta * delta, d4 = d2 * d2;
  cosine = (1.0 - 0.5 * d2) + d4 * (1.0 / 24.0 - d2 * (1.0 / 720.0));
  sine = delta * ((1.0 - d2 * (1.0 / 6.0)) + d4 * (1.0 / 120.0 - d2 * (1.0 / 5040.0)));
}
/// Rotates a carried cosine and sine by a small angle.
inline void rotate(double delta, double cos_0, double sin_0, double& cos_1,
                   double& sin_1) noexcept {
  double c, s;
  small_turn(delta, c, s);
  cos_1 = cos_0 * c - sin_0 * s;
  sin_1 = sin_0 * c + cos_0 * s;
}

}  // namespace stillrotor::plant
