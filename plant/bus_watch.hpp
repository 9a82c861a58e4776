// Where a supply without loops, or a chopper, changes by itself: of each such change the distance,
// a straight line over the bus's voltage. The same as supply_margin() without a cable and with
// inputs that rest; held against it by tests/reference/closed_form/bench_supply_test.cpp. Units  A
// or V of the margins.  RT: safe.
#pragma once

#include "plant/drive_impl.hpp"
#include "plant/pair.hpp"

namespace stillrotor::plant {

class BusWatch {
 public:
  /// A change is due where at_zero + per_V bus_V < 0. At most four.
  void add(double at_zero, double per_V) noexcept {
    at_zero_[count_ / 2][count_ % 2] = at_zero;
    per_V_[count_ / 2][count_ % 2] = per_V;
    ++count_;
  }
  double margin(double bus_V) const noexcept {
    const Pair least = lesser(at_zero_[0] + per_V_[0] * bus_V, at_zero_[1] + per_V_[1] * bus_V);
    return least[0] < least[1] ? least[0] : least[1];
  }

 private:
  static constexpr double far = 1e300;
  Pair at_zero_[2] = {both(far), both(far)}, per_V_[2] = {both(0.0), both(0.0)};
  int count_ = 0;
};

inline BusWatch Drive::Impl::bus_watch() const noexcept {
  BusWatch watch;
  if (par.chopper.by_itself && par.chopper.resistance_ohm > 0.0) {
    if (s.supply.chopper_on)
      watch.add(-par.chopper.off_V, 1.0);
    else
      watch.add(par.chopper.on_V, -1.0);
  }
  if (par.supply.kind != SupplyKind::bench_supply || s.supply_mode == SupplyMode::open)
    return watch;
  watch.add(par.supply.latch_above_V, -1.0);
  const double set_V = at_rest.supply_V, per_ohm = 1.0 / s.source_ohm;
  // The limit is this and, where it folds back, so much per volt of the bus.
  const double slope_S = supply_law.fold_back_S,
               limit_A = par.supply.current_limit_A - slope_S * set_V;
  switch (s.supply_mode) {
    case SupplyMode::blocked:  // until it is asked for current
      watch.add(-per_ohm * set_V, per_ohm);
      break;
    case SupplyMode::current_limit:  // until it is asked for less than its limit
      watch.add(per_ohm * set_V - limit_A, -per_ohm - slope_S);
      break;
    default: {
      const double at_zero_A = bus.per_supply_S * set_V + bus.constant_A;
      watch.add(at_zero_A, -bus.per_supply_S);
      watch.add(limit_A - at_zero_A, slope_S + bus.per_supply_S);
    }
  }
  return watch;
}

}  // namespace stillrotor::plant
