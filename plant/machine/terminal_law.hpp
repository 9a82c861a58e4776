// What every machine shows at its three terminals, at one point:
//   v = L di/dt + back                  (alpha-beta, amplitude-invariant, motor convention)
// with L the incremental inductance there. Bridge, conduction modes, event search and observation
// know no more of a machine than this, so a new machine is one file that yields it.
// Inner states x (rotor flux, circulating current) follow by dx/dt = inner_rate + inner_per_di
// di/dt. Zero-sequence voltage moves the star point only and stands in no equation; it is observed.
// Energy  1.5 v . i = d(stored)/dt + torque_em * omega + heat, where torque_Nm = torque_em plus
//   what the machine's own shaft adds (cogging; less the drag of iron losses).
// RT: plain data.
#pragma once

#include "plant/frames.hpp"
#include "plant/point.hpp"

namespace stillrotor::plant {

struct TerminalLaw {
  double l_aa_H = 1.0, l_ab_H = 0.0, l_bb_H = 1.0;  // symmetric, positive definite
  AlphaBeta back_V;                                 // all of v but L di/dt: R i, motion, EMF
  AlphaBeta emf_V;         // of back_V, what the rotor's flux induces: observed only
  double torque_Nm = 0.0;  // on the shaft
  double inner_rate[inner_states] = {};
  double inner_per_di[inner_states][2] = {};
  double heat_W[3] = {};  // windings; rotor or magnets; iron
};

/// The form in which a machine is computed.
enum class MachineModel : unsigned char {
  linear_magnet,
  saturated_magnet,
  phase_magnet,
  induction
};

/// A short of windings: faults/winding_short.hpp has its law.
struct WindingShort {
  AlphaBeta across{};   // c
  double ohm = 0.0;     // of the short alone
  double copper = 0.0;  // of the winding's resistance (as a delta has it), what adds to it
  double henry = 0.0;   // > 0 while it is there
  double turns = 0.0;   // share of the winding's; 0: between terminals
  unsigned char winding = 0;
};

/// Which of MachineCondition::shorts.
enum class ShortPlace : unsigned char { turns, phases };

/// What of a machine changes slowly in a run: by temperature, ageing, joints. In DriveState.
/// A delta's values are those of its equivalent star.
struct MachineCondition {
  double winding_ohm[3] = {};  // by phase; unequal only where the model is phase_magnet
  double flux_linkage_Wb = 0.0;
  double rotor_ohm = 0.0;    // induction
  double joint_ohm[3] = {};  // of winding_ohm, what bad joints add
  double winding_K = 293.15, magnet_K = 293.15;
  double magnet_left = 1.0;  // share of the magnets' flux that no current has taken for good
  double knee_A = -1e300;    // i_d below which more of it goes
  MachineModel model = MachineModel::linear_magnet;
  bool shorted = false;  // any of these is there
  WindingShort shorts[short_count];

  bool is_there(int place) const noexcept { return shorts[place].henry > 0.0; }
};

}  // namespace stillrotor::plant
