// What errors of gate edges' stamps alone cost in phase current: the same machine at constant
// speed, once on the edges as they are and once on edges as a route would stamp them. No hold, no
// delay, no loss.
//
// Clock    of the stamps, 37 ppm off a divisor of the PWM's period.
// Speed    196 Hz and 49 Hz electrical: 200 Hz and 50 Hz divide the PWM frequency, and errors that
//          repeat with every turn are no sample of anything.
// Case     48 V, R 50 mohm, L_d 150 uH, L_q 250 uH, 12 mWb, 4 pole pairs; 20 kHz centre-aligned,
// dead
//          time 1 us; current loop of 1 kHz, pole and zero cancelled, the voltage vector turned on
//          by the 1.5 periods that it acts late.
// Replay   the edges that the loop makes on the exact machine, disturbed, into another one.
// Closed   the loop itself sees the disturbed machine's currents.
// Overlaps that an error larger than the dead time makes go into the plant as they are: nothing
//          repairs them here (cycle.gates.overlap_tolerance would).
#pragma once

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdint>
#include <numbers>
#include <random>
#include <vector>

#include "io/standin/current_control.hpp"
#include "plant/drive.hpp"

namespace stillrotor::test {

struct StampError {
  enum class Kind : std::uint8_t { none, quantised, sampled, jittered } kind = Kind::none;
  double size_s = 0.0;  // step, sample's period, rms
};

struct WorkingPoint {
  double current_q_A, electrical_Hz;
  double bus_V = 48.0;
};

inline constexpr WorkingPoint point_A{20.0, 196.0}, point_B{5.0, 49.0};

class StampErrors {
 public:
  /// Rms of the phase currents' error, in % of the phase currents' rms.
  static double percent(const StampError& error, const WorkingPoint& point, bool closed) {
    Loop exact(point), disturbed(point);
    Disturbed disturb{error};
    double squares = 0.0, currents = 0.0;
    constexpr int settle = 4'000, periods = 24'000, looks = 8;
    for (int k = 0; k < periods; ++k) {
      const auto asked = exact.control(k);
      exact.take(asked);
      disturbed.take(disturb(closed ? disturbed.control(k) : asked));
      for (int look = 1; look <= looks; ++look) {
        const std::int64_t at_ps = period_ps * k + period_ps * look / looks;
        exact.advance(at_ps);
        disturbed.advance(at_ps);
        if (k < settle) continue;
        const plant::DriveState &a = exact.drive.state(), &b = disturbed.drive.state();
        squares += std::pow(b.i_alpha_A - a.i_alpha_A, 2) + std::pow(b.i_beta_A - a.i_beta_A, 2);
        currents += std::pow(a.i_alpha_A, 2) + std::pow(a.i_beta_A, 2);
      }
    }
    return 100.0 * std::sqrt(squares / currents);
  }

 private:
  static constexpr double two_pi = 2.0 * std::numbers::pi;
  static constexpr double period_s = 50e-6, dead_s = 1e-6;
  static constexpr std::int64_t period_ps = 50'000'000;
  static constexpr double R = 0.05, L_d = 150e-6, L_q = 250e-6, psi = 12e-3;
  static constexpr double clock_error = 37e-6;

  struct GateEdge {
    std::int64_t at_ps;
    int gate;
    bool on;
  };
  using Edges = std::vector<GateEdge>;

  class Disturbed {
   public:
    explicit Disturbed(const StampError& error) : error_(error) {}
    Edges operator()(Edges edges) {
      for (GateEdge& edge : edges) {
        std::int64_t& latest_ps = latest_ps_[static_cast<std::size_t>(edge.gate)];
        const double stamped_s = stamp(1e-12 * static_cast<double>(edge.at_ps));
        edge.at_ps = latest_ps = std::max<std::int64_t>(latest_ps, std::llround(1e12 * stamped_s));
      }
      return edges;
    }

   private:
    double stamp(double at_s) {
      const double every_s = error_.size_s * (1.0 + clock_error);
      switch (error_.kind) {
        case StampError::Kind::quantised:
          return every_s * std::floor(at_s / every_s);
        case StampError::Kind::sampled:
          return every_s * std::ceil(at_s / every_s);
        case StampError::Kind::jittered:
          return at_s + error_.size_s * deviation_(random_);
        default:
          return at_s;
      }
    }
    StampError error_;
    std::array<std::int64_t, 6> latest_ps_{};  // by gate: a line keeps its order
    std::mt19937_64 random_{11};
    std::normal_distribution<double> deviation_{0.0, 1.0};
  };

  /// A machine with its gates' edges still to come, and the current loop that may make them.
  struct Loop {
    explicit Loop(const WorkingPoint& p)
        : point(p), omega(two_pi * p.electrical_Hz), drive(parameters(p.bus_V)) {
      drive.start({.omega_m_rad_s = omega / 4.0});
      drive.hold_speed_rad_s({omega / 4.0, 0.0});
      for (int leg = 0; leg < 3; ++leg) waiting.push_back({0, 2 * leg + 1, true});
    }

    static plant::DriveParameters parameters(double bus_V) {
      plant::DriveParameters d;
      d.machine.pole_pairs = 4;
      d.machine.winding_resistance_ohm = R;
      d.machine.inductance_d_H = L_d;
      d.machine.inductance_q_H = L_q;
      d.machine.flux_linkage_Wb = psi;
      d.supply = {plant::SupplyKind::battery, bus_V, 1e-3, 1e9};
      d.dc_link = {20e-3, 1e-4};
      d.bridge = {
          .switch_on_resistance_ohm = 1e-3, .diode_voltage_V = 0.8, .diode_resistance_ohm = 1e-3};
      return d;
    }

    /// At the start of period k: samples, and makes the edges of the period after it.
    Edges control(int k) {
      using namespace io::standin;
      const double theta = omega * period_s * k, acts = theta + 1.5 * omega * period_s;
      const Vector stator_A{drive.state().i_alpha_A, drive.state().i_beta_A};
      const Vector rotor_A = to_rotor(stator_A, {std::cos(theta), std::sin(theta)});
      const double usable_V = 0.9 * point.bus_V / std::numbers::sqrt3;
      const Vector rotor_V = current.step({0.0, point.current_q_A}, rotor_A, omega, usable_V);
      const ThreePhases duty =
          duties(to_stator(rotor_V, {std::cos(acts), std::sin(acts)}), point.bus_V);
      Edges edges;
      for (int leg = 0; leg < 3; ++leg) {
        const double share = leg == 0 ? duty.u : leg == 1 ? duty.v : duty.w;
        const double middle_s = (k + 1.5) * period_s, half_s = 0.5 * share * period_s;
        const auto add = [&](double at_s, int gate, bool on) {
          edges.push_back({std::llround(1e12 * at_s), gate, on});
        };
        add(middle_s - half_s, 2 * leg + 1, false);
        add(middle_s - half_s + dead_s, 2 * leg, true);
        add(middle_s + half_s, 2 * leg, false);
        add(middle_s + half_s + dead_s, 2 * leg + 1, true);
      }
      return edges;
    }

    void take(const Edges& edges) {
      waiting.insert(waiting.end(), edges.begin(), edges.end());
      // Of one instant a switch's off before another's on.
      std::stable_sort(waiting.begin(), waiting.end(), [](const GateEdge& a, const GateEdge& b) {
        return a.at_ps != b.at_ps ? a.at_ps < b.at_ps : a.on < b.on;
      });
    }

    void advance(std::int64_t until_ps) {
      auto next = waiting.begin();
      for (; next != waiting.end() && next->at_ps <= until_ps; ++next) {
        while (drive.advance(next->at_ps).edge) continue;
        drive.set_switch(static_cast<plant::Switch>(next->gate), next->on);
      }
      waiting.erase(waiting.begin(), next);
      while (drive.advance(until_ps).edge) continue;
    }

    WorkingPoint point;
    double omega;
    plant::Drive drive;
    Edges waiting;
    io::standin::CurrentControl current{{R, L_d, L_q, psi}, 1e3, period_s};
  };
};

}  // namespace stillrotor::test
