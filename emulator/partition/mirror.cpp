#include "emulator/partition/mirror.hpp"

#include <algorithm>
#include <cmath>

#include "plant/frames.hpp"
#include "plant/machine/permanent_magnet.hpp"

namespace stillrotor {
namespace {

double between_s(std::int64_t from_ps, std::int64_t to_ps) noexcept {
  return 1e-12 * static_cast<double>(to_ps - from_ps);
}

}  // namespace

Mirror::Mirror(const Bench& bench, const io::LinkSettings& settings, BenchWorld& world)
    : world_(world),
      bounds_(bench, settings),
      motion_(bench),
      switch_ohm_(bench.drive.bridge.switch_on_resistance_ohm),
      flux_Wb_(plant::equivalent_star(bench.drive.machine).flux_linkage_Wb),
      pole_pairs_(bench.drive.pole_pairs()) {}

void Mirror::take(const io::LinkReport& r) noexcept {
  if (r.tripped == 0) clears_trip_ = false;
  if (armed_ns_ == not_armed || r.at_ns <= armed_ns_) return;
  Waiting w;
  w.at_ps = 1000 * (r.at_ns - armed_ns_);
  w.theta_at_ps = 1000 * (r.theta_at_ns - armed_ns_);
  w.current_A = {r.end_A[0], r.end_A[1], -r.end_A[0] - r.end_A[1]};
  w.bus_V = r.bus_V;
  w.theta_m_rad = r.theta_m_rad;
  const std::int64_t known_ps =
      count_ == 0 ? world_.now_ps() : waiting_[(first_ + count_ - 1) % room].at_ps;
  if (w.at_ps <= known_ps || count_ == room) {
    ++report_.missed;
    return;
  }
  waiting_[(first_ + count_++) % room] = w;
  const plant::DriveState& s = world_.plant().state();
  const double since_middle_s = between_s(w.at_ps, w.theta_at_ps) + 0.5 * r.lasts_s;
  motion_.report(w.at_ps, r.lasts_s, r.mean_A, r.theta_m_rad - s.omega_m_rad_s * since_middle_s, s);
}

double Mirror::theta_m_rad() const noexcept {
  const plant::DriveState& s = world_.plant().state();
  return (static_cast<double>(s.electrical_turns) * plant::two_pi + s.theta_e_rad) / pole_pairs_;
}

Mirror::Correction Mirror::correct() noexcept {
  const Waiting w = next();
  ++first_;
  --count_;
  Correction done{corrected_ps_, w.at_ps, nullptr};
  corrected_ps_ = w.at_ps;
  done.distrust = judge(w, world_.plant().probe(world_.plant().state()));
  world_.adopt_currents(w.current_A, bounds_.none_below_A());
  motion_.pass(world_.plant().state());
  return done;
}

const char* Mirror::judge(const Waiting& w, const plant::Probe& own) noexcept {
  const plant::DriveState& s = world_.plant().state();
  const double there = theta_m_rad() + s.omega_m_rad_s * between_s(w.at_ps, w.theta_at_ps);
  const double angle = std::remainder(w.theta_m_rad - there, plant::two_pi);
  const double off_A = std::max({std::abs(w.current_A.U - own.current_A.U),
                                 std::abs(w.current_A.V - own.current_A.V),
                                 std::abs(w.current_A.W - own.current_A.W)});
  const double largest_A =
      std::max({std::abs(own.current_A.U), std::abs(own.current_A.V), std::abs(own.current_A.W)});
  const double off_V = std::abs(w.bus_V - own.bus_V);
  const double bound_A =
      bounds_.current_A(angle_off_rad_, angle, s.omega_m_rad_s, std::max(largest_A, largest_A_));
  angle_off_rad_ = angle;
  largest_A_ = largest_A;
  ++report_.corrections;
  sum_A2_ += off_A * off_A;
  report_.rms_A = std::sqrt(sum_A2_ / static_cast<double>(report_.corrections));
  report_.worst_A = std::max(report_.worst_A, off_A);
  report_.worst_bus_V = std::max(report_.worst_bus_V, off_V);
  report_.worst_angle_rad = std::max(report_.worst_angle_rad, std::abs(angle));
  const char* why = off_A > bound_A                         ? "co-processor's currents differ"
                    : off_V > bounds_.bus_V(bound_A)        ? "co-processor's bus differs"
                    : std::abs(angle) > bounds_.angle_rad() ? "co-processor's angle differs"
                                                            : nullptr;
  if (why != nullptr) ++report_.distrusted;
  return why;
}

/// The mirror's driver has tripped, as the chip has told before, and is ready again. Until the
/// mirror has come to the trip it knows nothing of it.
bool Mirror::trip_is_over() noexcept {
  const bool latched = world_.plant().state().driver.latched;
  clears_trip_ = !latched && (clears_trip_ || latched_);
  latched_ = latched;
  return clears_trip_;
}

io::Ahead Mirror::predict(std::int64_t at_ns) noexcept {
  const plant::DriveState& s = world_.plant().state();
  motion_.pass(s);
  io::Ahead a;
  a.at_ns = at_ns;
  a.source_V = s.supply_V.value + s.supply.own_V;
  a.resistance_ohm = s.machine.winding_ohm[0] + switch_ohm_;
  a.flux_ratio = s.machine.flux_linkage_Wb / flux_Wb_;
  a.motion.theta_m_rad = theta_m_rad();
  if (armed_ns_ == not_armed) return a;
  const double T = between_s(world_.now_ps(), 1000 * (at_ns - armed_ns_));
  a.source_V += T * (s.supply_V.rate_per_s + s.supply.own_V_per_s);
  a.clear_trip = trip_is_over();
  a.motion = motion_.at(1000 * (at_ns - armed_ns_), theta_m_rad(), s);
  return a;
}

}  // namespace stillrotor
