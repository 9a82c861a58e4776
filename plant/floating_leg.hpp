// The terminal of the one leg that floats beside two that conduct, of a machine with one
// inductance. Nothing flows along the leg's axis n, so what stands there is back-EMF e alone, and
//   v = half of what the other two terminals stand at + 3/2 n . e
// Source derived (star of three equal windings, no zero sequence); held against terminals() and
//        closed forms (tests/reference/closed_form).
// RT     safe.
#pragma once

#include "plant/glide_follow.hpp"

namespace stillrotor::plant {

class Drive::Impl::FloatingLeg {
 public:
  /// Beside the other two, as m has them.
  FloatingLeg(const Impl& drive, const ConductionMode& m, std::size_t leg) noexcept {
    const auto axis = [](std::size_t k) { return pair(leg_axis[k].alpha, leg_axis[k].beta); };
    for (std::size_t k = 0; k < 3; ++k) {  // of the leg itself these are zero
      share_ += 0.5 * m.leg_share[k];
      volts_ += 0.5 * m.leg_V[k];
      ohm_ += both(0.5 * m.leg_ohm[k]) * axis(k);
    }
    pairs_ = both(1.5 * drive.p) * axis(leg);
    const LegChoice& choice = drive.choice_of(leg);
    const LegLaw &low = drive.law(choice.out), &high = drive.law(choice.into);
    window_share_ = pair(-low.s, high.s);
    window_V_ = pair(-low.e_V, high.e_V);
  }

  /// Of that terminal, to the negative rail.
  double terminal_V(Pair i_A, double omega, Pair emf_Wb, double bus_V) const noexcept {
    return share_ * bus_V + volts_ + (omega * dot(pairs_, emf_Wb) - dot(ohm_, i_A));
  }
  /// How far it is above its window's low end, and below its high one; negative: a diode takes it.
  Pair margins_V(Pair i_A, double omega, Pair emf_Wb, double bus_V) const noexcept {
    const double v = terminal_V(i_A, omega, emf_Wb, bus_V);
    return window_share_ * both(bus_V) + window_V_ + pair(v, -v);
  }
  double margin_V(const Glided& at, double bus_V) const noexcept {
    const Pair margins = margins_V(at.i_A, at.omega(), at.emf_Wb, bus_V);
    return margins[0] < margins[1] ? margins[0] : margins[1];
  }

 private:
  double share_ = 0.0, volts_ = 0.0;
  Pair ohm_{}, pairs_;            // pole pairs along the leg's axis
  Pair window_share_, window_V_;  // its low end's with the sign turned round
};

}  // namespace stillrotor::plant
