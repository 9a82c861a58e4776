// The machine with shorts of its windings: what faults/winding_short.hpp says, applied.
#include <algorithm>
#include <array>

#include "plant/bridge/conduction.hpp"
#include "plant/machine/machine.hpp"

namespace stillrotor::plant {

// Turns first: they lie inside, a short between phases lies at the terminals.
TerminalLaw Machine::with_shorts(const Point& y, const MachineCondition& now) const noexcept {
  TerminalLaw t = whole(behind_shorts(y, now), now);
  for (int n = 0; n < short_count; ++n) {
    const WindingShort& b = now.shorts[n];
    if (now.is_there(n))
      t = beside(t, b, short_ohm(b, now), y.extra.short_A[n], y.omega, short_emf_Wb(b, y, now));
  }
  return t;
}

// In a star the winding's unshorted turns carry the line's current, whatever its shorted ones do;
// in a delta the winding's current is the one behind the shorts and what the turns take of it.
Phases Machine::windings_beside_shorts_A(const Point& y,
                                         const MachineCondition& now) const noexcept {
  const bool delta = !induction_ && given_.connection == Connection::delta;
  Point behind = y;
  constexpr int turns = static_cast<int>(ShortPlace::turns);
  if (!delta) behind.extra.short_A[turns] = 0.0;
  Phases out = own_windings_A(behind_shorts(behind, now));
  if (!delta) return out;
  const WindingShort& b = now.shorts[turns];
  double* const each[3] = {&out.U, &out.V, &out.W};
  *each[b.winding] += b.turns * y.extra.short_A[turns];
  return out;
}

void Machine::set_short(MachineCondition& c, ShortPlace place, std::size_t winding, double turns,
                        double ohm, double henry) const noexcept {
  const bool delta = !induction_ && given_.connection == Connection::delta;
  const AlphaBeta n = leg_axis[winding], next = leg_axis[(winding + 1) % 3];
  WindingShort b;
  b.winding = static_cast<unsigned char>(winding);
  b.ohm = ohm;
  if (place == ShortPlace::phases) {
    b.across = {n.alpha - next.alpha, n.beta - next.beta};
    b.henry = henry;
  } else {
    b.turns = turns;
    b.across = delta ? AlphaBeta{turns * (n.alpha - next.alpha), turns * (n.beta - next.beta)}
                     : AlphaBeta{turns * n.alpha, turns * n.beta};
    b.copper = delta ? 3.0 * turns * (1.0 - turns) : turns * (1.0 - 2.0 / 3.0 * turns);
    const double own_H = delta || induction_ ? 0.0 : turns * turns * given_.inductance_zero_H / 3.0;
    b.henry = std::max(own_H, short_leakage_s * short_ohm(b, c));
  }
  c.shorts[static_cast<int>(place)] = b;
  c.shorted = true;
}

}  // namespace stillrotor::plant
