#include "tests/reference/ngspice/model/side_by_side.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <stdexcept>

namespace stillrotor::reference {
namespace {

/// Squares weighted by half the way to either neighbour.
class Comparison final : public plant::SegmentObserver {
 public:
  Comparison(const plant::Drive& drive, const SpiceRun& spice) : drive_(drive), spice_(spice) {}

  void on_segment(const plant::Segment& s) noexcept override {
    const double begin_s = seconds(*s.begin);
    for (; next_ < spice_.time_s.size(); ++next_) {
      const double tau_s = spice_.time_s[next_] - begin_s;
      if (tau_s > s.length_s) return;
      take(drive_.inside(s, std::max(tau_s, 0.0)));
    }
  }

  SpiceDifference result() const {
    const double span_s = spice_.time_s[next_ - 1] - spice_.time_s[0];
    SpiceDifference d = d_;
    d.current_rms_A = std::sqrt(d.current_rms_A / (3.0 * span_s));
    d.difference_rms_A = std::sqrt(d.difference_rms_A / (3.0 * span_s));
    return d;
  }
  std::size_t points() const { return next_; }

 private:
  void take(const plant::Snapshot& plant) noexcept {
    const auto& t = spice_.time_s;
    const double weight_s =
        0.5 * (t[std::min(next_ + 1, t.size() - 1)] - t[next_ == 0 ? 0 : next_ - 1]);
    const std::array<double, 3> i = {plant.current_A.U, plant.current_A.V, plant.current_A.W};
    for (std::size_t k = 0; k < 3; ++k) {
      const double theirs = spice_.saved[k][next_], off = i[k] - theirs;
      d_.current_rms_A += weight_s * theirs * theirs;
      d_.difference_rms_A += weight_s * off * off;
      if (!(std::abs(off) <= d_.largest_A)) {  // also when not a number
        d_.largest_A = std::abs(off);
        d_.largest_at_s = t[next_];
      }
    }
  }

  const plant::Drive& drive_;
  const SpiceRun& spice_;
  std::size_t next_ = 0;
  SpiceDifference d_;
};

}  // namespace

plant::Drive start_plant(const SpiceExperiment& e) {
  plant::Drive drive(e.parameters);
  drive.start({e.start_omega_m_rad_s, e.start_theta_e_rad / e.parameters.machine.pole_pairs});
  if (e.speed_held) drive.hold_speed_rad_s({e.start_omega_m_rad_s, 0.0});
  drive.set_load_torque_Nm({e.load_Nm, 0.0});
  return drive;
}

SpiceDifference compare(const SpiceExperiment& e, const SpiceRun& spice) {
  plant::Drive drive = start_plant(e);
  Comparison comparison(drive, spice);
  // One picosecond more than asked: the last point may be rounded up.
  replay(drive, e.edges, 0, ps(e.lasts_s) + 1, &comparison);
  if (comparison.points() != spice.time_s.size() || spice.time_s.back() < 0.999999 * e.lasts_s)
    throw std::runtime_error("ngspice stopped early");
  SpiceDifference d = comparison.result();
  d.end_bus_V = drive.state().v_cap_V - spice.saved[3].back();
  if (!e.speed_held) d.end_omega_m_rad_s = drive.state().omega_m_rad_s - spice.saved[4].back();
  return d;
}

}  // namespace stillrotor::reference
