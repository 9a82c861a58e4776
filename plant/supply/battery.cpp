#include "plant/supply/battery.hpp"

#include <algorithm>
#include <cmath>

namespace stillrotor::plant {
namespace {

/// exp(-x), x >= 0, to 1e-16 where x is small, as it is in a step.
double decay(double x) noexcept {
  if (x > 5e-3) return std::exp(-x);
  return 1.0 - x * (1.0 - x * (1.0 / 2.0 - x * (1.0 / 6.0 - x * (1.0 / 24.0 - x / 120.0))));
}

}  // namespace

Battery::Battery(const BatteryParameters& given) : par_(given) {
  if (!par_.open_circuit_V.empty()) start_V_ = on_curve(par_.open_circuit_V, par_.charge);
}

double Battery::open_circuit_V(BatteryState& now) const noexcept {
  const auto& curve = par_.open_circuit_V;
  if (curve.size() < 2) return start_V_;
  const double z = std::clamp(now.charge, curve.front().x, curve.back().x);
  const auto last = static_cast<std::int32_t>(curve.size()) - 2;
  const auto at = [&](std::int32_t k) { return curve[static_cast<std::size_t>(k)]; };
  while (now.stretch > 0 && z < at(now.stretch).x) --now.stretch;
  while (now.stretch < last && z > at(now.stretch + 1).x) ++now.stretch;
  const CurvePoint a = at(now.stretch), b = at(now.stretch + 1);
  return a.y + (z - a.x) * (b.y - a.y) / (b.x - a.x);
}

double Battery::own_V(BatteryState& now) const noexcept {
  double v = open_circuit_V(now) - start_V_;
  for (const double branch_V : now.branch_V) v -= branch_V;
  return v;
}

double Battery::own_V_per_s(const BatteryState& now, double current_A) const noexcept {
  double rate = 0.0;
  const auto& curve = par_.open_circuit_V;
  if (curve.size() > 1 && now.charge > curve.front().x && now.charge < curve.back().x) {
    const auto k = static_cast<std::size_t>(now.stretch);
    const CurvePoint a = curve[k], b = curve[k + 1];
    rate -= current_A / par_.capacity_C * (b.y - a.y) / (b.x - a.x);
  }
  for (std::size_t k = 0; k < branch_count; ++k) {
    const auto& branch = par_.branch[k];
    rate -= (branch.resistance_ohm * current_A - now.branch_V[k]) / branch.time_s;
  }
  return rate;
}

Battery::Energies Battery::draw(BatteryState& now, double charge_C, double h_s) const noexcept {
  Energies out;
  const double before_V = open_circuit_V(now);
  now.charge -= charge_C / par_.capacity_C;
  out.supplied_J = (0.5 * (before_V + open_circuit_V(now)) - start_V_) * charge_C;
  const double mean_A = charge_C / h_s;
  for (std::size_t k = 0; k < branch_count; ++k) {
    const auto& branch = par_.branch[k];
    if (branch.resistance_ohm <= 0.0) continue;
    const double aim = branch.resistance_ohm * mean_A, v0 = now.branch_V[k];
    const double half = decay(0.5 * h_s / branch.time_s);
    const double v_half = aim + (v0 - aim) * half, v1 = aim + (v0 - aim) * half * half;
    now.branch_V[k] = v1;
    out.heat_J += h_s / 6.0 * (v0 * v0 + 4.0 * v_half * v_half + v1 * v1) / branch.resistance_ohm;
  }
  return out;
}

double Battery::stored_J(const BatteryState& now) const noexcept {
  double sum = 0.0;
  for (std::size_t k = 0; k < branch_count; ++k) {
    const auto& branch = par_.branch[k];
    if (branch.resistance_ohm <= 0.0) continue;
    sum += 0.5 * branch.time_s / branch.resistance_ohm * now.branch_V[k] * now.branch_V[k];
  }
  return sum;
}

}  // namespace stillrotor::plant
