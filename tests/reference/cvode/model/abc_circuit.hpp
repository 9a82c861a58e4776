// The drive's equations a second time, in phase coordinates, for an independent solver: windings
// (windings.hpp), legs (leg_laws.hpp), supply and link (feed.hpp), shaft (turning.hpp), put
// together.
// Conduction  chosen by trying every combination of what resting legs, supply and chopper may
//             do, and taking the one without a contradiction.
// Differs on purpose from the plant: frame, unknowns, conduction logic, torque formula.
#pragma once

#include "tests/reference/cvode/model/feed.hpp"
#include "tests/reference/cvode/model/leg_laws.hpp"
#include "tests/reference/cvode/model/turning.hpp"
#include "tests/reference/cvode/model/windings.hpp"

namespace stillrotor::reference {

class AbcCircuit {
 public:
  explicit AbcCircuit(const plant::DriveParameters& p)
      : bridge_(p.bridge), link_(p.dc_link), windings_(p), feed_(p), turning_(p) {}

  AbcRates rates(const AbcState&, const AbcInputs&, const AbcModes&) const;

  /// The consistent modes at this state; `before` says how chopper and swinging legs stood.
  /// Throws std::runtime_error when every combination contradicts itself.
  AbcModes choose(const AbcState&, const AbcInputs&, const AbcModes& before) const;

  /// How far the modes are violated [V, A or W]; > 0: an event lies before this state.
  double violation(const AbcState&, const AbcInputs&, const AbcModes&) const;

  /// After an event: currents that a diode has let go become 0, and the rest sums to 0.
  void settle(AbcState&, const AbcInputs&, const AbcModes&) const;

  /// The gates change at once; what that costs comes out of the link's capacitor, and a leg that
  /// has lost both its gates begins to swing. `modes`: those before the change. Returns what
  /// becomes heat in each leg [J].
  using Gates = std::array<bool, plant::switch_count>;
  std::array<double, 3> gates(AbcState&, AbcInputs&, AbcModes& modes, const Gates&) const;
  /// A terminal touches the negative rail, or no longer does. `modes`: those before.
  void set_ground(AbcState&, AbcInputs&, AbcModes& modes, const GroundShort&) const;
  void change_machine(AbcState&, AbcInputs&, const AbcModes&, const MachineState&) const;
  void short_turns(const AbcState& x, AbcInputs& in, std::size_t winding, double share,
                   double ohm) const {
    windings_.short_turns(x, in, winding, share, ohm);
  }
  /// The arc of a short ends at once; a leg whose current this turns round swings. `modes`: before.
  void end_short(AbcState&, AbcInputs&, AbcModes& modes, bool of_turns) const;

  /// Parts a leg's conductor at once.
  void cut(AbcState&, const AbcInputs&, std::size_t leg) const;

  void set_freewheel(AbcState& x, AbcInputs& in, plant::FreewheelFault fault) const {
    turning_.set_freewheel(x, in, fault);
  }

  AbcHeat heat(const AbcState&, const AbcInputs&, const AbcModes&, const AbcRates&) const;

  /// Terminals to the negative rail. Where no leg conducts, the star point is taken for that rail,
  /// as far as diodes let it.
  std::array<double, 3> potentials(const AbcRates&, const AbcInputs&, const AbcModes&) const;

  /// Currents out of the legs.
  std::array<double, 3> lines(const AbcState& x, const AbcInputs& in) const {
    return windings_.lines(x, in);
  }

 private:
  bool consistent(const AbcState&, const AbcInputs&, const AbcModes&) const;
  double conduction_violation(const AbcState&, const AbcInputs&, const AbcModes&,
                              const AbcRates&) const;
  Windings::Terminals terminals(const AbcState&, const std::array<double, 3>& line_A,
                                const AbcInputs&, const AbcModes&, double bus_V) const;
  static bool grounded(const AbcInputs& in, std::size_t leg) {
    return in.ground.there && in.ground.leg == leg && !in.open[leg];
  }
  Thevenin at_terminal(std::size_t leg, LegMode, const AbcInputs&) const;
  /// What bus and terminals stood at before a change.
  struct Instant {
    double bus_V;
    std::array<double, 3> terminal_V;
  };
  void begin_swing(AbcState&, const AbcInputs&, AbcModes&, std::size_t leg, const Instant&) const;
  struct Switched {
    bool was_high, was_low, high, low;
    LegMode was;
  };
  /// What a leg's change takes out of the link, and what of it becomes heat.
  struct Cost {
    double taken_J = 0.0, heat_J = 0.0;
    void add(double joule) {
      taken_J += joule;
      heat_J += joule;
    }
  };
  /// v: its terminal's potential before.
  Cost cost(const Switched&, double i_A, double v, double bus_V) const;
  double lowest_V(const AbcInputs&, std::size_t leg, double bus_V) const;
  double highest_V(const AbcInputs&, std::size_t leg, double bus_V) const;
  Offer offer_of(const AbcInputs& in, std::size_t leg) const {
    if (grounded(in, leg) && !in.gate[2 * leg] && !in.gate[2 * leg + 1])
      return {LegMode::grounded_alone, LegMode::grounded_alone};
    return offer(in.gate[2 * leg], in.gate[2 * leg + 1], bridge_);
  }
  plant::BridgeParameters bridge_;
  plant::DcLinkParameters link_;
  Windings windings_;
  Feed feed_;
  Turning turning_;
};

}  // namespace stillrotor::reference
