// What changes in a machine at once, its flux linkages kept: temperature, magnets that lose flux.
// A winding's flux linkage cannot jump at finite voltage, so when the magnets' share of it changes,
// the currents take over the rest: L di = -d(psi_magnet). Where a leg is out, the linkage across it
// may jump and the current keeps to its direction. What the field then holds more or less has gone
// into or come out of the magnets, and stands in the ledger as heat.
#include "plant/flow.hpp"

namespace stillrotor::plant {

void Drive::set_machine_temperatures(double winding_K, double magnet_K) noexcept {
  impl_->set_machine_temperatures(winding_K, magnet_K);
}

void Drive::Impl::set_machine_temperatures(double winding_K, double magnet_K) noexcept {
  const MachineCondition next = machine.at_temperatures(winding_K, magnet_K, s.machine);
  if (next.flux_linkage_Wb == s.machine.flux_linkage_Wb) {
    s.machine = next;
  } else {
    const auto linkage = machine.linkage_Wb(point(), s.machine);
    const double before_J = machine.stored_J(point(), s.machine);
    s.machine = next;
    keep_linkage(linkage, false);
    if (ledger) s.dissipated_J += before_J - machine.stored_J(point(), s.machine);
    settle_modes();
  }
  look_at_magnets();
}

// The share that is left and the current that goes with it settle together, so that how far the
// magnets fall does not depend on the length of the step that took the current there.
void Drive::Impl::look_at_magnets() noexcept {
  if (!machine.can_lose_flux()) return;
  if (s.cos_e * s.i_alpha_A + s.sin_e * s.i_beta_A >= s.machine.knee_A) return;
  const auto linkage = machine.linkage_Wb(point(), s.machine);
  const double before_J = machine.stored_J(point(), s.machine);
  keep_linkage(linkage, true);
  if (ledger) s.dissipated_J += before_J - machine.stored_J(point(), s.machine);
  settle_modes();
}

// Newton; exact at once for a machine without saturation.
void Drive::Impl::keep_linkage(const std::array<double, 3>& wanted, bool magnets_follow) noexcept {
  const MachineCondition start = s.machine;
  for (int tries = 0; tries < 30; ++tries) {
    const bool falling = magnets_follow;
    if (falling) {
      const double i_d = s.cos_e * s.i_alpha_A + s.sin_e * s.i_beta_A;
      machine.lose_to(s.machine, machine.left_at(i_d, start));
    }
    const Point y = point();
    const std::array<double, 3> now = machine.linkage_Wb(y, s.machine);
    const TerminalLaw law = machine.at(y, s.machine);
    // A delta's loop takes its own share, and the terminals see the rest (as in TerminalLaw).
    const double loop = wanted[2] - now[2];
    const AlphaBeta missing{wanted[0] - now[0] + law.inner_per_di[0][0] * loop,
                            wanted[1] - now[1] + law.inner_per_di[0][1] * loop};
    const double more = falling ? machine.flux_per_i_d_H(start) : 0.0;
    const double aa = law.l_aa_H + more * y.cos_e * y.cos_e,
                 ab = law.l_ab_H + more * y.cos_e * y.sin_e,
                 bb = law.l_bb_H + more * y.sin_e * y.sin_e;
    AlphaBeta change;
    if (mode->freedom == 2) {
      const double inverse = 1.0 / (aa * bb - ab * ab);
      change = {inverse * (bb * missing.alpha - ab * missing.beta),
                inverse * (aa * missing.beta - ab * missing.alpha)};
    } else if (mode->freedom == 1) {
      const double along =
          (mode->d_alpha * missing.alpha + mode->d_beta * missing.beta) /
          (aa * mode->d_alpha * mode->d_alpha + 2.0 * ab * mode->d_alpha * mode->d_beta +
           bb * mode->d_beta * mode->d_beta);
      change = {along * mode->d_alpha, along * mode->d_beta};
    }
    s.i_alpha_A += change.alpha;
    s.i_beta_A += change.beta;
    if (s.machine.model == MachineModel::phase_magnet)
      s.extra.inner[0] += loop / machine.loop_inductance_H(y, s.machine) +
                          law.inner_per_di[0][0] * change.alpha +
                          law.inner_per_di[0][1] * change.beta;
    if (std::abs(change.alpha) + std::abs(change.beta) < 1e-12) return;
  }
}

void Drive::Impl::jump_to(AlphaBeta i_A) noexcept {
  const TerminalLaw law = machine.at(point(), s.machine);
  const double di[2] = {i_A.alpha - s.i_alpha_A, i_A.beta - s.i_beta_A};
  s.i_alpha_A = i_A.alpha;
  s.i_beta_A = i_A.beta;
  for (std::size_t n = 0; n < inner_states; ++n)
    s.extra.inner[n] += law.inner_per_di[n][0] * di[0] + law.inner_per_di[n][1] * di[1];
}

void Drive::adopt_currents(const Phases& measured_A, double none_below_A) noexcept {
  Impl& d = *impl_;
  AlphaBeta i = clarke(measured_A);
  int resting = 0;
  std::size_t leg = 0;
  for (std::size_t k = 0; k < 3; ++k) {
    const bool open = ((d.s.open_phases >> k) & 1U) != 0;
    const bool rests =
        !d.choice_of(k).both_ways() && std::abs(leg_current(k, i.alpha, i.beta)) <= none_below_A;
    if (!open && !rests) continue;
    ++resting;
    leg = k;
  }
  if (resting == 1) {
    const AlphaBeta n = leg_axis[leg];
    const double current = leg_current(leg, i.alpha, i.beta);
    i = {i.alpha - current * n.alpha, i.beta - current * n.beta};
  } else if (resting > 1) {
    i = {};
  }
  const double before_J = d.ledger ? d.machine.stored_J(d.point(), d.s.machine) : 0.0;
  d.jump_to(i);
  if (d.ledger) d.s.adopted_J += d.machine.stored_J(d.point(), d.s.machine) - before_J;
  d.choose_legs();
  d.choose_supply();
  d.choose_motion();
  d.look_after_driver();
}

double Drive::machine_energy_J() const noexcept {
  const Impl& d = *impl_;
  return d.machine.stored_J(d.point(), d.s.machine) +
         d.machine.cogging().potential_J(d.theta_m(d.s.theta_e_rad));
}

}  // namespace stillrotor::plant
