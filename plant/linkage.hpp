// Currents of the windings from their flux linkage, for glide_step.hpp: the terms of the series
// about a step's begin, and the current at its end. All in the frame in which the rotor stands at
// the begin; on the rotor's axes, which turn on by phi, the linkage is
//   flux_dq = turn(-phi) flux,  flux and phi series themselves.
// Units  Wb, A, rad; each term has its power of the step's length in it.
// RT     safe.
#pragma once

#include "plant/glide_law.hpp"

namespace stillrotor::plant {

/// Constant inductances: i = 1/L(phi) (flux - magnets(phi)).
class Drive::Impl::PlainLinkage {
 public:
  static constexpr bool has_iron = false;

  [[gnu::always_inline]] PlainLinkage(const Impl& drive, const GlideLaw& law, Pair i_0) noexcept
      : flux_0(drive.rotor.inductance * i_0 + law.magnets_Wb),
        mirrored_0(conjugate(flux_0)),
        inverse_(drive.rotor.inverse),
        law_(law),
        by_turn_(law.per_turn * swapped(flux_0) - law.magnets_turn_A) {}

  [[gnu::always_inline]] Pair first(Pair flux_1, double turn_1) noexcept {
    flux_1_ = flux_1;
    turn_1_ = turn_1;
    return inverse_ * flux_1 + both(turn_1) * by_turn_;
  }
  [[gnu::always_inline]] Pair second(Pair flux_2, double turn_2) noexcept {
    flux_2_ = flux_2;
    turn_2_ = turn_2;
    flux_1_turned_ = law_.per_turn * swapped(flux_1_);
    bent_ = law_.per_turn * mirrored_0 - both(0.5) * law_.magnets_A;
    turn_1_2_ = turn_1_ * turn_1_;
    return inverse_ * flux_2 +
           (both(turn_1_) * flux_1_turned_ + both(turn_2) * by_turn_ - both(turn_1_2_) * bent_);
  }
  [[gnu::always_inline]] Pair third(Pair flux_3, double turn_3) noexcept {
    const double turn_1_3 = turn_1_ * turn_1_2_;
    return inverse_ * flux_3 +
           (((both(turn_1_) * law_.per_turn * swapped(flux_2_) + both(turn_2_) * flux_1_turned_) -
             both(turn_1_2_) * law_.per_turn * conjugate(flux_1_)) +
            (both(turn_3 - (2.0 / 3.0) * turn_1_3) * by_turn_ -
             both(2.0 * turn_1_ * turn_2_) * bent_ - both(0.5 * turn_1_3) * law_.magnets_turn_A));
  }
  [[gnu::always_inline]] Pair current(Pair flux_dq) const noexcept {
    return inverse_ * (flux_dq - law_.magnets_Wb);
  }

  const Pair flux_0, mirrored_0;

 private:
  const Pair inverse_;
  const GlideLaw& law_;
  const Pair by_turn_;  // of i, per radian
  Pair flux_1_{}, flux_2_{}, flux_1_turned_{}, bent_{};
  double turn_1_ = 0.0, turn_2_ = 0.0, turn_1_2_ = 0.0;
};

/// Saturated: flux_dq(i_dq) by a flux map. Its inverse as a series: with H the incremental
/// inductance, T and Q the derivatives beyond it, all at the begin,
///   H c_1 = f_1,  H c_2 = f_2 - 1/2 T(c_1, c_1),  H c_3 = f_3 - T(c_1, c_2) - 1/6 Q(c_1, c_1, c_1)
/// of i_dq, f_k being the terms of flux_dq. At the end the map itself is solved from where
/// the series leads (by the begin's inductances, which is near enough nearly always, else Newton),
/// so a step across the border of two pieces errs only by what the windings' resistance makes of
/// the series' error. Only where the map reaches(). Source derived; held against general steps, its
/// order and CVODE (tests/reference/closed_form/saturation_test.cpp,
/// tests/reference/cvode/saturated_test.cpp).
class Drive::Impl::MapLinkage {
 public:
  static constexpr bool has_iron = true;

  [[gnu::always_inline]] MapLinkage(const Impl&, const GlideLaw& law, Pair i_0) noexcept
      : MapLinkage(law, i_0, law.piece.at(i_0[0], i_0[1])) {}

  [[gnu::always_inline]] Pair first(Pair flux_1, double turn_1) noexcept {
    flux_1_ = flux_1;
    turn_1_ = turn_1;
    c_1_ = solved_by_begin(flux_1 - both(turn_1) * quarter(flux_0));
    end_ = i_0_ + c_1_;
    return c_1_ + both(turn_1) * quarter(i_0_);
  }
  [[gnu::always_inline]] Pair second(Pair flux_2, double turn_2) noexcept {
    flux_2_ = flux_2;
    turn_2_ = turn_2;
    half_2_ = 0.5 * turn_1_ * turn_1_;
    bends_ = law_.piece.bends(i_0_[0], i_0_[1]);
    const Pair f_2 = (flux_2 - both(turn_1_) * quarter(flux_1_)) -
                     (both(turn_2) * quarter(flux_0) + both(half_2_) * flux_0);
    c_2_ = solved_by_begin(f_2 - both(0.5) * bent(c_1_, c_1_));
    end_ += c_2_;
    return (c_2_ + both(turn_1_) * quarter(c_1_)) +
           (both(turn_2) * quarter(i_0_) - both(half_2_) * i_0_);
  }
  [[gnu::always_inline]] Pair third(Pair flux_3, double turn_3) noexcept {
    const double turn_1_2 = turn_1_ * turn_2_, sixth_3 = (1.0 / 3.0) * turn_1_ * half_2_;
    const double still = turn_3 - sixth_3;
    const Pair f_3 = (flux_3 - both(turn_1_) * quarter(flux_2_)) -
                     (both(turn_2_) * quarter(flux_1_) + both(half_2_) * flux_1_) -
                     (both(still) * quarter(flux_0) + both(turn_1_2) * flux_0);
    const Pair c_3 = solved_by_begin(f_3 - bent(c_1_, c_2_) - both(1.0 / 6.0) * bent_twice(c_1_));
    end_ += c_3;
    return (c_3 + both(turn_1_) * quarter(c_2_)) +
           (both(turn_2_) * quarter(c_1_) - both(half_2_) * c_1_) +
           (both(still) * quarter(i_0_) - both(turn_1_2) * i_0_);
  }
  [[gnu::always_inline]] Pair current(Pair flux_dq) const noexcept {
    // First by the inductances of the begin: what a short step changes in them is next to nothing.
    const Dq flux = law_.piece.flux(end_[0], end_[1]);
    const Pair first = solved_by_begin(flux_dq - law_.off_map_Wb - pair(flux.d, flux.q));
    Pair i = end_ + first;
    if (dot(first, first) < law_.nearest_A2) return i;
    for (int tries = 0; tries < 8; ++tries) {
      const FluxMap::Values at = law_.piece.at(i[0], i[1]);
      const Pair off = flux_dq - law_.off_map_Wb - pair(at.psi_d, at.psi_q);
      const Pair more =
          both(inverse_of(at)) * (pair(at.l_qq, at.l_dd) * off - both(at.l_dq) * swapped(off));
      i += more;
      if (dot(more, more) < law_.near_A2) break;
    }
    return i;
  }

  const Pair flux_0, mirrored_0;

 private:
  [[gnu::always_inline]] MapLinkage(const GlideLaw& law, Pair i_0,
                                    const FluxMap::Values& at) noexcept
      : flux_0(pair(at.psi_d, at.psi_q) + law.off_map_Wb),
        mirrored_0(conjugate(flux_0)),
        law_(law),
        i_0_(i_0) {
    const Pair inverse = both(inverse_of(at));
    straight_ = inverse * pair(at.l_qq, at.l_dd);
    crossed_ = inverse * both(at.l_dq);
  }
  static double inverse_of(const FluxMap::Values& at) noexcept {
    return 1.0 / (at.l_dd * at.l_qq - at.l_dq * at.l_dq);
  }
  [[gnu::always_inline]] Pair solved_by_begin(Pair f) const noexcept {
    return straight_ * f - crossed_ * swapped(f);
  }
  [[gnu::always_inline]] Pair bent(Pair a, Pair b) const noexcept {  // T(a, b)
    return (both(a[0] * b[0]) * bends_.by_dd + both(a[1] * b[1]) * bends_.by_qq) +
           both(a[0] * b[1] + a[1] * b[0]) * bends_.by_dq;
  }
  [[gnu::always_inline]] Pair bent_twice(Pair a) const noexcept {  // Q(a, a, a)
    const double dd = bends_.dddq * a[0] * a[0], dq = 3.0 * bends_.ddqq * a[0],
                 qq = bends_.dqqq * a[1];
    return pair(a[1] * (3.0 * dd + a[1] * (dq + qq)), a[0] * (dd + a[1] * (dq + 3.0 * qq)));
  }

  const GlideLaw& law_;
  const Pair i_0_;
  Pair straight_, crossed_;
  FluxMap::Bends bends_{};
  Pair flux_1_{}, flux_2_{}, c_1_{}, c_2_{}, end_{};
  double turn_1_ = 0.0, turn_2_ = 0.0, half_2_ = 0.0;
};

}  // namespace stillrotor::plant
