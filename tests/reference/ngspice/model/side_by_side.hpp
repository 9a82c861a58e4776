// The plant and ngspice on the same experiment, compared on ngspice's own time points.
#pragma once

#include "tests/reference/ngspice/model/experiment.hpp"
#include "tests/reference/ngspice/model/run_ngspice.hpp"

namespace stillrotor::reference {

/// Root mean square over the time, the three phases together.
struct SpiceDifference {
  double current_rms_A = 0.0;     // of ngspice's phase currents
  double difference_rms_A = 0.0;  // plant - ngspice
  double largest_A = 0.0, largest_at_s = 0.0;
  double end_bus_V = 0.0, end_omega_m_rad_s = 0.0;  // plant - ngspice, last point
  double ppm() const { return 1e6 * difference_rms_A / current_rms_A; }
};

/// A plant at the experiment's start.
plant::Drive start_plant(const SpiceExperiment&);

/// Runs the plant in its own steps; between them it is read by its own interpolation.
SpiceDifference compare(const SpiceExperiment&, const SpiceRun&);

}  // namespace stillrotor::reference
