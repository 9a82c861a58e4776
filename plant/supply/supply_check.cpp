// Parameters of the supply side: what makes no supply is refused at set-up.
#include "plant/drive_impl.hpp"
#include "plant/require.hpp"

namespace stillrotor::plant {
namespace {

void check(const BatteryParameters& b) {
  above_zero("supply.battery.capacity", b.capacity_C);
  require(b.charge >= 0.0 && b.charge <= 1.0, "supply.battery.charge", b.charge, "0 to 1");
  for (std::size_t k = 1; k < b.open_circuit_V.size(); ++k) {
    const CurvePoint &low = b.open_circuit_V[k - 1], &high = b.open_circuit_V[k];
    require(high.x > low.x, "supply.battery.open_circuit: charge", high.x, "only rising");
    require(high.y >= low.y, "supply.battery.open_circuit: voltage", high.y, "never falling");
  }
  for (std::size_t k = 0; k < b.resistance_share.size(); ++k) {
    require(k == 0 || b.resistance_share[k].x > b.resistance_share[k - 1].x,
            "supply.battery.resistance_over_temperature: temperature", b.resistance_share[k].x,
            "only rising");
    above_zero("supply.battery.resistance_over_temperature: share", b.resistance_share[k].y);
  }
  for (const auto& branch : b.branch) {
    not_negative("supply.battery.branch.resistance", branch.resistance_ohm);
    above_zero("supply.battery.branch.time", branch.time_s);
  }
}

void check(const ProtectionParameters& p) {
  require(p.sample_time_s >= 10e-6 && p.sample_time_s <= 1.0, "supply.protection.sample_time",
          p.sample_time_s, "10 us to 1 s");
  require(p.over_voltage.release_V <= p.over_voltage.trip_V,
          "supply.protection.over_voltage.release", p.over_voltage.release_V, "up to its trip");
  require(p.under_voltage.release_V >= p.under_voltage.trip_V,
          "supply.protection.under_voltage.release", p.under_voltage.release_V,
          "its trip and above");
  above_zero("supply.protection.discharge.trip", p.discharge.trip_A);
  above_zero("supply.protection.charge.trip", p.charge.trip_A);
  for (const double delay_s :
       {p.over_voltage.delay_s, p.under_voltage.delay_s, p.discharge.delay_s, p.charge.delay_s})
    require(delay_s >= 0.0 && delay_s <= 3600.0, "supply.protection: delay", delay_s,
            "0 s to 3600 s");
  require(p.retry_s >= 0.0 && p.retry_s <= 3600.0, "supply.protection.retry", p.retry_s,
          "0 s to 3600 s");
}

void check(const SupplyParameters& d) {
  above_zero("supply.current_limit", d.current_limit_A);
  not_negative("supply.cable_inductance", d.cable_inductance_H);
  above_zero("supply.latch_above", d.latch_above_V);
  require(d.fold_back_A <= d.current_limit_A, "supply.fold_back", d.fold_back_A,
          "up to the current limit");
  // A limit that falls faster than the source's line has no single point of operation.
  if (d.fold_back_A >= 0.0)
    require(d.resistance_ohm * (d.current_limit_A - d.fold_back_A) < d.voltage_V,
            "supply.fold_back", d.fold_back_A, "above current_limit - voltage / resistance");
  not_negative("supply.voltage_loop", d.voltage_loop_Hz);
  require((d.voltage_loop_Hz > 0.0) == (d.current_loop_Hz > 0.0), "supply.current_loop",
          d.current_loop_Hz, "above 0 together with voltage_loop, or 0 with it");
  if (d.current_loop_Hz > 0.0) above_zero("supply.voltage", d.voltage_V);
  check(d.battery);
  check(d.protection);
}

void check(const ChopperParameters& c, const DcLinkParameters& link) {
  not_negative("chopper.resistance", c.resistance_ohm);
  if (!c.by_itself) return;
  above_zero("chopper.resistance", c.resistance_ohm);
  // What it draws must not lower the bus below the threshold at which it lets go.
  const double kept = c.resistance_ohm / (c.resistance_ohm + link.series_resistance_ohm);
  require(c.off_V > 0.0 && c.off_V < c.on_V * kept, "chopper.off_below", c.off_V,
          "above 0 to on_above * resistance / (resistance + the link's)");
}

}  // namespace

void check_feed(const DriveParameters& d) {
  not_negative("supply.voltage", d.supply.voltage_V);
  above_zero("supply.resistance", d.supply.resistance_ohm);
  check(d.supply);
  not_negative("contactor.pull_in", d.contactor.pull_in_s);
  not_negative("contactor.drop_out", d.contactor.drop_out_s);
  not_negative("contactor.pre_charge", d.contactor.pre_charge_ohm);
  check(d.chopper, d.dc_link);
}

}  // namespace stillrotor::plant
