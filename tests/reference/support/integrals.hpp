// Integrals of what an ideal observer sees, over accepted steps.
#pragma once

#include <array>
#include <functional>
#include <vector>

#include "tests/reference/support/drive_setup.hpp"

namespace stillrotor::reference {

/// Three-point Gauss-Legendre in every step: exact to fifth order, and no step spans an edge, so a
/// waveform that is constant between edges is integrated to rounding.
class Integrals final : public plant::SegmentObserver {
 public:
  using Integrand = std::function<void(double t_s, const plant::Snapshot&, double* out)>;

  Integrals(const plant::Drive& drive, int count, Integrand integrand)
      : drive_(drive), integrand_(std::move(integrand)), sum_(count), at_(count) {}

  void on_segment(const plant::Segment& segment) noexcept override {
    static constexpr std::array<double, 3> node = {0.5 - 0.38729833462074170, 0.5,
                                                   0.5 + 0.38729833462074170};
    static constexpr std::array<double, 3> weight = {5.0 / 18.0, 8.0 / 18.0, 5.0 / 18.0};
    for (int k = 0; k < 3; ++k) {
      const double tau = node[k] * segment.length_s;
      integrand_(seconds(*segment.begin) + tau, drive_.inside(segment, tau), at_.data());
      for (std::size_t n = 0; n < sum_.size(); ++n)
        sum_[n] += weight[k] * segment.length_s * at_[n];
    }
    duration_s_ += segment.length_s;
  }

  double integral(int n) const { return sum_[static_cast<std::size_t>(n)]; }
  double mean(int n) const { return integral(n) / duration_s_; }
  double duration_s() const { return duration_s_; }

 private:
  const plant::Drive& drive_;
  Integrand integrand_;
  std::vector<double> sum_, at_;
  double duration_s_ = 0.0;
};

/// Calls a function at both ends of every accepted step.
class EachStep final : public plant::SegmentObserver {
 public:
  using Look = std::function<void(const plant::Segment&)>;
  explicit EachStep(Look look) : look_(std::move(look)) {}
  void on_segment(const plant::Segment& segment) noexcept override { look_(segment); }

 private:
  Look look_;
};

}  // namespace stillrotor::reference
