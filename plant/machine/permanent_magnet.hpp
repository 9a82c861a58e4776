// Permanent-magnet synchronous machine, three-wire, in star or delta.
// Any back-EMF shape as harmonics of the magnet flux linkage; saliency as L_d, L_q, or a flux map.
//   psi_U(theta) = flux_linkage * sum_n (h_n / n) cos(n theta),   e_U = d psi_U / dt, so
//   e_U = -omega_e * flux_linkage * sum_n h_n sin(n theta),        h_1 = 1.
// V and W lag by 120 and 240 electrical degrees. Even orders are refused. Triplen ones drive no
// current in star, where they cancel in every measured potential; in delta they drive one round the
// windings.
// Star   every value is of one phase, terminal to star point. Delta: of one winding between two
//        terminals; between terminals the resistance is then 2/3 of it.
// With temperature: R = R_ref (1 + a (T - 20 degC)) / (1 + a (T_ref - 20 degC)), psi = psi_ref (1 +
// b (T - T_ref)). Source: IEC 60028 for copper's a = 0.393 %/K at 20 degC (from memory); b of
// sintered neodymium-iron-boron about -0.11 %/K (common practice).
// Demagnetisation: while i_d stands below the knee i_k(T) = knee + knee_per_K (T - T_ref), or a
// table over T, the magnets' flux falls along a line, share lost = (i_k - i_d) /
// current_to_lose_all, and does not come back. Source: working point on a demagnetisation curve of
// two straight lines; derived. Units  ohm, H, Wb (peak, per winding, fundamental), K.
#pragma once

#include <vector>

#include "plant/curve.hpp"
#include "plant/machine/cogging.hpp"
#include "plant/machine/flux_map.hpp"
#include "plant/machine/iron_loss.hpp"

namespace stillrotor::plant {

struct BackEmfHarmonic {
  int order = 1;       // odd, 1 to 99
  double ratio = 1.0;  // h_n, relative to the fundamental of the back-EMF; signed
};

struct DemagnetisationParameters {
  bool possible = false;
  double knee_A = -100.0;            // i_d at the reference temperature, < 0
  double knee_per_K_A = 0.0;         // >= 0 for magnets that weaken when hot
  double lose_all_within_A = 200.0;  // further i_d that would take all flux, > 0
  /// i_d over the magnets' temperature [A over K]; empty: the straight line above.
  std::vector<CurvePoint> knee_over_temperature{};

  double knee_at(double magnet_K, double reference_K) const noexcept {
    return knee_over_temperature.empty() ? knee_A + knee_per_K_A * (magnet_K - reference_K)
                                         : on_curve(knee_over_temperature, magnet_K);
  }
};

enum class Connection : unsigned char { star, delta };

struct PermanentMagnetParameters {
  Connection connection = Connection::star;
  int pole_pairs = 4;                     // 1 to 64
  double winding_resistance_ohm = 0.05;   // per phase, > 0
  double inductance_d_H = 150e-6;         // > 0
  double inductance_q_H = 150e-6;         // > 0
  double flux_linkage_Wb = 12e-3;         // > 0, fundamental, peak, per phase
  std::vector<BackEmfHarmonic> back_emf;  // empty: sine; else must hold order 1 with ratio 1
  /// Not empty: in place of the inductances; flux_linkage_Wb then moves psi_d as a whole.
  FluxMapTable flux_map{};
  std::vector<CoggingHarmonic> cogging{};  // empty: none
  IronLossParameters iron_loss{};
  double reference_temperature_K = 293.15;  // of winding_resistance, flux_linkage and flux_map
  double winding_temperature_coefficient_per_K = 0.00393;  // at 20 degC
  double flux_temperature_coefficient_per_K = -0.0011;
  DemagnetisationParameters demagnetisation{};
  // Unequal windings (U, V, W; delta: U-V, V-W, W-U), relative to the values above, > 0.
  double resistance_factor[3] = {1.0, 1.0, 1.0};
  double turns_factor[3] = {1.0, 1.0, 1.0};  // linkages follow it, inductances its products
  double inductance_zero_H = 15e-6;  // zero sequence, > 0; matters in delta and with unequal turns

  bool equal_turns() const noexcept {
    return turns_factor[0] == turns_factor[1] && turns_factor[1] == turns_factor[2];
  }
};

/// The star that behaves the same at the terminals, windings equal and triplens left out.
PermanentMagnetParameters equivalent_star(const PermanentMagnetParameters&);

/// Harmonics of a trapezoid with the given flat top (electrical degrees, 0 < flat < 180), odd
/// orders up to max_order, ratios relative to its fundamental.
std::vector<BackEmfHarmonic> trapezoid_harmonics(double flat_top_deg, int max_order);

/// Flat-top height over fundamental amplitude of that trapezoid (0.8225 for 120 degrees).
double trapezoid_flat_over_fundamental(double flat_top_deg);

}  // namespace stillrotor::plant
