// What follows the solution of a drive from stretch to stretch: current sensors, filtered voltages,
// the heat that is on its way to the bodies.
#pragma once

#include "tests/reference/benches/model/connector.hpp"
#include "tests/reference/benches/model/memories.hpp"
#include "tests/reference/benches/model/warm_bodies.hpp"
#include "tests/reference/cvode/model/cvode_run.hpp"

namespace stillrotor::reference {

class Followed {
 public:
  explicit Followed(const plant::DriveParameters&);
  /// Filters have been for ever where the bridge stands now.
  void settle(const AbcState&, const AbcInputs&);
  /// Notes the largest currents at the sensors as well.
  void follow(const Stretch&, Shown&);
  /// What has gathered since last asked; changes of gates left out.
  GatheredHeat take_heat();

  double phase_A(std::size_t leg) const { return phase_[leg].output_A(); }
  double dc_link_A() const { return dc_link_.output_A(); }
  /// Behind their filters; where there is none, as they are now.
  double bus_V(double now_V) const { return p_.bus_voltage.filter_s > 0.0 ? bus_V_ : now_V; }
  std::array<double, 3> terminal_V(const std::array<double, 3>& now_V) const {
    return p_.phase_voltage.filter_s > 0.0 ? terminal_V_ : now_V;
  }

 private:
  struct Seen {
    std::array<double, 3> line_A, terminal_V;
    double bus_V = 0.0, bridge_A = 0.0;
    AbcHeat heat;
  };
  Seen seen(const AbcState&, const Stretch&) const;
  void pass(const std::array<Seen, points>&, const AbcModes&, double length_s, Shown&);

  const plant::DriveParameters& p_;
  std::array<CurrentMemory, 3> phase_;
  CurrentMemory dc_link_;
  std::array<Seen, points> latest_;
  double bus_V_ = 0.0;
  std::array<double, 3> terminal_V_ = {};
  GatheredHeat heat_;
};

}  // namespace stillrotor::reference
