// Figures of a back-EMF shape that the bench needs beside the plant's own.
#pragma once

#include <string_view>
#include <vector>

#include "plant/machine/permanent_magnet.hpp"

namespace stillrotor {

/// Highest line-to-line back-EMF over (omega_e * flux_linkage): sqrt 3 for a sine. From the
/// harmonics that the plant uses, to 1e-6 of itself (golden section on a grid of 0.25 deg).
double line_to_line_peak_ratio(const std::vector<plant::BackEmfHarmonic>&);

/// "5: 0.04, 7: -2 %" -> the fundamental and these. `problem` gets the reason when it is wrong.
std::vector<plant::BackEmfHarmonic> read_harmonics(std::string_view text, std::string& problem);

}  // namespace stillrotor
