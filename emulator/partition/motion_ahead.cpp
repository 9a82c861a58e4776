#include "emulator/partition/motion_ahead.hpp"

#include <algorithm>
#include <cmath>

#include "plant/frames.hpp"
#include "plant/machine/permanent_magnet.hpp"
#include "plant/shaft/shaft_law.hpp"

namespace stillrotor {
namespace {

constexpr std::int64_t window_ps = 2'000'000'000;
constexpr std::int64_t between_speeds_ps = window_ps / 8;

double between_s(std::int64_t from_ps, std::int64_t to_ps) noexcept {
  return 1e-12 * static_cast<double>(to_ps - from_ps);
}

/// On by a constant acceleration, not back through rest.
void travel(io::coprocessor::Motion& m, double alpha, double seconds) noexcept {
  const double omega = m.omega_m_rad_s, last = omega + alpha * seconds;
  if (omega == 0.0 || omega * last < 0.0) {
    if (omega != 0.0) m.theta_m_rad -= 0.5 * omega * omega / alpha;
    m.omega_m_rad_s = m.alpha_rad_s2 = 0.0;
    return;
  }
  m.theta_m_rad += 0.5 * (omega + last) * seconds;
  m.omega_m_rad_s = last;
  m.alpha_rad_s2 = alpha;
}

}  // namespace

MotionAhead::MotionAhead(const Bench& bench) : pole_pairs_(bench.drive.pole_pairs()) {
  const plant::PermanentMagnetParameters star = plant::equivalent_star(bench.drive.machine);
  const plant::ShaftLaw shaft(bench.drive.shaft);
  saliency_H_ = star.inductance_d_H - star.inductance_q_H;
  inertia_ = shaft.inertia + shaft.inertia_2;
  inertia_apart_ = shaft.inertia;
}

void MotionAhead::report(std::int64_t at_ps, double lasts_s, const double (&mean_A)[2],
                         double theta_m_rad, const plant::DriveState& s) noexcept {
  const double theta_e = pole_pairs_ * theta_m_rad;
  plant::Dq i = plant::park(plant::clarke({mean_A[0], mean_A[1], -mean_A[0] - mean_A[1]}),
                            std::cos(theta_e), std::sin(theta_e));
  // A vector that turns by 2x has a mean that is shorter by sin x / x.
  const double x = std::min(1.5, std::abs(0.5 * pole_pairs_ * s.omega_m_rad_s * lasts_s));
  const double longer = x < 1e-3 ? 1.0 : x / std::sin(x);
  i = {i.d * longer, i.q * longer};
  const double torque_Nm =
      1.5 * pole_pairs_ * (s.machine.flux_linkage_Wb + saliency_H_ * i.d) * i.q;
  torques_[torque_count_++ % torques_.size()] = {at_ps - std::llround(lasts_s * 1e12), at_ps,
                                                 torque_Nm};
}

void MotionAhead::pass(const plant::DriveState& s) noexcept {
  if (speed_count_ != 0 &&
      s.time_ps < speeds_[(speed_count_ - 1) % speeds_.size()].at_ps + between_speeds_ps)
    return;
  speeds_[speed_count_++ % speeds_.size()] = {s.time_ps, s.omega_m_rad_s};
}

/// Mean over the window, or over what there is of it.
double MotionAhead::acceleration(const plant::DriveState& s) const noexcept {
  const std::size_t kept = std::min(speed_count_, speeds_.size());
  const Speed* from = nullptr;
  for (std::size_t back = 1; back <= kept; ++back) {
    from = &speeds_[(speed_count_ - back) % speeds_.size()];
    if (s.time_ps - from->at_ps >= window_ps) break;
  }
  if (from == nullptr || s.time_ps - from->at_ps < between_speeds_ps) return 0.0;
  return (s.omega_m_rad_s - from->rad_s) / between_s(from->at_ps, s.time_ps);
}

/// 0: a dynamometer has the speed in its hands.
double MotionAhead::inertia_inverse(const plant::DriveState& s) const noexcept {
  return s.speed_held ? 0.0 : 1.0 / (s.apart ? inertia_apart_ : inertia_);
}

io::coprocessor::Motion MotionAhead::at(std::int64_t at_ps, double theta_m_rad,
                                        const plant::DriveState& s) const noexcept {
  io::coprocessor::Motion m{theta_m_rad, s.omega_m_rad_s, 0.0};
  const double alpha = acceleration(s), per_Nm = inertia_inverse(s);
  const std::size_t kept = std::min(torque_count_, torques_.size());
  const std::size_t first = torque_count_ - kept;
  const auto torque = [&](std::size_t k) -> const Torque& {
    return torques_[(first + k) % torques_.size()];
  };
  // What of the torque is in that acceleration already.
  double sum_Nms = 0.0, sum_s = 0.0;
  for (std::size_t k = 0; k < kept; ++k) {
    const double in_s = between_s(std::max(torque(k).from_ps, s.time_ps - window_ps),
                                  std::min(torque(k).to_ps, s.time_ps));
    if (in_s <= 0.0) continue;
    sum_Nms += torque(k).Nm * in_s;
    sum_s += in_s;
  }
  std::int64_t now_ps = s.time_ps;
  double now_alpha = alpha;
  for (std::size_t k = 0; k < kept && sum_s > 0.0; ++k) {
    const std::int64_t to_ps = std::min(torque(k).to_ps, at_ps);
    if (to_ps <= now_ps) continue;
    now_alpha = alpha + (torque(k).Nm - sum_Nms / sum_s) * per_Nm;
    travel(m, now_alpha, between_s(now_ps, to_ps));
    now_ps = to_ps;
  }
  travel(m, now_alpha, between_s(now_ps, at_ps));
  return m;
}

}  // namespace stillrotor
