// What a shaped_step() asks of the mode in which it goes, worked out when the mode begins.
// RT: safe.
#pragma once

#include <optional>

#include "plant/floating_leg.hpp"
#include "plant/glide_law.hpp"

namespace stillrotor::plant {

/// Where all legs conduct: what currents answer to is a vector. Pairs: alpha, beta.
struct Drive::Impl::ShapedPlane {
  using Amount = Pair;
  Pair u, u_cap;  // the bus's share, of its voltage and of its capacitor's
  Pair given_V;   // knees, and the bus's share of what the supply alone makes of it
  Pair ohm, across_ohm;

  ShapedPlane(const ConductionMode& m, const BusLaw& bus, const GlideLaw& law) noexcept
      : u(loaded(&m.u_alpha)),
        u_cap(both(bus.from_cap) * u),
        given_V(loaded(&m.e_alpha_V) + both(law.volts) * u) {
    // The bus gives way to what flows: that is one more resistance, along u.
    const double gives_way_ohm = -bus.per_along_ohm;
    const Pair uneven = m.uneven_ohm + both(gives_way_ohm) * m.u_uneven;
    ohm =
        both(law.winding_ohm + m.mean_ohm + gives_way_ohm * m.u_mean) + conjugate(both(uneven[0]));
    across_ohm = both(uneven[1]);
  }

  Pair of(Pair v) const noexcept { return v; }
  Pair whole(Pair amount) const noexcept { return amount; }
  Pair times(double x) const noexcept { return both(x); }
  Pair drop_V(Pair i_A) const noexcept { return ohm * i_A + across_ohm * swapped(i_A); }
  static double product(Pair a) noexcept { return sum(a); }
};

/// Where one leg is out: all that counts is along the direction d that is left to the current.
struct Drive::Impl::ShapedLine {
  using Amount = double;
  Pair d;
  double u, u_cap, given_V, ohm;

  ShapedLine(const ConductionMode& m, const BusLaw& bus, const GlideLaw& law) noexcept
      : d(pair(m.d_alpha, m.d_beta)),
        u(dot(d, loaded(&m.u_alpha))),
        u_cap(bus.from_cap * u),
        given_V(dot(d, loaded(&m.e_alpha_V)) + law.volts * u),
        ohm(law.winding_ohm + m.r_aa_ohm * d[0] * d[0] + 2.0 * m.r_ab_ohm * d[0] * d[1] +
            m.r_bb_ohm * d[1] * d[1] - bus.per_along_ohm * u * u) {}

  double of(Pair v) const noexcept { return dot(d, v); }
  Pair whole(double amount) const noexcept { return both(amount) * d; }
  double times(double x) const noexcept { return x; }
  double drop_V(double i_A) const noexcept { return ohm * i_A; }
  static double product(double a) noexcept { return a; }
};

struct Drive::Impl::ShapedMode {
  ShapedMode() = default;
  ShapedMode(const Impl& drive, const GlideLaw& law) noexcept {
    const ConductionMode& m = *drive.mode;
    if (m.freedom == 2) {
      plane.emplace(m, drive.bus, law);
    } else {
      line.emplace(m, drive.bus, law);
      floating.emplace(drive, m, drive.floating_leg());
    }
  }

  std::optional<ShapedPlane> plane;
  std::optional<ShapedLine> line;  // where there is no plane
  std::optional<FloatingLeg> floating;
};

}  // namespace stillrotor::plant
