#include <algorithm>
#include <array>
#include <cmath>

#include "io/link/coprocessor/host/parameters.hpp"
#include "io/link/coprocessor/host/ranges.hpp"

namespace stillrotor::io::coprocessor {
namespace {

constexpr double two_pi = 6.28318530717958647692;
// Limits of the integers: fast_plant.h, README.md.
constexpr double volts_in_range = 0x1p18, volts_limit = 0x1p19, current_limit = 57344.0;
constexpr double flux_in_range = 0x1p30, shape_peak = 32767.0;
constexpr double g_peak = 16383.0;  // of 2^14
constexpr double shape_points = CP_SHAPE_POINTS;
constexpr std::int32_t factor_13 = 8191, factor_12 = 4095;

// Magnets' flux between U and V as a share of flux_linkage: psi_U = sum h_n / n cos(n theta).
double line_flux(const std::vector<Harmonic>& shape, double theta) {
  if (shape.empty()) return std::cos(theta) - std::cos(theta - two_pi / 3.0);
  double sum = 0.0;
  for (const Harmonic& h : shape)
    sum += h.ratio / h.order *
           (std::cos(h.order * theta) - std::cos(h.order * (theta - two_pi / 3.0)));
  return sum;
}

void check(const Machine& m, const Bridge& b, const Link& k, const Format& f) {
  within("pole_pairs", m.pole_pairs, 1, 64, "", "Count the rotor magnets and divide by two.");
  within("winding_resistance", m.winding_resistance_ohm, 1e-6, 1e3, "ohm", "");
  within("inductance_d", m.inductance_d_H, 1e-7, 1.0, "H", "");
  within("inductance_q", m.inductance_q_H, 0.25 * m.inductance_d_H, 4.0 * m.inductance_d_H, "H",
         "The co-processor's format holds inductances within a factor of four.");
  within("flux_linkage", m.flux_linkage_Wb, 0.0, 1e3, "Wb", "");
  bool has_fundamental = m.back_emf.empty();
  for (const Harmonic& h : m.back_emf) {
    within("back-EMF order", h.order, 1, 49, "", "The flux table has 256 points a turn.");
    within("back-EMF order, remainder by 2", h.order % 2, 1, 1, "", "Even orders do not exist.");
    within("back-EMF ratio", h.ratio, -2.0, 2.0, "", "");
    has_fundamental = has_fundamental || h.order == 1;
  }
  within("number of fundamentals in the back-EMF", has_fundamental, 1, 1, "", "Name order 1.");
  within("switch_on_resistance", b.switch_on_resistance_ohm, 1e-6, 1e3, "ohm", "");
  within("diode_voltage", b.diode_voltage_V, b.switch_on_resistance_ohm * f.current_range_A,
         0.1 * f.voltage_range_V, "V",
         "Below, the diodes share what switches carry in reverse: narrow the current range. Above: "
         "widen the voltage range.");
  within("diode_resistance", b.diode_resistance_ohm, 0.0, 1e3, "ohm", "");
  within("capacitance", k.capacitance_F, 1e-9, 1e3, "F", "");
  within("series_resistance", k.series_resistance_ohm, 0.0, 1e3, "ohm", "");
  within("source", k.source_V, 0.0, f.voltage_range_V, "V", "Widen the voltage range.");
  within("source_resistance", k.source_ohm, 0.0, 1e6, "ohm", "0 stands for no supply.");
  within("tick", f.tick_s, 1e-9, 1e-6, "s", "Scale the counter.");
  within("step_ticks", f.step_ticks, 16, CP_STEP_TICKS_MAX, "", "Take another step or counter.");
  within("current_range", f.current_range_A, 1e-3, 1e5, "A", "");
  within("voltage_range", f.voltage_range_V, 1.0, 1e4, "V", "");
}

}  // namespace

std::int32_t Scale::amperes(double x) const noexcept {
  return static_cast<std::int32_t>(std::lround(x / ampere));
}
std::int32_t Scale::volts(double x) const noexcept {
  return static_cast<std::int32_t>(std::lround(x / volt));
}

Plant plant_parameters(const Machine& m, const Bridge& b, const Link& k, const Format& f) {
  check(m, b, k, f);
  Plant out;
  cp_plant_parameters& p = out.parameters;
  Scale& s = out.scale;
  s.tick_s = f.tick_s;
  s.step_ticks = f.step_ticks;
  s.volt = f.voltage_range_V / volts_in_range;

  // Magnets' flux between two terminals: sampled, then its peak.
  std::array<double, CP_SHAPE_POINTS> shape{};
  double shape_max = 0.0;
  for (int n = 0; n < CP_SHAPE_POINTS; ++n) {
    shape[static_cast<std::size_t>(n)] = line_flux(m.back_emf, two_pi * n / shape_points);
    shape_max = std::max(shape_max, std::fabs(shape[static_cast<std::size_t>(n)]));
  }

  // Flux: the largest of what currents make between two terminals, sqrt(3) L i and a tenth more,
  // and twice what the magnets do, must lie within 2^30; the unit is a power of two of volt ticks.
  const double l_max = std::max(m.inductance_d_H, m.inductance_q_H);
  const double l_min = std::min(m.inductance_d_H, m.inductance_q_H);
  const double flux_Wb = std::max(1.1 * std::sqrt(3.0) * l_max * f.current_range_A,
                                  2.0 * shape_max * m.flux_linkage_Wb);
  const double volt_tick = s.volt * s.tick_s;
  const int shift =
      std::max(1, static_cast<int>(std::ceil(std::log2(flux_Wb / flux_in_range / volt_tick))));
  within("flux per volt and tick, as a power of two", shift, 1, 7, "",
         "Narrow the current range, or lengthen the tick, or widen the voltage range.");
  s.weber = std::ldexp(volt_tick, shift);
  p.flux_shift = static_cast<std::uint32_t>(shift);

  // Currents: g_UU reaches (2/3) / L_min.
  const double g_max = 2.0 / (3.0 * l_min);
  s.ampere = g_max * 0x1p15 * s.weber * (0x1p14 / g_peak);
  within("current_range in integer units", f.current_range_A / s.ampere, 1000.0, 32767.0, "",
         "The format then resolves it in a thousand steps at least; widen it.");
  const double g_unit = g_max / g_peak;  // of 2^14
  p.inverse_mean = static_cast<std::int32_t>(
      std::lround((1.0 / m.inductance_d_H + 1.0 / m.inductance_q_H) / 3.0 / g_unit * 0x1p14));
  p.inverse_swing = static_cast<std::int32_t>(
      std::lround((1.0 / m.inductance_d_H - 1.0 / m.inductance_q_H) / 3.0 / g_unit));

  p.step_ticks = static_cast<std::uint32_t>(f.step_ticks);
  p.per_refresh =
      static_cast<std::int32_t>(std::lround(0x1p18 / (CP_REFRESH_STEPS * f.step_ticks)));
  p.pole_pairs = static_cast<std::uint32_t>(m.pole_pairs);

  // Volts per current, such that the full range of the currents stays within the volts'.
  const double ohm = s.ampere / s.volt;
  const auto resistance = [&](const char* what, double value_ohm, double room) {
    within(what, value_ohm, -room / current_limit / ohm, room / current_limit / ohm, "ohm",
           "Narrow the current range or widen the voltage range.");
    return gain(what, value_ohm * ohm, factor_13, "Widen the voltage range.");
  };
  p.resistance =
      resistance("winding and switch resistance",
                 m.winding_resistance_ohm + b.switch_on_resistance_ohm, volts_limit / 3.0);
  p.diode_V = s.volts(b.diode_voltage_V);
  p.diode_resistance = resistance("diode less switch resistance",
                                  b.diode_resistance_ohm - b.switch_on_resistance_ohm, 0x1p16);
  // A drop that the diode's lower slope takes back would turn the diode into a source.
  within("diode_voltage left at twice the current range",
         b.diode_voltage_V + 2.0 * f.current_range_A *
                                 std::min(0.0, b.diode_resistance_ohm - b.switch_on_resistance_ohm),
         0.0, 1e4, "V", "Narrow the current range.");

  // Magnets.
  const double flux_peak = shape_max * m.flux_linkage_Wb / s.weber;
  for (std::size_t n = 0; n <= CP_SHAPE_POINTS; ++n)
    p.flux_shape[n] =
        static_cast<std::int16_t>(std::lround(shape[n % CP_SHAPE_POINTS] / shape_max * shape_peak));
  const cp_gain flux = gain("magnets' flux in integer units", flux_peak / shape_peak, 16383,
                            "Narrow the current range.");
  p.flux_scale = flux.factor;
  p.flux_scale_shift = flux.shift;

  // Link. gamma: share of a step in the bridge's current that the capacitor, not the source, takes.
  const bool fed = k.source_ohm > 0.0;
  const double gamma = fed ? k.source_ohm / (k.source_ohm + k.series_resistance_ohm) : 1.0;
  const double esr = k.series_resistance_ohm * gamma;
  p.link_resistance = resistance("link's series resistance", esr, volts_in_range / 4.0);
  const double charge = s.ampere * s.tick_s * gamma / k.capacitance_F / s.volt * 0x1p10 * 0x1p8;
  // With all that the currents' range holds, 2^25 in a step at most.
  within("capacitance", k.capacitance_F,
         k.capacitance_F * charge * 180224.0 * f.step_ticks / 256.0 / 0x1p25, 1e3, "F",
         "A smaller one swings too far in one step.");
  p.link_charge = gain("link's charge", charge, factor_13, "Enlarge the capacitance.");
  if (fed) {
    p.source_conductance = gain("source's conductance", 1.0 / (k.source_ohm * ohm), factor_12,
                                "Enlarge the source's resistance or the current range.");
    within("source resistance", k.source_ohm, 8.0 * s.step_s() / k.capacitance_F, 1e6, "ohm",
           "Its time constant with the capacitance must be 8 steps at least.");
  }
  p.source_V = s.volts(k.source_V);
  const double short_S = 1.0 / (2.0 * b.switch_on_resistance_ohm);
  const double share = 1.0 / (1.0 + esr * short_S);
  p.short_share = static_cast<std::int32_t>(std::lround(share * 0x1p13 - 0.5));
  const double drain = share * short_S * gamma * s.tick_s / k.capacitance_F * 0x1p12 * 0x1p4;
  p.short_charge = gain("charge a short takes", std::min(drain, 63.0), factor_13, "");
  return out;
}

cp_command heat(const Plant& plant, double resistance_ohm, double flux_ratio, std::uint32_t at) {
  const double ohm = plant.scale.ampere / plant.scale.volt;
  const cp_gain was = plant.parameters.resistance;
  const double was_ohm = std::ldexp(was.factor, -static_cast<int>(was.shift)) / ohm;
  const double most = volts_limit / 3.0 / current_limit / ohm;
  within("resistance", resistance_ohm, 0.25 * was_ohm, std::min(2.0 * was_ohm, most), "ohm",
         "Make the plant anew.");
  within("flux ratio", flux_ratio, 0.25, 2.0, "", "Make the plant anew.");
  cp_command c{};
  c.kind = CP_HEAT;
  c.at = at;
  c.u.heat.resistance = gain("resistance", resistance_ohm * ohm, factor_13, "");
  c.u.heat.flux_scale =
      static_cast<std::int32_t>(std::lround(flux_ratio * plant.parameters.flux_scale));
  within("magnets' flux in integer units", c.u.heat.flux_scale, 0, 32767, "", "");
  return c;
}

cp_command supply(const Scale& s, double source_V, std::uint32_t at) {
  within("source", source_V, 0.0, s.volt * volts_in_range, "V", "Widen the voltage range.");
  cp_command c{};
  c.kind = CP_SUPPLY;
  c.at = at;
  c.u.source_V = s.volts(source_V);
  return c;
}

}  // namespace stillrotor::io::coprocessor
