#include "plant/bridge/gate_driver.hpp"

#include <algorithm>
#include <cmath>

namespace stillrotor::plant {
namespace {

constexpr double never_s = 1e9;

std::int64_t to_ps(double seconds) noexcept {
  return static_cast<std::int64_t>(std::llround(seconds * 1e12));
}
double seconds_between(std::int64_t from_ps, std::int64_t to_ps) noexcept {
  return static_cast<double>(to_ps - from_ps) * 1e-12;
}
bool bit(unsigned bits, int k) noexcept { return ((bits >> k) & 1U) != 0U; }
std::uint8_t with_bit(unsigned bits, int k, bool on) noexcept {
  return static_cast<std::uint8_t>(on ? bits | 1U << k : bits & ~(1U << k));
}

}  // namespace

GateDriver::GateDriver(const GateDriverParameters& p) noexcept : p_(p), fitted_(true) {
  bool delays = false;
  for (int k = 0; k < switch_count; ++k)
    delays = delays || p.on_delay_s[k] > 0.0 || p.off_delay_s[k] > 0.0;
  fitted_ = delays || p.trip_A > 0.0 || p.undervoltage_V > 0.0 || has_bootstrap();
}

GateDriverState GateDriver::started() const noexcept {
  GateDriverState s;
  s.supply_V = p_.supply_V;
  s.starved = s.latched = p_.supply_V < p_.undervoltage_V;
  return s;
}

std::uint8_t GateDriver::gates(const GateDriverState& s) const noexcept {
  if (!s.enabled || s.latched) return 0;
  unsigned gates = s.delivered;
  if (has_bootstrap())
    for (int leg = 0; leg < 3; ++leg)
      if (!bit(s.high_supplied, leg)) gates &= ~(1U << (2 * leg));
  return static_cast<std::uint8_t>(gates);
}

bool GateDriver::may_short(const GateDriverState& s, std::uint8_t always_on) const noexcept {
  struct Span {
    std::int64_t from_ps, to_ps;
  };
  const auto on = [&](int k) -> Span {
    if (bit(always_on, k)) return {0, no_driver_event_ps};
    const bool delivered = bit(s.delivered, k);
    const int count = s.under_way[k];
    if (!delivered && count == 0) return {no_driver_event_ps, no_driver_event_ps};
    const bool ends = count == (delivered ? 1 : 2);
    return {delivered ? 0 : s.due_ps[k][0], ends ? s.due_ps[k][count - 1] : no_driver_event_ps};
  };
  for (int leg = 0; leg < 3; ++leg) {
    const Span high = on(2 * leg), low = on(2 * leg + 1);
    if (std::max(high.from_ps, low.from_ps) < std::min(high.to_ps, low.to_ps)) return true;
  }
  return false;
}

void GateDriver::command(GateDriverState& s, Switch which, bool on,
                         std::int64_t now_ps) const noexcept {
  const int k = static_cast<int>(which);
  std::uint8_t& count = s.under_way[k];
  const bool last = bit(s.delivered, k) != ((count & 1U) != 0U);  // the level after all under way
  if (on == last) return;
  const std::int64_t due_ps = now_ps + to_ps(on ? p_.on_delay_s[k] + s.later_on_s[k]
                                                : p_.off_delay_s[k] + s.later_off_s[k]);
  // Overtakes the edge before it, or finds no room: the pulse between the two vanishes.
  if (count > 0 && (due_ps <= s.due_ps[k][count - 1] || count == 2)) {
    --count;
    return;
  }
  if (due_ps <= now_ps)
    s.delivered = with_bit(s.delivered, k, on);
  else
    s.due_ps[k][count++] = due_ps;
}

void GateDriver::enable(GateDriverState& s, bool on, std::int64_t now_ps) const noexcept {
  if (on && !s.enabled && !s.starved) {
    s.latched = false;
    s.retry_at_ps = no_driver_event_ps;
  }
  s.enabled = on;
  settle_bootstrap(s, now_ps);
}

void GateDriver::supply(GateDriverState& s, double volts, std::int64_t now_ps) const noexcept {
  settle_bootstrap(s, now_ps);
  s.supply_V = volts;
  if (volts < p_.undervoltage_V) {
    s.starved = s.latched = true;
    s.retry_at_ps = no_driver_event_ps;
  } else if (s.starved && volts >= p_.undervoltage_V + p_.hysteresis_V) {
    s.starved = false;
    if (p_.retry_after_s > 0.0) s.retry_at_ps = now_ps + to_ps(p_.retry_after_s);
  }
  find_crossings(s);
}

void GateDriver::skew(GateDriverState& s, Switch which, double on_s, double off_s,
                      std::uint8_t delivered) const noexcept {
  if (!acts(s)) s.delivered = delivered;
  s.skewed = true;
  s.later_on_s[static_cast<int>(which)] = on_s;
  s.later_off_s[static_cast<int>(which)] = off_s;
}

void GateDriver::open_bootstrap(GateDriverState& s, int leg, bool open,
                                std::int64_t now_ps) const noexcept {
  settle_bootstrap(s, now_ps);
  s.diode_open = with_bit(s.diode_open, leg, open);
  s.charging = static_cast<std::uint8_t>(s.charging & ~s.diode_open);
  find_crossings(s);
}

void GateDriver::trip(GateDriverState& s, std::int64_t now_ps) const noexcept {
  if (watches_current(s)) s.trip_at_ps = now_ps + std::max<std::int64_t>(1, to_ps(p_.trip_delay_s));
}

void GateDriver::ring(GateDriverState& s, std::int64_t now_ps) const noexcept {
  for (int k = 0; k < switch_count; ++k)
    while (s.under_way[k] > 0 && s.due_ps[k][0] <= now_ps) {
      s.delivered = with_bit(s.delivered, k, !bit(s.delivered, k));
      s.due_ps[k][0] = s.due_ps[k][1];
      --s.under_way[k];
    }
  if (s.retry_at_ps <= now_ps) {
    s.retry_at_ps = no_driver_event_ps;
    s.latched = s.starved;
  }
  if (s.trip_at_ps <= now_ps) {
    s.trip_at_ps = no_driver_event_ps;
    s.latched = true;
    if (p_.retry_after_s > 0.0) s.retry_at_ps = now_ps + to_ps(p_.retry_after_s);
  }
  if (!has_bootstrap()) return;
  settle_bootstrap(s, now_ps);
  for (int leg = 0; leg < 3; ++leg)
    if (s.crossing_ps[leg] <= now_ps)
      s.high_supplied = with_bit(s.high_supplied, leg, !bit(s.high_supplied, leg));
  find_crossings(s);
}

std::int64_t GateDriver::next_alarm_ps(const GateDriverState& s) const noexcept {
  std::int64_t next = fault_moves_ps(s);
  for (int k = 0; k < switch_count; ++k)
    if (s.under_way[k] > 0) next = std::min(next, s.due_ps[k][0]);
  for (const std::int64_t crossing : s.crossing_ps) next = std::min(next, crossing);
  return next;
}

void GateDriver::bootstrap(GateDriverState& s, std::uint8_t low_legs, std::uint8_t high_turned_on,
                           std::int64_t now_ps) const noexcept {
  low_legs = static_cast<std::uint8_t>(low_legs & ~s.diode_open);
  if (!has_bootstrap() || (low_legs == s.charging && high_turned_on == 0)) return;
  settle_bootstrap(s, now_ps);
  s.charging = low_legs;
  const BootstrapParameters& b = p_.bootstrap;
  for (int leg = 0; leg < 3; ++leg)
    if (bit(high_turned_on, leg)) {
      s.bootstrap_V[leg] = std::max(0.0, s.bootstrap_V[leg] - b.gate_charge_C / b.capacitance_F);
      if (s.bootstrap_V[leg] < b.undervoltage_V)
        s.high_supplied = with_bit(s.high_supplied, leg, false);
    }
  find_crossings(s);
}

double GateDriver::bootstrap_V(const GateDriverState& s, int leg,
                               std::int64_t now_ps) const noexcept {
  return after_s(s.bootstrap_V[leg], bit(s.charging, leg), s.supply_V,
                 seconds_between(s.bootstrap_ps, now_ps));
}

// Straight down by the quiescent current while the diode blocks, else towards what the supply can
// hold against it.
double GateDriver::after_s(double volts, bool charging, double supply_V,
                           double seconds) const noexcept {
  const BootstrapParameters& b = p_.bootstrap;
  const double fall_V_per_s = b.quiescent_A / b.capacitance_F;
  const double top_V = supply_V - b.diode_voltage_V;
  if (!charging) return std::max(0.0, volts - fall_V_per_s * seconds);
  if (volts > top_V) {
    const double blocked_s =
        fall_V_per_s > 0.0 ? (volts - std::max(top_V, 0.0)) / fall_V_per_s : never_s;
    if (seconds <= blocked_s) return volts - fall_V_per_s * seconds;
    seconds -= blocked_s;
    volts = std::max(top_V, 0.0);
  }
  const double settled_V = std::max(0.0, top_V - b.quiescent_A * b.resistance_ohm);
  return settled_V +
         (volts - settled_V) * std::exp(-seconds / (b.resistance_ohm * b.capacitance_F));
}

double GateDriver::time_to_s(double volts, bool charging, double supply_V,
                             double level_V) const noexcept {
  const BootstrapParameters& b = p_.bootstrap;
  const double fall_V_per_s = b.quiescent_A / b.capacitance_F;
  const double top_V = supply_V - b.diode_voltage_V;
  const auto falling_s = [&](double to_V) {
    return fall_V_per_s > 0.0 && volts >= to_V ? (volts - to_V) / fall_V_per_s : never_s;
  };
  if (!charging) return falling_s(level_V);
  double before_s = 0.0;
  if (volts > top_V) {
    if (level_V >= top_V) return falling_s(level_V);
    before_s = falling_s(top_V);
    volts = top_V;
  }
  const double settled_V = std::max(0.0, top_V - b.quiescent_A * b.resistance_ohm);
  const double ratio = (volts - settled_V) / (level_V - settled_V);
  if (!(ratio >= 1.0)) return never_s;
  return before_s + b.resistance_ohm * b.capacitance_F * std::log(ratio);
}

void GateDriver::settle_bootstrap(GateDriverState& s, std::int64_t now_ps) const noexcept {
  if (!has_bootstrap()) return;
  const double seconds = seconds_between(s.bootstrap_ps, now_ps);
  for (int leg = 0; leg < 3; ++leg)
    s.bootstrap_V[leg] = after_s(s.bootstrap_V[leg], bit(s.charging, leg), s.supply_V, seconds);
  s.bootstrap_ps = now_ps;
}

void GateDriver::find_crossings(GateDriverState& s) const noexcept {
  if (!has_bootstrap()) return;
  const BootstrapParameters& b = p_.bootstrap;
  for (int leg = 0; leg < 3; ++leg) {
    const bool supplied = bit(s.high_supplied, leg);
    const double level_V = supplied ? b.undervoltage_V : b.undervoltage_V + b.hysteresis_V;
    const double wait_s =
        supplied == (s.bootstrap_V[leg] < level_V)
            ? 0.0
            : time_to_s(s.bootstrap_V[leg], bit(s.charging, leg), s.supply_V, level_V);
    s.crossing_ps[leg] =
        wait_s < 1e6 ? s.bootstrap_ps + 1 + static_cast<std::int64_t>(std::ceil(wait_s * 1e12))
                     : no_driver_event_ps;
  }
}

}  // namespace stillrotor::plant
