// The machine as coupled coils: circuits with a current each, and the network of windings and legs.
//
// Coils        three windings and, of an induction machine, three of the cage. Their linkages
//              lambda = Lambda(theta) t + psi_m(theta) by the currents t that flow in all of a
//              coil's turns.
//   magnets    Lambda_kj = n_k n_j [(L_d+L_q)/3 cos(2 pi (k-j)/3)
//                          + (L_d-L_q)/3 cos(2 theta - 2 pi (k+j)/3) + L_zero/3],
//              n the turns factors; delta: theta 30 degrees ahead.
//   cage       L_ms cos(2 pi (k-j)/3) + leakage, stator and cage alike; stator k to cage j
//              L_ms cos(theta + 2 pi (j-k)/3); L_ms = 2/3 L_m.
// Circuits     each coil's, a short between turns, a short between terminals: t = N i, and
//              v = R i + d(N^T lambda)/dt + leakage. A winding with a share mu of its turns
//              shorted carries i in the rest and i - i_short in those.
// Network      star: windings from the terminals to the neutral, whose potential is an unknown and
//              sum of di/dt = 0 its equation. Delta: windings between the terminals. A leg that
//              does not conduct has no change of its line current and its terminal's potential as
//              an unknown. One linear system.
// Torque       p (t . dpsi_m/dtheta + 1/2 t . dLambda/dtheta t)   (co-energy).
// Source       Kirchhoff's and Faraday's laws; textbook inductance matrices, from memory. What is
//              shorted: plant/faults/winding_short.hpp says which leakage it has.
#pragma once

#include <Eigen/Core>

#include "tests/reference/cvode/model/circuit_state.hpp"

namespace stillrotor::reference {

class Windings {
 public:
  explicit Windings(const plant::DriveParameters&);

  /// Currents out of the legs.
  std::array<double, 3> lines(const AbcState&, const AbcInputs&) const;
  /// Winding currents that give these line currents beside what is in the shorts; what circulates
  /// in a delta stays.
  void set_lines(AbcState&, const AbcInputs&, const std::array<double, 3>& line_A) const;

  /// A leg: a potential behind nothing, or a line current that does not change.
  struct Terminal {
    bool conducts = false;
    double potential_V = 0.0;
  };
  using Terminals = std::array<Terminal, 3>;
  /// Fills the currents' rates, line_A_s and terminal_V.
  void rates(const AbcState&, const AbcInputs&, const Terminals&, AbcRates&) const;
  /// Parts a leg's conductor at once: linkages of the paths that do not lead through it stay, for
  /// of the other legs a diode at least conducts, whichever way it is pushed.
  void cut(AbcState&, const AbcInputs&, std::size_t leg) const;
  /// The magnets' flux changes at once from what the inputs say to this share of the parameters':
  /// linkages of the paths through conducting legs stay.
  void magnetise(AbcState&, const AbcInputs&, const Terminals&, double magnet) const;

  /// Fills what coils and shorts burn.
  void heat(const AbcState&, const AbcInputs&, AbcHeat&) const;
  double torque_Nm(const AbcState&, const AbcInputs&) const;
  /// Length of the linkage vector on the rotor's axes, magnets' fundamental included; of a star.
  double linkage_Wb(const AbcState&, const AbcInputs&) const;

 private:
  static constexpr int most = 8;  // circuits
  using Matrix = Eigen::Matrix<double, Eigen::Dynamic, Eigen::Dynamic, 0, most + 4, most + 4>;
  using Vector = Eigen::Matrix<double, Eigen::Dynamic, 1, 0, most + 4, 1>;
  /// Circuits in the order of AbcState; only those that are there.
  struct Circuits {
    Vector current_A;
    Matrix turns;  // N: coils by circuits
    Matrix ohm, leak_H;
    int count = 0, coils = 3, turns_short = -1, phases_short = -1;
  };
  Circuits circuits(const AbcState&, const AbcInputs&) const;
  void keep(const Circuits&, const Vector& change, AbcState&) const;
  Matrix coils_H(double theta, Matrix* slope) const;
  Vector magnet_slope_Wb(double theta) const;
  Vector magnet_Wb(double theta) const;
  double winding_angle(const AbcState&) const;
  /// Rows: the circuits', the neutral's, the legs'. Unknowns: di, the neutral's potential, the
  /// terminals'.
  Matrix network(const Circuits&, const Matrix& inductance_H, const AbcInputs&,
                 const Terminals&) const;
  Eigen::Matrix<double, 3, Eigen::Dynamic, 0, 3, most> line_share(const Circuits&,
                                                                  const AbcInputs&) const;
  bool delta() const { return !induction_ && m_.connection == plant::Connection::delta; }

  plant::PermanentMagnetParameters m_;
  std::optional<plant::InductionParameters> induction_;
};

}  // namespace stillrotor::reference
