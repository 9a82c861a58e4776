// Measured tables of a magnet machine: flux map, back-EMF and cogging over an angle.
#pragma once

#include <filesystem>
#include <string>
#include <vector>

#include "emulator/bench/problems.hpp"
#include "plant/machine/permanent_magnet.hpp"

namespace stillrotor {

/// i_d, i_q, psi_d, psi_q over a rectangular grid, rows in any order. When i_q begins at 0 the
/// other half follows by symmetry: psi_d the same, psi_q with the other sign. Empty when something
/// is wrong; refusals of the map itself name the line of the table where it is.
plant::FluxMapTable read_flux_map(const std::filesystem::path&, const Place& asked_at, Problems&);

struct BackEmfTable {
  std::vector<plant::BackEmfHarmonic> shape;  // fundamental 1; empty: something is wrong
  double fundamental_Vs_rad = 0.0;  // phase, peak, over mechanical speed; 0: the table has no scale
  double left_out = 0.0;            // largest even order or part out of step, over the fundamental
};
/// angle (electrical) over one turn in equal steps, back_emf of a phase as V, as a plain number or
/// over mechanical speed. Turned so that its fundamental stands where the plant's does. Odd orders
/// up to highest_order are kept; even orders and parts out of step with the fundamental cannot be,
/// and are refused above 2 % of it.
BackEmfTable read_back_emf(const std::filesystem::path&, const Place& asked_at, int highest_order,
                           Problems&);

/// angle (mechanical) over one turn or a whole part of it in equal steps, torque. What is constant
/// in it is no cogging; above 5 % of the largest value it is refused.
std::vector<plant::CoggingHarmonic> read_cogging(const std::filesystem::path&,
                                                 const Place& asked_at, Problems&);

/// "24: 50 mN m, 48: 10 mN m at 30 deg". `problem` gets the reason when it is wrong.
std::vector<plant::CoggingHarmonic> read_cogging_harmonics(std::string_view text,
                                                           std::string& problem);

}  // namespace stillrotor
