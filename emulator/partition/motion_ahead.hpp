// Where the rotor will be some milliseconds ahead of the mirror.
//   up to the mirror      the speed's mean change over the last 2 ms
//   up to the last report that and what the torque has changed since: reports are ahead of the
//                         mirror, and their mean currents are a torque,
//                           T = 1.5 p (psi i_q + (L_d - L_q) i_d i_q)
//   from there            goes on as it does
// A rotor that comes to rest on the way stays there. README.md has the errors.
// Left out  harmonics of the back-EMF: they are in the torque before and after alike.
// Time  the mirror's ps.  Units SI, angles mechanical.  RT: safe, but for the constructor.
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>

#include "emulator/bench/bench.hpp"
#include "io/link/coprocessor/host/parameters.hpp"

namespace stillrotor {

class MotionAhead {
 public:
  explicit MotionAhead(const Bench&);

  /// Means of a report that ends at at_ps and lasts so long; theta: of the rotor at its middle.
  void report(std::int64_t at_ps, double lasts_s, const double (&mean_A)[2], double theta_m_rad,
              const plant::DriveState&) noexcept;
  /// The mirror stands there; as often as wanted.
  void pass(const plant::DriveState&) noexcept;
  /// From the mirror's present to at_ps. theta: now.
  io::coprocessor::Motion at(std::int64_t at_ps, double theta_m_rad,
                             const plant::DriveState&) const noexcept;

 private:
  struct Torque {
    std::int64_t from_ps = 0, to_ps = 0;
    double Nm = 0.0;
  };
  struct Speed {
    std::int64_t at_ps = 0;
    double rad_s = 0.0;
  };
  double acceleration(const plant::DriveState&) const noexcept;
  double inertia_inverse(const plant::DriveState&) const noexcept;

  double pole_pairs_, saliency_H_, inertia_, inertia_apart_;
  std::array<Torque, 80> torques_{};
  std::array<Speed, 16> speeds_{};
  std::size_t torque_count_ = 0, speed_count_ = 0;
};

}  // namespace stillrotor
