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
    become(next, false);
    settle_jump();
  }
  look_at_magnets();
}

// The share that is left and the current that goes with it settle together, so that how far the
// magnets fall does not depend on the length of the step that took the current there.
void Drive::Impl::look_at_magnets() noexcept {
  if (!machine.can_lose_flux()) return;
  if (machine_A().d >= s.machine.knee_A) return;
  become(s.machine, true);
  s.magnets_fell_ps = s.time_ps;
  settle_jump();
}

// A diode whose current the change would turn round lets it end at zero, and the linkage across the
// others stays all the same. Of several the one that comes to zero first.
void Drive::Impl::become(MachineCondition next, bool magnets_follow) noexcept {
  const MachineCondition before = s.machine;
  const double before_J = ledger ? machine.stored_J(point(), before) : 0.0;
  for (int ended = 0; ended < 3; ++ended) {
    const Continuous start = s;
    s.machine = next;
    keep_linkage(before, magnets_follow);
    std::size_t first = 3;
    double first_part = 1.0;  // of the way to where it would be turned round
    for (std::size_t k = 0; k < 3; ++k) {
      const LegLaw& one = law(s.leg[k]);
      const double to_A = one.way * leg_current(k, point());
      if (!one.one_way || to_A >= 0.0) continue;
      const double from_A =
          std::max(0.0, one.way * leg_current(k, start.i_alpha_A, start.i_beta_A));
      const double part = from_A / (from_A - to_A);
      if (first < 3 && part >= first_part) continue;
      first = k;
      first_part = part;
    }
    if (first == 3) break;
    static_cast<Continuous&>(s) = start;
    s.machine = before;
    std::array<Conduction, 3> leg = legs();
    leg[first] = Conduction::floating;
    use_legs(leg);
    if (mode->freedom > 0)
      cut_phase(first);
    else
      cut_all();
  }
  if (ledger) s.dissipated_J += before_J - machine.stored_J(point(), s.machine);
}

// Newton; exact at once for a machine without saturation.
void Drive::Impl::keep_linkage(const MachineCondition& before, bool magnets_follow) noexcept {
  MachineCondition latest = before;
  std::array<double, 3> goal = machine.linkage_Wb(point(), before);
  for (int tries = 0; tries < 30; ++tries) {
    if (magnets_follow) machine.lose_to(s.machine, machine.left_at(machine_A().d, before));
    magnetise_shorts(latest);
    latest = s.machine;
    const Point y = point();
    const std::array<double, 3> now = machine.linkage_Wb(y, s.machine);
    TerminalLaw law = machine.whole(machine.behind_shorts(y, s.machine), s.machine);
    // A delta's loop takes its own share, and the terminals see the rest (as in TerminalLaw).
    const double loop = goal[2] - now[2];
    const AlphaBeta missing =
        machine.past_shorts(law,
                            {goal[0] - now[0] + law.inner_per_di[0][0] * loop,
                             goal[1] - now[1] + law.inner_per_di[0][1] * loop},
                            s.machine);
    const double more = magnets_follow ? machine.flux_per_i_d_H(before) : 0.0;
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
    AlphaBeta in_machine = change;
    if (s.machine.shorted) {
      // What a leg that is out lets jump acts on the shorts once, and belongs to the goal then.
      const AlphaBeta impulse{law.l_aa_H * change.alpha + law.l_ab_H * change.beta - missing.alpha,
                              law.l_ab_H * change.alpha + law.l_bb_H * change.beta - missing.beta};
      push_shorts(impulse);
      goal[0] += impulse.alpha;
      goal[1] += impulse.beta;
      const Point was = machine.behind_shorts(y, s.machine),
                  is = machine.behind_shorts(point(), s.machine);
      in_machine = {is.i_alpha - was.i_alpha, is.i_beta - was.i_beta};
    }
    if (s.machine.model == MachineModel::phase_magnet)
      s.extra.inner[0] += loop / machine.loop_inductance_H(y, s.machine) +
                          law.inner_per_di[0][0] * in_machine.alpha +
                          law.inner_per_di[0][1] * in_machine.beta;
    // Behind a short the machine's own currents move even where no leg carries any.
    if (std::abs(in_machine.alpha) + std::abs(in_machine.beta) < 1e-12) return;
  }
}

// The zero sequence, which no terminal sees, changes what shorted turns link as well.
void Drive::Impl::magnetise_shorts(const MachineCondition& before) noexcept {
  for (int n = 0; n < short_count && s.machine.shorted; ++n) {
    const WindingShort& b = s.machine.shorts[n];
    if (!s.machine.is_there(n)) continue;
    s.extra.short_A[n] +=
        (machine.short_flux_Wb(b, point(), s.machine) - machine.short_flux_Wb(b, point(), before)) /
        b.henry;
  }
}

void Drive::Impl::jump_to(AlphaBeta i_A) noexcept {
  const TerminalLaw law = machine.at(point(), s.machine);
  const double di[2] = {i_A.alpha - s.i_alpha_A, i_A.beta - s.i_beta_A};
  s.i_alpha_A = i_A.alpha;
  s.i_beta_A = i_A.beta;
  for (std::size_t n = 0; n < inner_states; ++n)
    s.extra.inner[n] += law.inner_per_di[n][0] * di[0] + law.inner_per_di[n][1] * di[1];
  push_shorts({law.l_aa_H * di[0] + law.l_ab_H * di[1], law.l_ab_H * di[0] + law.l_bb_H * di[1]});
}

void Drive::Impl::push_shorts(AlphaBeta impulse_Vs) noexcept {
  for (int n = 0; n < short_count && s.machine.shorted; ++n)
    if (s.machine.is_there(n))
      s.extra.short_A[n] += across(s.machine.shorts[n], impulse_Vs) / s.machine.shorts[n].henry;
}

// From the voltage at the terminals, which is the same for all of them.
void Drive::Impl::flow_of_shorts(const Point& y, Flow& f) const noexcept {
  const TerminalLaw& t = f.machine;
  const AlphaBeta v{t.back_V.alpha + t.l_aa_H * f.di_dt.alpha + t.l_ab_H * f.di_dt.beta,
                    t.back_V.beta + t.l_ab_H * f.di_dt.alpha + t.l_bb_H * f.di_dt.beta};
  for (int n = 0; n < short_count; ++n) {
    const WindingShort& b = s.machine.shorts[n];
    if (!s.machine.is_there(n)) continue;
    f.extra_dt.short_A[n] = (across(b, v) + y.omega * machine.short_emf_Wb(b, y, s.machine) -
                             machine.short_ohm(b, s.machine) * y.extra.short_A[n]) /
                            b.henry;
  }
}

// The arc is over at once; the machine's own currents go on in the legs, in whichever diode they
// now have the sense of.
void Drive::Impl::end_short(ShortPlace place) noexcept {
  const int n = static_cast<int>(place);
  if (!s.machine.is_there(n)) return;
  const double before_J = machine.stored_J(point(), s.machine);
  const AlphaBeta share = line_share(s.machine.shorts[n], s.extra.short_A[n]);
  s.i_alpha_A -= share.alpha;
  s.i_beta_A -= share.beta;
  s.extra.short_A[n] = 0.0;
  Machine::end_short(s.machine, place);
  for (std::size_t k = 0; k < 3; ++k)
    if ((s.open_phases >> k) & 1U) cut_phase(k);
  if ((s.open_phases & (s.open_phases - 1)) != 0) cut_all();
  if (ledger) s.dissipated_J += before_J - machine.stored_J(point(), s.machine);
  choose_model();
  refresh_bus();
  settle_jump();
}

void Drive::short_phases(Leg from, double ohm, double henry) noexcept {
  impl_->machine.set_short(impl_->s.machine, ShortPlace::phases, static_cast<std::size_t>(from),
                           0.0, ohm, henry);
  impl_->choose_model();
  impl_->refresh_bus();
  impl_->settle_modes();
}

void Drive::short_turns(Leg winding, double share, double ohm) noexcept {
  impl_->machine.set_short(impl_->s.machine, ShortPlace::turns, static_cast<std::size_t>(winding),
                           share, ohm, 0.0);
  impl_->choose_model();
  impl_->refresh_bus();
  impl_->settle_modes();
}

void Drive::end_short(ShortPlace place) noexcept { impl_->end_short(place); }

bool Drive::demagnetise(double share) noexcept {
  Impl& d = *impl_;
  if (d.par.induction) return false;
  MachineCondition next = d.s.machine;
  d.machine.lose_to(next, std::max(Machine::least_left, next.magnet_left * (1.0 - share)));
  d.become(next, false);
  d.s.magnets_fell_ps = d.s.time_ps;
  d.settle_jump();
  d.look_at_magnets();
  return true;
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
  d.settle_jump();
}

double Drive::Impl::machine_energy_J(const Point& y) const noexcept {
  return machine.stored_J(y, s.machine) + machine.cogging().potential_J(theta_m(y.theta));
}

double Drive::machine_energy_J() const noexcept { return impl_->machine_energy_J(impl_->point()); }

}  // namespace stillrotor::plant
