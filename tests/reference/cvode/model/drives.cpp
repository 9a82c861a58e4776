#include "tests/reference/cvode/model/drives.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <complex>
#include <numbers>

namespace stillrotor::reference {
namespace {

using std::numbers::pi;
using Complex = std::complex<double>;

/// Stationary current vector from the phases, by definition: 2/3 sum i_k exp(j 120 deg k).
Complex current_vector(const plant::Phases& i) {
  const Complex a = std::polar(1.0, 2.0 * pi / 3.0);
  return 2.0 / 3.0 * (i.U + a * i.V + a * a * i.W);
}

/// Duties of a voltage vector over the bus, min-max injection, held inside the carrier.
std::array<double, 3> duties(Complex voltage, double bus_V) {
  std::array<double, 3> d;
  for (int k = 0; k < 3; ++k)
    d[static_cast<std::size_t>(k)] =
        std::real(voltage * std::polar(1.0, -2.0 * pi * k / 3.0)) / bus_V;
  const double shift =
      0.5 - 0.5 * (*std::min_element(d.begin(), d.end()) + *std::max_element(d.begin(), d.end()));
  for (double& x : d) x = std::clamp(x + shift, 0.03, 0.97);
  return d;
}

}  // namespace

void record_field_oriented(Experiment& e, const FieldOriented& f, double duration_s) {
  plant::Drive drive = start_plant(e);
  const auto& m = e.parameters.machine;
  const double period = 1.0 / f.pwm_Hz, wb = 2.0 * pi * f.bandwidth_Hz;
  const double lag_rad_per_rad_s = 1.5 * period;
  Complex integral = 0.0;
  std::array<double, 3> duty = {0.5, 0.5, 0.5};
  std::size_t done = 0;
  e.edges = {{0, Switch::UL, true}, {0, Switch::VL, true}, {0, Switch::WL, true}};
  const int periods = static_cast<int>(std::floor(duration_s / period));
  for (int n = 0; n < periods; ++n) {
    const double t0 = n * period;
    for (int k = 0; k < 3; ++k) {
      const double d = duty[static_cast<std::size_t>(k)];
      const auto leg = static_cast<plant::Leg>(k);
      turn_leg(e.edges, leg, true, ps(t0 + 0.5 * (1.0 - d) * period), ps(f.dead_time_s));
      turn_leg(e.edges, leg, false, ps(t0 + 0.5 * (1.0 + d) * period), ps(f.dead_time_s));
    }
    std::stable_sort(e.edges.begin() + static_cast<std::ptrdiff_t>(done), e.edges.end(),
                     [](const GateEdge& a, const GateEdge& b) { return a.at_ps < b.at_ps; });
    const plant::Snapshot s = drive.snapshot();
    const double omega_e = m.pole_pairs * s.omega_m_rad_s;
    const Complex i = current_vector(s.current_A) * std::polar(1.0, -s.theta_e_rad);
    const Complex error = Complex(0.0, f.i_q_A) - i;
    integral += wb * m.winding_resistance_ohm * period * error;
    const Complex v(wb * m.inductance_d_H * error.real() + integral.real() -
                        omega_e * m.inductance_q_H * i.imag(),
                    wb * m.inductance_q_H * error.imag() + integral.imag() +
                        omega_e * (m.inductance_d_H * i.real() + m.flux_linkage_Wb));
    duty = duties(v * std::polar(1.0, s.theta_e_rad + omega_e * lag_rad_per_rad_s), s.bus_V);
    done = replay(drive, e.edges, done, ps(t0 + period));
  }
}

void record_six_step(Experiment& e, const SixStep& f, double duration_s) {
  plant::Drive drive = start_plant(e);
  const double period = 1.0 / f.pwm_Hz;
  // Current vectors 30 + 60 m degrees: (high leg, low leg).
  constexpr int high_leg[6] = {0, 1, 1, 2, 2, 0}, low_leg[6] = {2, 2, 0, 0, 1, 1};
  std::array<bool, plant::switch_count> on = {};
  std::size_t done = 0;
  const auto want = [&](std::int64_t at, std::array<bool, plant::switch_count> next) {
    for (int pass = 0; pass < 2; ++pass)  // off before on
      for (std::size_t k = 0; k < on.size(); ++k)
        if (next[k] != on[k] && next[k] == (pass == 1))
          e.edges.push_back({at, static_cast<Switch>(k), next[k]});
    on = next;
  };
  const int periods = static_cast<int>(std::floor(duration_s / period));
  for (int n = 0; n < periods; ++n) {
    const double wanted_deg = drive.snapshot().theta_e_rad * 180.0 / pi + 90.0;  // q axis
    const int m = (static_cast<int>(std::lround((wanted_deg - 30.0) / 60.0)) % 6 + 6) % 6;
    std::array<bool, plant::switch_count> next = {};
    next[static_cast<std::size_t>(2 * low_leg[m] + 1)] = true;
    next[static_cast<std::size_t>(2 * high_leg[m])] = true;
    want(ps(n * period), next);
    next[static_cast<std::size_t>(2 * high_leg[m])] = false;
    want(ps((n + f.duty) * period), next);
    done = replay(drive, e.edges, done, ps((n + 1) * period) - 1);
  }
}

void sample_every(Experiment& e, double spacing_s, double duration_s) {
  for (double t = 0.6180339887 * spacing_s; t < duration_s; t += spacing_s)
    e.sample_ps.push_back(ps(t));
}

}  // namespace stillrotor::reference
