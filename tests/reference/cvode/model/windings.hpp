// The machine as coupled coils: circuits with a current each, and the network of windings and legs.
//
// Coils        three windings and, of an induction machine, three of the cage. Their linkages
//              lambda = Lambda(theta) t + psi_m(theta) by the currents t that flow in all of a
//              coil's turns.
//   magnets    Lambda_kj = n_k n_j [(L_d+L_q)/3 cos(2 pi (k-j)/3)
//                          + (L_d-L_q)/3 cos(2 theta - 2 pi (k+j)/3) + L_zero/3],
//              n the turns factors; delta: theta 30 degrees ahead.
//   iron       that saturates, instead: soft_coils.hpp, and Lambda incremental.
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
  /// Fills the currents' rates, line_A_s, terminal_V and the machine's own torque.
  void rates(const AbcState&, const AbcInputs&, const Terminals&, AbcRates&) const;
  /// Parts a leg's conductor, or a short, at once: linkages of the paths that do not lead through
  /// it stay, for of the other legs a diode at least conducts, whichever way it is pushed.
  void cut(AbcState&, const AbcInputs&, std::size_t leg) const;
  void end_short(AbcState&, AbcInputs&, bool of_turns) const;
  void short_turns(const AbcState&, AbcInputs&, std::size_t winding, double share,
                   double ohm) const;
  /// The machine becomes another at once: linkages stay, and what rests does; a leg that conducts
  /// one way (+1 out, -1 into the machine; 0 both) ends at zero where it would be turned round.
  void change(AbcState&, AbcInputs&, const MachineState&, const std::array<bool, 3>& rests,
              const std::array<int, 3>& way) const;

  /// Fills what coils and shorts burn.
  void heat(const AbcState&, const AbcInputs&, AbcHeat&) const;
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
  /// At one point; by circuits' currents.
  struct Coils {
    Matrix inductance_H;  // incremental
    Vector linkage_Wb;
    Vector per_rad_Wb;  // of all linkages, the currents held
    double coenergy_per_rad_J = 0.0;
  };
  Coils coils(const Circuits&, const AbcState&, const AbcInputs&) const;
  Circuits circuits(const AbcState&, const AbcInputs&) const;
  void keep(const Circuits&, const Vector& change, AbcState&) const;
  Matrix coils_H(double theta, Matrix* slope) const;
  double copper(double kelvin) const;  // of its resistance at the reference temperature
  double magnets_Wb(const AbcInputs&) const;
  void add_magnets(Coils&, double theta, const AbcInputs&) const;
  Vector linkages_Wb(const AbcState&, const AbcInputs&) const;  // of all circuits
  enum class Short { none, turns, phases };
  /// What carries nothing any more; legs whose current stays.
  struct Parted {
    std::array<bool, 3> leg = {}, rests = {};
    Short arc = Short::none;
  };
  /// To currents with which those linkages are linked.
  void jump(AbcState&, const AbcInputs&, const Vector& kept_Wb, const Parted&) const;
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
