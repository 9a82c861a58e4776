// What a conductor that parts under current leaves: faults/phase_open.hpp.
#include "plant/faults/phase_open.hpp"
#include "plant/flow.hpp"

namespace stillrotor::plant {
namespace {

struct Symmetric {
  double aa, ab, bb;
  AlphaBeta operator*(AlphaBeta x) const noexcept {
    return {aa * x.alpha + ab * x.beta, ab * x.alpha + bb * x.beta};
  }
  Symmetric inverse() const noexcept {
    const double of = 1.0 / (aa * bb - ab * ab);
    return {of * bb, -of * ab, of * aa};
  }
};

double dot(AlphaBeta x, AlphaBeta y) noexcept { return x.alpha * y.alpha + x.beta * y.beta; }

}  // namespace

void Drive::Impl::cut_phase(std::size_t k) noexcept {
  if (machine.flux_map() != nullptr) return cut_saturated(&leg_axis[k]);
  const TerminalLaw law = machine.at(point(), s.machine);
  jump_to(current_after_phase_cut({s.i_alpha_A, s.i_beta_A}, leg_axis[k], law));
}

void Drive::Impl::cut_all() noexcept {
  if (machine.flux_map() != nullptr) cut_saturated(nullptr);
  jump_to({0.0, 0.0});  // on a map what is left of it is rounding
}

// On a map the currents do not follow an impulse J of voltage in proportion. Newton on
//   psi(i_machine) = psi_before + J,   i_short = i_before + c . J / l,   axis . i = 0 (all of i)
// with J along the axis (or any).
void Drive::Impl::cut_saturated(const AlphaBeta* axis) noexcept {
  const auto before = machine.linkage_Wb(point(), s.machine);
  AlphaBeta impulse{};
  for (int tries = 0; tries < 50; ++tries) {
    const Point y = machine.behind_shorts(point(), s.machine);
    const TerminalLaw law = machine.whole(y, s.machine);
    const auto now = machine.linkage_Wb(point(), s.machine);
    const AlphaBeta off{now[0] - before[0] - impulse.alpha, now[1] - before[1] - impulse.beta};
    const Symmetric per_Wb = Symmetric{law.l_aa_H, law.l_ab_H, law.l_bb_H}.inverse();
    Symmetric all_per_Wb = per_Wb;
    for (const WindingShort& b : s.machine.shorts) {
      if (!s.machine.shorted || b.henry <= 0.0) continue;
      all_per_Wb.aa += 2.0 / 3.0 * b.across.alpha * b.across.alpha / b.henry;
      all_per_Wb.ab += 2.0 / 3.0 * b.across.alpha * b.across.beta / b.henry;
      all_per_Wb.bb += 2.0 / 3.0 * b.across.beta * b.across.beta / b.henry;
    }
    const AlphaBeta by_off = per_Wb * off;
    const AlphaBeta missing{by_off.alpha - s.i_alpha_A, by_off.beta - s.i_beta_A};
    AlphaBeta more = all_per_Wb.inverse() * missing;
    if (axis != nullptr) {
      const double along = dot(*axis, missing) / dot(*axis, all_per_Wb * *axis);
      more = {along * axis->alpha, along * axis->beta};
    }
    const AlphaBeta by_all = all_per_Wb * more;
    const AlphaBeta change{by_all.alpha - by_off.alpha, by_all.beta - by_off.beta};
    impulse.alpha += more.alpha;
    impulse.beta += more.beta;
    s.i_alpha_A += change.alpha;
    s.i_beta_A += change.beta;
    push_shorts(more);
    if (std::abs(change.alpha) + std::abs(change.beta) < 1e-12) return;
  }
}

}  // namespace stillrotor::plant
